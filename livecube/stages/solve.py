"""A solve in hindsight: its cross colour, its eight stages, their splits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from livecube.cube.position import htm
from livecube.stages.cases import orientation_case, permutation_case
from livecube.stages.frame import ALL_SLOTS, LastLayer, slots_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.cube.holding import Holding
    from livecube.stages.frame import CrossFrame, Done, Reached, Record, Row, Sight

__all__ = [
    "Boundary",
    "Doubt",
    "Solve",
    "Split",
    "StageName",
    "StageTurns",
    "chosen_sight",
    "cross_boundary",
    "joined",
    "last_layer_boundaries",
    "pair_boundaries",
    "pair_technique",
    "split",
    "summarise",
]

# The technique of a pair, named from the rows of the cross colour.
#
# For a done pair, let c and e be the lines from which its corner and its edge are solved up
# to offset at every later line where the cross is whole, up to the line where the pair is
# done. c = e: plain (made-pair if the two were joined when the stage began). e before c:
# keyhole-corner. c before e: keyhole-edge, or keyhole-flip if that edge stood flipped in its
# own slot during the stage. Pairs done on the cross's line are an x-cross. Two pairs done on one
# line are a pseudo-pair if just before them one slot had only its corner and the other only its
# edge, or else a multislot.


def pair_technique(
    frame: CrossFrame,
    rows: Sequence[Row],
    slots: Sequence[int],
    *,
    began: int,
    done: int,
    began_position: bytes,
    with_cross: bool,
) -> str:
    """Name of the technique by which ``slots`` were done together.

    ``rows`` are the colour's rows of this solve in order; ``began`` and ``done`` the lines at
    which the stage began (the end of the one before) and ended.
    """
    if with_cross:
        return "x-cross"
    seen = [row for row in rows if row.line <= done]
    if len(slots) > 1:
        return "pseudo-pair" if _crosswise(seen, slots) else "multislot"
    slot = slots[0]
    corner, edge = _since(seen, slot, "corners"), _since(seen, slot, "edges")
    if edge < corner:
        return "keyhole-corner"
    if corner < edge:
        stood_flipped = any(row.flipped >> slot & 1 for row in seen if row.line >= began)
        return "keyhole-flip" if stood_flipped else "keyhole-edge"
    return "made-pair" if joined(frame, began_position, slot) else "plain"


def _since(rows: Sequence[Row], slot: int, what: str) -> int:
    """First line from which a piece stays solved up to offset until the last of ``rows``."""
    line = rows[-1].line
    for row in reversed(rows):
        if not getattr(row, what) >> slot & 1:
            break
        line = row.line
    return line


def _crosswise(rows: Sequence[Row], slots: Sequence[int]) -> bool:
    """Whether, before both slots were filled, one had only its corner and one only its edge."""
    if len(slots) != 2:
        return False
    filled = max(_since(rows, slot, what) for slot in slots for what in ("corners", "edges"))
    before = next((row for row in reversed(rows) if row.line < filled), None)
    if before is None:
        return False
    corners, edges = ([one >> slot & 1 for slot in slots] for one in (before.corners, before.edges))
    return corners != edges and sum(corners) == sum(edges) == 1


def joined(frame: CrossFrame, position: bytes, slot: int) -> bool:
    """Whether corner and edge of a slot touch outside it with both shared colours matching."""
    corner, edge = position[frame.corners[slot]], position[frame.edges[slot]]
    return (corner, edge) in frame.joined[slot]


StageName: TypeAlias = Literal["cross", "pair", "orient", "permute", "auf"]


@dataclass(frozen=True, slots=True)
class Boundary:
    """Where a stage ended and what it was."""

    stage: StageName
    line: int
    slots: tuple[str, ...] = ()
    technique: str | None = None
    case: str | None = None
    offset: int = 0


@dataclass(frozen=True, slots=True)
class StageTurns:
    """One stage's place in the solve, and its turns."""

    stage: StageName
    slots: tuple[str, ...]
    end_turn: int | None
    """Turn line, counted from 1 in the log; None: the stage was never done."""
    turns: int
    """Half-turn metric."""


