"""Whether a profile explains a recording: its own decoder gets all packets.

Owners slip: the reported turns of a step may differ from the asked ones. A few such steps are
accepted, and only if the cube is solved after the free sequence: a single wrongly decoded turn
anywhere would prevent that. On the same condition, turns whose packets were lost count as the
asked ones.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from itertools import product
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, inverse_turns, summed_quarters
from livecube.events import BadPacket, GapReport, StateReport, TurnReport
from livecube.profiles.decoder import decoder_class

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.decoding import Decoder
    from livecube.events import Packet, Report
    from livecube.learning.recording import Recording
    from livecube.profiles.values import Profile

__all__ = ["Hearing", "Otherwise", "hear"]

_SLIPS: Final = 5
_SLIP_SHARE: Final = 1 / 12
"""Share of the steps whose reported turns may differ from the asked ones, or be missing."""
_MOST_GUESSES: Final = 5
"""At most this many losses are filled in by trying all their possible turns."""


class Otherwise(NamedTuple):
    """A step whose reported turns differ from the asked ones."""

    step: int
    """Counted from 1."""
    asked: tuple[int, ...]
    told: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class _Lost:
    """Turns that were not reported: one of the sequences ``either``; if empty, any ``count`` turns.

    ``count``: None if their number is unknown.
    """

    either: tuple[tuple[int, ...], ...] = ()
    count: int | None = None


_Item: TypeAlias = "int | bytes | _Lost"
"""A reported turn, a position (20 facelets), or lost turns."""


@dataclass(slots=True)
class Hearing:
    """The result of a decoder for a recording."""

    steps: int
    """Number of asked steps."""
    right: int = 0
    """Number of asked steps whose reported turns are right."""
    otherwise: list[Otherwise] = field(default_factory=list)
    silent: list[int] = field(default_factory=list)
    """Asked steps without reported turns, counted from 1."""
    free: list[int] = field(default_factory=list)
    """Turns reported in the free sequences."""
    lost: int = 0
    """Lost turns, by the cube's counter; a gap of unknown length counts as one."""
    bad: Counter[str] = field(default_factory=Counter)
    """Bad packets, by their reason."""
    solved: bool = False
    """Whether the cube was solved after the last free sequence."""
    at_rest: list[int] = field(default_factory=list)
    """Turns reported before the first step."""

    @property
    def slips(self) -> int:
        """Number of steps that were reported differently, or not at all."""
        return len(self.otherwise) + len(self.silent)

    @property
    def few_slips(self) -> bool:
        """Whether these steps are few enough to be slips."""
        return self.slips <= max(_SLIPS, round(self.steps * _SLIP_SHARE))

    @property
    def perfect(self) -> bool:
        """Whether the profile explains the recording: solved, no bad packet, few slips."""
        return self.solved and not self.bad and self.few_slips

    @property
    def strange(self) -> list[int]:
        """Codes sent in place of turns that are not in the profile."""
        codes = (re.fullmatch(r"code (\d+) is no turn", reason) for reason in self.bad)
        return [int(code[1]) for code in codes if code]


def hear(profile: Profile, recording: Recording) -> Hearing:
    """Give the profile's decoder a recording."""
    decoder = decoder_class(profile)()
    decoder.connected()
    hearing = Hearing(len(recording.asked))
    items: list[_Item] = []
    rest = [*_reports(decoder, recording.rest, Counter())]
    items += _items(rest)
    hearing.at_rest = [report.turn for report in rest if isinstance(report, TurnReport)]
    owed: list[tuple[int, tuple[int, ...]]] = []
    free_from: int | None = None
    for number, step in enumerate(recording.steps, start=1):
        reports = [*_reports(decoder, step.packets, hearing.bad)]
        told = [report.turn for report in reports if isinstance(report, TurnReport)]
        hearing.lost += sum(r.lost or 1 for r in reports if isinstance(r, GapReport))
        if step.turns is None:
            free_from = len(items) if free_from is None else free_from
            behind = _items(reports)
            if owed:
                items += _owed(owed, reports, hearing)
                lost = next((at for at, item in enumerate(behind) if isinstance(item, _Lost)), None)
                if lost is not None:
                    del behind[lost]
            items += behind
            hearing.free += told
            owed = []
        else:
            items += _step(number, step.turns, reports, told, owed, hearing)
    hearing.silent += [at for at, _ in owed]
    numbered = any(layout.counter is not None for layout in profile.layouts)
    hearing.solved = _is_solved(items, None if numbered else free_from)
    return hearing


def _reports(decoder: Decoder, packets: Sequence[Packet], bad: Counter[str]) -> Iterator[Report]:
    for packet in packets:
        if packet.char in decoder.notify:
            for report in decoder.received(packet.char, packet.data).reports:
                if isinstance(report, BadPacket):
                    bad[report.reason] += 1
                else:
                    yield report


