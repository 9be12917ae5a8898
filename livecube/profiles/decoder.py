"""The decoder that follows a profile; other code uses it like a decoder written in code."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar, Final

from livecube.cube.position import TURN_BYTES
from livecube.decoding import Decoded, Write
from livecube.errors import PositionError
from livecube.events import BadPacket, BatteryReport, GapReport, StateReport, TurnReport
from livecube.profiles.transforms import find_transform

if TYPE_CHECKING:
    from livecube.decoding import Advertisement, Decoder
    from livecube.events import Report
    from livecube.profiles.transforms import TransformFactory
    from livecube.profiles.values import Layout, Profile, TurnList

__all__ = ["BEHIND", "RETRY_AFTER", "ProfileDecoder", "decoder_class"]

BEHIND: Final = 8
"""This many packets in a row with an older number are not late: the cube's counter has started
again, or a number was forged."""
RETRY_AFTER: Final = 8
"""Packets to wait for a requested position before it is requested again."""


def decoder_class(profile: Profile, transform: TransformFactory | None = None) -> type[Decoder]:
    """The class of decoders for a profile; ``transform`` replaces the installed one.

    Raises :class:`~livecube.errors.UsageError` if the profile's transform is not installed.
    """
    if profile.transform is not None and transform is None:
        transform = find_transform(profile.transform)
    values = profile.clock_values
    members = {
        "name": profile.name,
        "clock_wrap_ms": None if values is None else values * 1000 / profile.per_second,
        "notify": profile.notify,
        "profile": profile,
        "transform": None if transform is None else staticmethod(transform),
    }
    return type("ProfileDecoder", (ProfileDecoder,), members)


class ProfileDecoder:
    """One connection to one cube that a profile describes; see :func:`decoder_class`.

    Turns are reported in order and once, if the packets number or time them. A packet with an older
    number came late and is dropped: its turns are already reported, or reported as lost. If a turn
    is lost, the profile's writes for a gap are sent until a position comes.
    """

    name: ClassVar[str]
    clock_wrap_ms: ClassVar[float | None]
    notify: ClassVar[tuple[str, ...]]
    profile: ClassVar[Profile]
    transform: ClassVar[TransformFactory | None]

    def __init__(self) -> None:
        self._transform = None if self.transform is None else self.transform()
        self._last: int | None = None  # number of the last turn reported, lost or in a position
        self._behind = 0
        self._rejoined = False  # connected again: turns may be missing, or the counter restarted
        self._met = False
        self._latest: tuple[int, int | None] | None = None  # code, ticks: last unnumbered turn
        self._ticks: int | None = None  # of the last reported turn
        self._position: bytes | None = None
        self._percent: int | None = None
        self._state_waited: int | None = None  # packets since a position was requested
        self._reports: list[Report] = []

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        """Whether the advertisement fits the profile's claim."""
        return cls.profile.claim.fits(advertisement)

    def connected(self) -> tuple[Write, ...]:
        """The profile's writes after a connection; turns missed before are noticed later."""
        self._rejoined = self._met
        if any(layout.state for layout in self.profile.layouts):
            self._state_waited = 1  # these writes request a position, if the cube can be asked
        return self._writes(self.profile.on_connect)

    def received(self, characteristic: str, data: bytes) -> Decoded:
        """Take in one notification."""
        if characteristic not in self.notify:
            return Decoded((BadPacket(f"unknown characteristic {characteristic}", data),))
        plain = self._plain(characteristic, data)
        if plain is None:
            return Decoded((BadPacket(f"the transform {self.profile.transform} fails", data),))
        for layout in self.profile.layouts:
            if layout.characteristic == characteristic and layout.fits(
                unmasked := layout.plain(plain)
            ):
                break
        else:
            return Decoded((BadPacket("no packet of this profile", data),))
        self._reports = []
        reason = self._read(layout, unmasked)
        if reason is not None:
            return Decoded((BadPacket(reason, data),))
        return Decoded(tuple(self._reports), self._follow_up())

    def _plain(self, characteristic: str, data: bytes) -> bytes | None:
        if self._transform is None:
            return data
        try:
            return self._transform.incoming(characteristic, data)
        except Exception:  # a decoder never raises, whatever a plug-in does
            return None

    def _writes(self, writes: tuple[Write, ...]) -> tuple[Write, ...]:
        if self._transform is None:
            return writes
        to = self._transform.outgoing
        try:
            return tuple(replace(w, data=to(w.characteristic, w.data)) for w in writes)
        except Exception:  # likewise; nothing is sent then
            return ()

    def _read(self, layout: Layout, data: bytes) -> str | None:
        """Read a packet that fits ``layout``; return the reason if it makes no sense."""
        if layout.check is not None and not layout.check.holds(data):
            return "wrong check value"
        reason = None
        if layout.turns is not None:
            reason = self._take_turns(layout, layout.turns, data)
        elif layout.state:
            reason = self._take_state(layout, data)
        if reason is None and layout.battery is not None:
            self._tell_battery(layout.battery.read(data))
        return reason

    # The number of new turns.

    def _news(self, layout: Layout, data: bytes) -> int | None:
        """The number of turns since the turn ``_last``; -1: the packet came late.

        None: unknown, because turns have no numbers, or the counter may have started again.
        """
        if layout.counter is None:
            return None
        if self._last is None:
            return 1
        ahead = (layout.counter.read(data) - self._last) % layout.numbers
        if ahead <= layout.numbers // 2:
            self._behind = 0
            return ahead
        self._behind += 1
        return None if self._rejoined or self._behind >= BEHIND else -1

    def _count_from(self, layout: Layout, data: bytes) -> None:
        self._met, self._rejoined, self._behind = True, False, 0
        if layout.counter is not None:
            self._last = layout.number(data)

    # Turns.

    def _take_turns(self, layout: Layout, turns: TurnList, data: bytes) -> str | None:
        if layout.again and self._last is None and layout.counter is not None:
            self._count_from(layout, data)
            self._ticks = layout.ticks(data)
            return None
        news = self._news(layout, data)
        if news == -1 or news == 0:
            return None
        codes = turns.codes.read_in(data, layout.end(data), most=news or 1)
        if codes[0] == turns.none or self._repeats(layout, codes, data):
            return None
        if turns.none in codes:
            codes = codes[: codes.index(turns.none)]
        for code in codes:
            if code not in self.profile.turns:
                return f"code {code} is no turn"
        lost = self._tell_lost(layout, news, len(codes))
        self._count_from(layout, data)
        self._tell_turns(layout, codes, self._ticks_of(layout, turns, len(codes), lost, data))
        return None

    def _repeats(self, layout: Layout, codes: list[int], data: bytes) -> bool:
        """Whether this turn, with a time but no number, is a repeat of the last one."""
        if layout.counter is not None or layout.clock is None:
            return False
        latest = codes[0], layout.ticks(data)
        repeats = latest == self._latest or (layout.again and self._latest is None)
        self._latest = latest
        return repeats

    def _tell_lost(self, layout: Layout, news: int | None, told: int) -> bool:
        """Report a gap if turns are missing before the new ones; return whether there is one."""
        if news is None and (layout.counter is not None or self._rejoined):
            self._tell_gap(None)
        elif news is not None and news > told:
            self._tell_gap(news - told)
        else:
            return False
        return True

    def _ticks_of(
        self, layout: Layout, turns: TurnList, count: int, lost: bool, data: bytes
    ) -> list[int | None]:
        """The clock at each of the ``count`` newest turns, the newest first.

        Earlier ones without a time of their own are spread evenly over the time since the last
        reported turn.
        """
        wrap, newest = layout.clock_values, layout.ticks(data)
        if newest is None:
            return [None] * count
        if turns.elapsed is not None:
            steps = [0, *turns.elapsed.read(data)]
            return [(newest - sum(steps[: k + 1])) % wrap for k in range(count)]
        if lost or self._ticks is None:
            return [newest % wrap] * count
        since = (newest - self._ticks) % wrap
        return [(newest - since * k // count) % wrap for k in range(count)]

    def _tell_turns(self, layout: Layout, codes: list[int], ticks: list[int | None]) -> None:
        for age in reversed(range(len(codes))):
            seq = None
            if layout.counter is not None and self._last is not None:
                seq = (self._last - age) % layout.numbers
            self._tell_turn(self.profile.turns[codes[age]], seq, ticks[age])

    def _tell_turn(self, turn: int, seq: int | None, ticks: int | None) -> None:
        self._reports.append(TurnReport(turn, seq, self._ms(ticks)))
        self._ticks = ticks
        self._position = self._position and self._position.translate(TURN_BYTES[turn])

    def _ms(self, ticks: int | None) -> int | None:
        return None if ticks is None else ticks * 1000 // self.profile.per_second

    def _tell_gap(self, lost: int | None) -> None:
        self._reports.append(GapReport(lost))
        self._position = None
        if self.profile.on_gap:
            self._state_waited = 0

    # Positions.

    def _take_state(self, layout: Layout, data: bytes) -> str | None:
        assert self.profile.state is not None
        try:
            position = self.profile.state.position([row.read(data) for row in layout.state])
        except PositionError as error:
            return f"impossible position: {error.law}"
        first = self._last is None and layout.counter is not None
        news = self._news(layout, data)
        if news == -1:
            return None
        before = self._position
        self._count_from(layout, data)
        numbered = layout.counter is not None
        if first:
            news = 0
        if self.profile.tells_turns:
            self._compare(layout, data, position, news, numbered=numbered)
        elif before is None:
            self._tell_state(layout, data, position)
        else:
            self._derive(layout, data, before, position, news, numbered=numbered)
        return None

    def _compare(
        self, layout: Layout, data: bytes, position: bytes, news: int | None, *, numbered: bool
    ) -> None:
        """Report a position if the cube also sends turns; turns not reported before it are lost."""
        if numbered and news != 0:
            self._tell_gap(news)
        if position != self._position or self._state_waited is not None:
            self._tell_state(layout, data, position)

    def _derive(
        self,
        layout: Layout,
        data: bytes,
        before: bytes,
        position: bytes,
        news: int | None,
        *,
        numbered: bool,
    ) -> None:
        """Report the turn between two positions; if one turn is not enough, turns were lost."""
        turn = _link(before, position)
        if position == before and (news == 0 or not numbered):
            if self._state_waited is not None:
                self._tell_state(layout, data, position)
            return
        if turn is not None and (not numbered or news == 1):
            self._position = before
            self._tell_turn(turn, self._last, layout.ticks(data))
            if self._state_waited is not None:
                self._tell_state(layout, data, position)
            return
        self._tell_gap(news or None)
        self._tell_state(layout, data, position)

    def _tell_state(self, layout: Layout, data: bytes, position: bytes) -> None:
        ticks = layout.ticks(data)
        seq = layout.number(data)
        self._reports.append(StateReport(position, seq, self._ms(ticks)))
        self._position = position
        self._ticks = ticks
        self._state_waited = None

    def _tell_battery(self, percent: int) -> None:
        if percent != self._percent and percent <= 100:
            self._percent = percent
            self._reports.append(BatteryReport(percent))

    def _follow_up(self) -> tuple[Write, ...]:
        """Writes that request a position, if one is wanted and due."""
        if self._state_waited is None:
            return ()
        due = self._state_waited % RETRY_AFTER == 0
        self._state_waited += 1
        return self._writes(self.profile.on_gap) if due else ()


def _link(before: bytes, after: bytes) -> int | None:
    """The turn that leads from a position to another; None: no single turn does."""
    for turn, table in enumerate(TURN_BYTES):
        if before.translate(table) == after:
            return turn
    return None