@dataclass(frozen=True, slots=True)
class Split(StageTurns):
    """One stage of a solve."""

    seconds: float
    pause: float
    """From the last turn of the stage before to the first of this one; 0 for the cross."""
    technique: str | None
    case: str | None
    offset: int
    """Offset of the cross layer at that line."""
    shared: bool
    """It ended on the same turn as the stage before, so it has no turns of its own."""
    holding: Holding | None
    inferred: bool = False
    """Turns that matter here were worked out, not reported; see :class:`Doubt`."""
    gap: bool = False
    """Turns that matter here were lost: nothing here counts as measured."""

    @property
    def turning(self) -> float:
        """Seconds without the pause."""
        return self.seconds - self.pause

    @property
    def tps(self) -> float | None:
        """Turns a second, pause included; None without seconds."""
        return self.turns / self.seconds if self.seconds > 0 else None


@dataclass(frozen=True, slots=True)
class Solve:
    """A solve, whole or broken off."""

    id: int | None
    cross: str | None
    """Colour of the cross."""
    start_turn: int
    """Line of the first turn."""
    started: float
    """Time of that line."""
    seconds: float
    turns: int
    solved: bool
    splits: tuple[Split, ...]
    """Eight, in order: cross, four pairs, orient, permute, auf."""
    gap: bool = False

    @property
    def tps(self) -> float | None:
        """Turns a second over the whole solve, pauses included; None if it took no time."""
        return self.turns / self.seconds if self.seconds > 0 else None


def chosen_sight(record: Record) -> Sight | None:
    """The cross colour in hindsight: the one whose four slots were all solved first.

    In a tie the one with the earliest first pair, then the earliest cross. If no colour has
    four slots, the one with the most; None if there was no cross at all.
    """

    def key(sight: Sight) -> tuple[int, list[int], list[int], int]:
        cross = sight.held.cross
        assert cross is not None
        lines = sorted(done.line for done in sight.held.done.values())
        # The fourth line is the one at which all slots are done.
        return -len(lines), lines[3:], lines[:1], cross.line

    return min((s for s in record.sights if s.held.cross), key=key, default=None)


def cross_boundary(sight: Sight) -> Boundary:
    """The boundary of a cross that is done."""
    cross = sight.held.cross
    assert cross is not None
    shared = any(done.line == cross.line for done in sight.held.done.values())
    return Boundary("cross", cross.line, (), "x-cross" if shared else None, None, cross.offset)


def pair_boundaries(
    record: Record, sight: Sight, done: dict[int, Done], began: int
) -> list[Boundary]:
    """Boundaries of the slots ``done``, in order and named; ``began``: end of the stage before."""
    result, frame = [], sight.frame
    start, cross = record.start(sight), sight.held.cross
    rows = [row for row in sight.held.rows if start is None or row.line >= start - 1]
    for line in sorted({d.line for d in done.values()}):
        slots = [slot for slot, d in done.items() if d.line == line]
        technique = pair_technique(
            frame,
            rows,
            slots,
            began=began,
            done=line,
            began_position=record.position_after(began),
            with_cross=cross is not None and line <= cross.line,
        )
        for slot in sorted(slots, key=frame.slots.__getitem__):
            name = slots_of(frame, 1 << slot)
            result.append(Boundary("pair", line, name, technique, None, done[slot].offset))
        began = line
    return result


def last_layer_boundaries(
    record: Record, frame: CrossFrame, found: Iterable[Reached]
) -> list[Boundary]:
    """Boundaries of the stages of the last layer that were ``found``, with their cases."""
    result: list[Boundary] = []
    for stage, began, line in found:
        case = _case(stage, record.position_after(began), frame)
        skipped = line == began and stage != "auf"
        result.append(Boundary(stage, line, (), "skip" if skipped else None, case))
    return result


def _case(stage: StageName, position: bytes, frame: CrossFrame) -> str | None:
    row = frame.row(0, position)
    if row is None or row.offset or row.solved != ALL_SLOTS:
        return None  # a held slot is out at this line, so the layer shows no case
    if stage == "orient":
        return orientation_case(position, frame.face)
    return permutation_case(position, frame.face) if stage == "permute" else None