def _step(
    number: int,
    asked: tuple[int, ...],
    reports: list[Report],
    told: list[int],
    owed: list[tuple[int, tuple[int, ...]]],
    hearing: Hearing,
) -> list[_Item]:
    """The items of a step, which also updates ``hearing`` and ``owed``.

    ``owed``: earlier steps without reported turns so far.
    """
    before = [turn for _, turns in owed for turn in turns]
    stated = [r.position for r in reports if isinstance(r, StateReport)]
    if not told and not stated:
        owed.append((number, asked))
        return []
    if summed_quarters(told) == summed_quarters([*before, *asked]) or (number == 1 and not told):
        hearing.right += 1 + len(owed)
        owed.clear()
        return _items(reports)
    items: list[_Item] = []
    found = None
    if owed or any(isinstance(r, GapReport) for r in reports):
        lost = [r.lost for r in reports if isinstance(r, GapReport)]
        found = _recovered(before, asked, told, lost[0]) if lost else None
        items += _owed(owed, reports, hearing) if found is None else [_Lost((found,))]
        if found is not None:
            hearing.silent += [at for at, _ in owed]
        reports = [r for r in reports if not isinstance(r, GapReport)]
        owed.clear()
    if found is not None or summed_quarters(told) == summed_quarters(asked):
        hearing.right += 1
    else:
        hearing.otherwise.append(Otherwise(number, asked, tuple(told)))
    return items + _items(reports)


def _recovered(
    before: Sequence[int], asked: Sequence[int], told: list[int], lost: int | None
) -> tuple[int, ...] | None:
    """The lost turns before the reported ones: the first turns of ``before``; None: none fit."""
    whole = summed_quarters([*before, *asked])
    for turns in _as_sent(before):
        for count in range(len(turns) + 1):
            fits = summed_quarters([*turns[:count], *told]) == whole
            if fits and lost in (None, count):
                return tuple(turns[:count])
    return None


def _as_sent(turns: Sequence[int]) -> list[list[int]]:
    """The turns as a cube may send them: half turns whole, or as two quarters of either way."""
    return [
        [*turns],
        *(
            [t for turn in turns for t in ((turn + way,) * 2 if turn % 3 == 1 else (turn,))]
            for way in (-1, 1)
        ),
    ]


def _owed(
    owed: list[tuple[int, tuple[int, ...]]], reports: list[Report], hearing: Hearing
) -> list[_Item]:
    """The items for steps without reported turns; they count as silent in ``hearing``."""
    hearing.silent += [number for number, _ in owed]
    gaps = [report.lost for report in reports if isinstance(report, GapReport)]
    turns = [turn for _, steps in owed for turn in steps]
    if gaps and not turns:
        return [_Lost(count=gaps[0])]
    if gaps:
        return [_Lost(tuple(tuple(sent[: gaps[0]]) for sent in _as_sent(turns)))]
    return [_Lost((steps, ())) for _, steps in owed]


def _items(reports: list[Report]) -> list[_Item]:
    return [item for item in map(_free_item, reports) if item is not None]


def _free_item(report: Report) -> _Item | None:
    match report:
        case TurnReport(turn):
            return turn
        case StateReport(position):
            return position
        case GapReport(lost):
            return _Lost(count=lost)
    return None


def _is_solved(items: list[_Item], anywhere_from: int | None) -> bool:
    """Whether the cube is solved in the end, for some choice of the lost turns.

    ``anywhere_from``: one more turn may be missing, after this many items; None: none may.
    """
    known = max((at for at, item in enumerate(items) if isinstance(item, bytes)), default=-1)
    position = items[known] if known >= 0 else SOLVED_BYTES
    assert isinstance(position, bytes)
    rest = items[known + 1 :]
    guesses = [item for item in rest if isinstance(item, _Lost) and item.either]
    if len(guesses) > _MOST_GUESSES:
        return False
    for chosen in product(*(item.either for item in guesses)):
        turns, gaps = _with(rest, iter(chosen))
        if not gaps and _after(position, turns) == SOLVED_BYTES:
            return True
        if len(gaps) == 1:
            [(at, count)] = gaps
            if _is_missing(position, turns, [at], two=count == 2):
                return True
        if not gaps and anywhere_from is not None and known < anywhere_from:
            places = range(anywhere_from - known - 1, len(turns) + 1)
            if _is_missing(position, turns, places):
                return True
    return False


def _with(
    rest: list[_Item], chosen: Iterator[tuple[int, ...]]
) -> tuple[list[int], list[tuple[int, int | None]]]:
    """All turns, with the chosen ones for lost turns; and the places of other lost turns."""
    turns: list[int] = []
    gaps: list[tuple[int, int | None]] = []
    for item in rest:
        if isinstance(item, _Lost) and item.either:
            turns += next(chosen)
        elif isinstance(item, _Lost):
            gaps.append((len(turns), item.count))
        elif isinstance(item, int):
            turns.append(item)
    return turns, gaps


def _is_missing(
    position: bytes, turns: list[int], places: Sequence[int], *, two: bool = False
) -> bool:
    """Whether one turn (or ``two``) more at one of the places solves the cube in the end."""
    after = _after(SOLVED_BYTES, inverse_turns(turns))
    at = 0
    for place in places:
        for turn in turns[at:place]:
            position = position.translate(TURN_BYTES[turn])
            after = after.translate(TURN_BYTES[turn])
        at = place
        near = {position.translate(table) for table in TURN_BYTES}
        if after in near:
            return True
        if two and any(one.translate(table) == after for one in near for table in TURN_BYTES):
            return True
    return False


def _after(position: bytes, turns: Sequence[int]) -> bytes:
    for turn in turns:
        position = position.translate(TURN_BYTES[turn])
    return position
