"""The host's side of turnwire version 1: notifications in, turns in order out.

``turnwire.md`` says what the bytes mean and what a host does about lost packets.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Final

from livecube.decoding import Decoded, Write
from livecube.events import (
    BadPacket,
    BatteryReport,
    GapReport,
    StateReport,
    TurnReport,
)

from .turnwire_bytes import PacketError, decode, encode
from .turnwire_packets import (
    CLOCK_BITS,
    CONTROL,
    EVENTS,
    SERVICE,
    AgainRequest,
    BatteryPacket,
    Hello,
    HelloRequest,
    HostPacket,
    Snapshot,
    SnapshotRequest,
    TimedTurn,
    TooOld,
    Turns,
    ahead,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.decoding import Advertisement
    from livecube.events import Report

__all__ = ["GIVE_UP_AFTER", "RETRY_AFTER", "WINDOW", "TurnwireDecoder"]

WINDOW: Final = 256
"""Turns further ahead than this are not held back: the cube no longer keeps those between."""
RETRY_AFTER: Final = 8
"""Packets without any of a hole's first turns, after which its turns are asked for again."""
GIVE_UP_AFTER: Final = 32
"""Packets without any of a hole's first turns, after which its turns are given up as lost."""


class TurnwireDecoder:
    """One connection to one turnwire cube; see :class:`livecube.decoding.Decoder`.

    Turns come out in order and without repeats. Turns after a hole wait, at most ``WINDOW``
    of them, until the cube has sent the missing ones again. If it does not, a ``GapReport``
    takes their place and the decoder asks for the position. A ``StateReport`` comes right
    after the turn that its position includes.
    """

    name: ClassVar[str] = "turnwire"
    clock_wrap_ms: ClassVar[float | None] = 1 << CLOCK_BITS
    notify: ClassVar[tuple[str, ...]] = (EVENTS,)

    def __init__(self) -> None:
        self._session: int | None = None
        self._last = 0  # number of the last turn that was reported or covered by a state
        self._known = 0  # highest number seen; a hole is open while it is not _last
        self._held: dict[int, TimedTurn] = {}
        self._snapshot: Snapshot | None = None  # waits for the turns before it
        self._state_told: Snapshot | None = None
        self._state_wanted = True
        self._percent: int | None = None
        self._state_waited = 0  # packets since it was first asked for
        self._asked_up_to = 0
        self._hole_waited = 0  # packets since the hole last became smaller at its beginning
        self._reports: list[Report] = []

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        """Whether the turnwire service is advertised."""
        return SERVICE in advertisement.services

    def connected(self) -> tuple[Write, ...]:
        """Ask for hello and the position; turns made meanwhile are asked for later."""
        self._snapshot = None  # it may have been anybody's: the cube tells its own
        self._state_wanted = True
        self._state_waited = 1
        self._asked_up_to = self._last
        self._hole_waited = 0
        return (_write(HelloRequest()), _write(SnapshotRequest()))

    def received(self, characteristic: str, data: bytes) -> Decoded:
        """Take in one notification."""
        if characteristic != EVENTS:
            return Decoded((BadPacket(f"unknown characteristic {characteristic}", data),))
        try:
            packet = decode(data)
        except PacketError as error:
            return Decoded((BadPacket(str(error), data),))
        self._reports = []
        match packet:
            case Snapshot():
                self._take_snapshot(packet)
            case Turns() | BatteryPacket() | TooOld() | Hello():
                self._take(packet)
            case _:
                return Decoded((BadPacket("a request, from the cube", data),))
        writes = self._follow_up(at_once=isinstance(packet, BatteryPacket))
        return Decoded(tuple(self._reports), writes)

    # Taking packets in.

    def _take(self, packet: Turns | BatteryPacket | TooOld | Hello) -> None:
        if isinstance(packet, BatteryPacket | Hello):
            self._tell_battery(packet.percent)
        if packet.session != self._session:
            self._state_wanted = True  # only a snapshot starts a session
            return
        if not self._hear_of(packet.seq):
            return
        if isinstance(packet, Turns):
            self._hold(packet)
        elif isinstance(packet, TooOld) and ahead(packet.oldest, self._last) > 1:
            self._give_up()

    def _hear_of(self, seq: int) -> bool:
        """Note that turn ``seq`` was made; False if the number is too far from the last one."""
        distance = ahead(seq, self._last)
        if abs(distance) > WINDOW:
            self._state_wanted = True
            return False
        if distance > ahead(self._known, self._last):
            self._known = seq
        return True

    def _hold(self, packet: Turns) -> None:
        for age, turn in enumerate(reversed(packet.turns)):
            seq = (packet.seq - age) & 0xFFFF
            if ahead(seq, self._last) > 0:
                self._held[seq] = turn
        self._release()

    def _take_snapshot(self, snapshot: Snapshot) -> None:
        distance = ahead(snapshot.seq, self._last)
        if snapshot.session != self._session:
            self._restart(snapshot, None)
        elif abs(distance) > WINDOW or (distance < 0 and self._state_waited > GIVE_UP_AFTER):
            self._restart(snapshot, distance if distance > 0 else None)
        elif distance == 0:
            self._tell_state(snapshot)
        elif distance > 0 and self._hear_of(snapshot.seq):
            self._snapshot = snapshot
            self._release()

    def _restart(self, snapshot: Snapshot, lost: int | None) -> None:
        """Start again with this snapshot and forget everything before it."""
        if self._session is not None:
            self._reports.append(GapReport(lost))
        self._session = snapshot.session
        self._last = self._known = self._asked_up_to = snapshot.seq
        self._held.clear()
        self._snapshot = self._state_told = None
        self._hole_waited = 0
        self._tell_state(snapshot)

    # Reporting.

    def _release(self) -> None:
        """Report the held turns, and the snapshot, up to the first missing turn."""
        while (turn := self._held.pop(seq := (self._last + 1) & 0xFFFF, None)) is not None:
            self._reports.append(TurnReport(turn.turn, seq, turn.cube_ms))
            self._move_to(seq)

    def _move_to(self, seq: int) -> None:
        """Note that everything up to ``seq`` is reported or lost."""
        self._last = seq
        self._hole_waited = 0
        if self._snapshot is not None and self._snapshot.seq == seq:
            self._tell_state(self._snapshot)

    def _tell_state(self, snapshot: Snapshot) -> None:
        if self._state_wanted or snapshot != self._state_told:
            report = StateReport(snapshot.position, snapshot.seq, snapshot.cube_ms)
            self._reports.append(report)
        self._state_told = snapshot
        self._snapshot = None
        self._state_wanted = False
        self._state_waited = 0

    def _tell_battery(self, percent: int) -> None:
        if percent not in (self._percent, 255):
            self._percent = percent
            self._reports.append(BatteryReport(percent))

    # Missing turns: asking again, giving up.

    def _missing(self) -> int:
        """How many turns are missing before the next known turn or position; 0: none."""
        ends = [ahead(seq, self._last) - 1 for seq in self._held]
        if self._snapshot is not None:
            ends.append(ahead(self._snapshot.seq, self._last))
        return min(ends, default=ahead(self._known, self._last))

    def _give_up(self) -> None:
        lost = self._missing()
        if lost:
            self._reports.append(GapReport(lost))
            self._state_wanted = True
            self._move_to((self._last + lost) & 0xFFFF)
            self._release()

    def _follow_up(self, *, at_once: bool) -> tuple[Write, ...]:
        """Requests for missing turns and a missing position, if it is time for them."""
        if self._hole_waited >= GIVE_UP_AFTER:
            self._give_up()
        writes = [*self._ask_for_turns(at_once), *self._ask_for_state(at_once)]
        return tuple(map(_write, writes))

    def _ask_for_turns(self, at_once: bool) -> Iterator[HostPacket]:
        missing = self._missing()
        if not missing:
            self._asked_up_to = self._last
            self._hole_waited = 0
            return
        asked_already = ahead(self._asked_up_to, self._last) > 0
        retry = self._hole_waited > 0 and self._hole_waited % RETRY_AFTER == 0
        if not asked_already or retry or at_once:
            self._asked_up_to = (self._last + missing) & 0xFFFF
            yield AgainRequest((self._last + 1) & 0xFFFF, min(missing, 255))
        self._hole_waited += 1

    def _ask_for_state(self, at_once: bool) -> Iterator[HostPacket]:
        if self._state_wanted and self._snapshot is None:
            if self._state_waited % RETRY_AFTER == 0 or at_once:
                yield SnapshotRequest()
            self._state_waited += 1


def _write(packet: HostPacket) -> Write:
    return Write(CONTROL, encode(packet))