@dataclass(slots=True)
class Doubt:
    """Which stages of a solve cannot be trusted, because turns were lost or worked out.

    Where turns were worked out, every position is right again afterwards. Such turns touch the
    stages in which they lie, the stage that ends on the same turn, and the next one, since the
    end from which it is counted may be wrong. After a gap no stage is sure. Before the last
    pair, both touch all pairs, in hindsight the earlier ones too: a solved slot is out in the
    middle of a sequence, so the lines that were seen decide which pair is done when.
    """

    lost: bool = False
    """Whether turns have been lost so far."""
    touched: bool = False
    """Whether worked-out turns touch the stage before."""
    pairs_lost: bool = False
    pairs_touched: bool = False

    def marks(
        self, record: Record, boundary: Boundary, after: int, start: int
    ) -> tuple[bool, bool]:
        """Take in the next stage, begun ``after`` a line; whether lost and inferred turns mark it.

        Turns before the ``start`` of the solve touch only the cross: they may have hidden the line
        at which the solve began.
        """
        before, first = self.touched, boundary.stage == "cross"
        lines = range(after, boundary.line + 1)
        earlier = range(record.before, start if first else record.before)
        self.lost |= not record.gaps.isdisjoint(lines) or (self.pairs_lost and not first)
        self.touched = (
            not record.inferred.isdisjoint(lines[first:])
            or (boundary.line <= after and before)
            or (self.pairs_touched and boundary.stage == "pair")
        )
        return (
            self.lost or not record.gaps.isdisjoint(earlier),
            self.touched or before or not record.inferred.isdisjoint(earlier),
        )


def split(record: Record, doubt: Doubt, boundary: Boundary, after: int, start: int) -> Split:
    """The figures of one stage that began ``after`` a line, in a solve begun at line ``start``."""
    shared = boundary.line <= after

    def clock(line: int) -> float:
        return record.time(max(line, start))

    first = boundary.stage == "cross"
    lost, inferred = doubt.marks(record, boundary, after, start)
    return Split(
        stage=boundary.stage,
        slots=boundary.slots,
        end_turn=boundary.line,
        turns=0 if shared else htm(record.turns_between(after, boundary.line)),
        seconds=0.0 if shared else clock(boundary.line) - clock(after),
        pause=0.0 if shared or first else clock(after + 1) - clock(after),
        technique=boundary.technique,
        case=boundary.case,
        offset=boundary.offset,
        shared=shared,
        holding=record.holding_at(boundary.line),
        inferred=inferred,
        gap=lost,
    )


def summarise(record: Record) -> Solve | None:
    """The solve in a record, in hindsight; None if the record holds none."""
    sight = chosen_sight(record)
    start = record.start(sight) if sight else record.before + 1 if record.begun else None
    if start is None or not record.turns:
        return None
    splits: list[Split] = []
    after = start - 1
    if sight and sight.held.cross:
        boundaries = _boundaries(record, sight)
        last = max((b.line for b in boundaries if b.stage == "pair"), default=start - 1)
        doubt = Doubt(
            pairs_lost=not record.gaps.isdisjoint(range(start - 1, last + 1)),
            pairs_touched=not record.inferred.isdisjoint(range(start, last + 1)),
        )
        for boundary in boundaries:
            splits.append(split(record, doubt, boundary, after, start))
            after = max(after, boundary.line)
    solved = len(splits) == 8
    return Solve(
        id=record.id,
        cross=sight.frame.colour if sight else None,
        start_turn=start,
        started=record.time(start),
        seconds=record.times[-1] - record.time(start),
        turns=sum(s.turns for s in splits) + htm(record.turns_between(after, record.line)),
        solved=solved,
        splits=tuple(splits) + _undone(len(splits)),
        gap=bool(record.gaps),
    )


def _boundaries(record: Record, sight: Sight) -> list[Boundary]:
    """All stages that were done, in order."""
    cross = cross_boundary(sight)
    pairs = pair_boundaries(record, sight, sight.held.done, cross.line)
    complete = sight.held.complete
    last = LastLayer(sight.frame, complete.line).advance(record) if complete else []
    return [cross, *pairs, *last_layer_boundaries(record, sight.frame, last)]


_ORDER: tuple[StageName, ...] = (
    "cross",
    "pair",
    "pair",
    "pair",
    "pair",
    "orient",
    "permute",
    "auf",
)


def _undone(done: int) -> tuple[Split, ...]:
    return tuple(
        Split(stage, (), None, 0, 0.0, 0.0, None, None, 0, False, None) for stage in _ORDER[done:]
    )
