"""The cube's side of turnwire version 1, as firmware would do it (``turnwire.md``)."""

from __future__ import annotations

from collections import deque
from typing import Final

from livecube.cube.position import SOLVED, TURN_BYTES
from livecube.decoding import Advertisement

from .turnwire_bytes import PacketError, UnknownVersionError, decode, encode
from .turnwire_packets import (
    CLOCK_BITS,
    CONTROL,
    EVENTS,
    MAX_DELTA_MS,
    MAX_EARLIER,
    SERVICE,
    VERSION,
    AgainRequest,
    BatteryPacket,
    Hello,
    Snapshot,
    SnapshotRequest,
    TimedTurn,
    TooOld,
    Turns,
    ahead,
)

__all__ = ["BATTERY_MS", "HISTORY", "REPEAT_MS", "SNAPSHOT_MS", "TurnwireCube"]

HISTORY: Final = 128
"""Turns kept, so that the host can ask for them again."""
REPEAT_MS: Final = 250
"""The packet of the last turn is repeated after this pause: the end of a burst may be lost."""
SNAPSHOT_MS: Final = 1000
"""The position is sent unasked after this pause."""
BATTERY_MS: Final = 10_000
"""The charge is sent at least this often: on a cube at rest it shows that turns were missed."""

_CAPABILITIES: Final = 0b11  # half turns may come as one turn; repeats and snapshots when idle
_SEQ_MASK: Final = 0xFFFF
_CLOCK_MASK: Final = (1 << CLOCK_BITS) - 1


class TurnwireCube:
    """A cube that speaks turnwire; implements ``livecube.virtual.cube.SimulatedCube``."""

    events: Final = EVENTS
    control: Final = CONTROL
    advertisement: Final = Advertisement(name="turnwire", services=(SERVICE,))

    def __init__(
        self,
        position: bytes = SOLVED.tobytes(),
        *,
        battery_percent: int = 100,
        session: int = 0,
        seq: int = 0,
    ) -> None:
        self.position = position
        self.battery_percent = battery_percent
        self._switch_on(session, seq)

    def _switch_on(self, session: int, seq: int) -> None:
        self.session = session
        self.seq = seq
        self._history: deque[TimedTurn] = deque(maxlen=HISTORY)
        self._battery_at: int | None = None
        self._turned_at = 0
        self._repeat_due = self._snapshot_due = False

    def turn(self, turn: int, cube_ms: int) -> tuple[bytes, ...]:
        """Make one turn (0 to 17), quarter or half."""
        self.position = self.position.translate(TURN_BYTES[turn])
        self.seq = (self.seq + 1) & _SEQ_MASK
        self._history.append(TimedTurn(turn, cube_ms & _CLOCK_MASK))
        self._turned_at = cube_ms
        self._repeat_due = self._snapshot_due = True
        return (self._turns_up_to(self.seq),)

    def written(self, data: bytes, cube_ms: int) -> tuple[bytes, ...]:
        """Answer a request; other bytes get no answer."""
        try:
            request = decode(data)
        except UnknownVersionError:
            return (self._hello(cube_ms),)
        except PacketError:
            return ()
        match request:
            case AgainRequest():
                return self._again(request, cube_ms)
            case SnapshotRequest():
                return (self._snapshot(cube_ms),)
            case Turns() | Snapshot() | BatteryPacket() | TooOld() | Hello():
                return ()
            case _:
                return (self._hello(cube_ms),)

    def idle(self, cube_ms: int) -> tuple[bytes, ...]:
        """Repeat the last turns, send the position, send the charge, each when it is due."""
        due = []
        quiet_ms = cube_ms - self._turned_at
        if self._repeat_due and quiet_ms >= REPEAT_MS:
            self._repeat_due = False
            due.append(self._turns_up_to(self.seq))
        if self._snapshot_due and quiet_ms >= SNAPSHOT_MS:
            self._snapshot_due = False
            due.append(self._snapshot(cube_ms))
        if self._battery_at is None:
            self._battery_at = cube_ms
        if cube_ms - self._battery_at >= BATTERY_MS:
            due.append(self._battery(cube_ms))
        return tuple(due)

    def set_battery(self, percent: int, cube_ms: int) -> tuple[bytes, ...]:
        """Change the charge (0 to 100)."""
        self.battery_percent = percent
        return (self._battery(cube_ms),)

    def restarted(self) -> None:
        """Lose power: the position is kept, the history and the numbering are lost."""
        self._switch_on(session=(self.session + 1) & 0xFF, seq=0)

    def _again(self, request: AgainRequest, cube_ms: int) -> tuple[bytes, ...]:
        oldest = (self.seq - len(self._history) + 1) & _SEQ_MASK
        if ahead(request.seq, self.seq) > 0:
            return (self._snapshot(cube_ms),)
        if ahead(request.seq, oldest) < 0:
            too_old = TooOld(self.session, self.seq, cube_ms & _CLOCK_MASK, oldest)
            return (encode(too_old), self._snapshot(cube_ms))
        first = ahead(request.seq, oldest)
        stop = min(first + (request.count or HISTORY), len(self._history))
        return tuple(
            self._turns_up_to((oldest + end) & _SEQ_MASK) for end in self._packet_ends(first, stop)
        )

    def _packet_ends(self, first: int, stop: int) -> list[int]:
        """Indices in the history of the newest turns of packets that carry all of first … stop."""
        ends = []
        while first < stop:
            end = first
            while end + 1 < stop and end + 1 - first <= MAX_EARLIER and self._close(end + 1):
                end += 1
            ends.append(end)
            first = end + 1
        return ends

    def _close(self, index: int) -> bool:
        """Whether one packet can carry this turn of the history and the one before it."""
        delta = self._history[index].cube_ms - self._history[index - 1].cube_ms
        return delta & _CLOCK_MASK <= MAX_DELTA_MS

    def _turns_up_to(self, seq: int) -> bytes:
        """The packet of the turn with this number and as many earlier ones as fit."""
        end = len(self._history) - 1 + ahead(seq, self.seq)
        first = end
        while first > 0 and end - first < MAX_EARLIER and self._close(first):
            first -= 1
        turns = tuple(self._history[index] for index in range(first, end + 1))
        return encode(Turns(self.session, seq, turns))

    def _snapshot(self, cube_ms: int) -> bytes:
        return encode(Snapshot(self.session, self.seq, cube_ms & _CLOCK_MASK, self.position))

    def _battery(self, cube_ms: int) -> bytes:
        self._battery_at = cube_ms
        packet = BatteryPacket(self.session, self.seq, cube_ms & _CLOCK_MASK, self.battery_percent)
        return encode(packet)

    def _hello(self, cube_ms: int) -> bytes:
        return encode(
            Hello(
                session=self.session,
                seq=self.seq,
                cube_ms=cube_ms & _CLOCK_MASK,
                highest_version=VERSION,
                capabilities=_CAPABILITIES,
                history=HISTORY,
                percent=self.battery_percent,
            )
        )
