"""The truth about a solve, found by looking at the stickers after every reported turn.

Slow and simple on purpose, and sharing nothing with any tracker: the cube is 54 colour
letters, a turn moves letters, and everything else is comparing letters with centres.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from operator import itemgetter
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import FACELET_NORMAL, FACELET_POINT, FACES, OPPOSITE, TURNS
from livecube.cube.holding import COLOURS
from livecube.virtual.records import TrueStage

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from livecube.virtual.records import StageName

__all__ = ["Truth", "find_truth", "looks_after"]

_Look = tuple[str, ...]
"""54 face letters, in the order of the facelets."""

_START: Final[_Look] = tuple(FACES[i // 9] for i in range(54))
_MOVED: Final[list[Callable[[_Look], _Look]]] = [
    itemgetter(*np.argsort(turn).tolist()) for turn in TURNS
]
_NORMAL: Final = [tuple(v) for v in FACELET_NORMAL.tolist()]
_POINT: Final = [tuple(v) for v in FACELET_POINT.tolist()]
_CENTRE: Final = range(4, 54, 9)
_WHERE: Final = {(_POINT[i], _NORMAL[i]): i for i in range(54)}


def looks_after(turns: Iterable[int], look: _Look = _START) -> list[_Look]:
    """How the cube looks at the start and after each turn."""
    looks = [look]
    for turn in turns:
        look = _MOVED[turn](look)
        looks.append(look)
    return looks


def _sum(*vectors: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(map(sum, zip(*vectors, strict=True)))


class _Side(NamedTuple):
    """One side face of a cross, and the slot between it and the next side clockwise."""

    centre: int
    below: int
    """Cross edge: its sticker on this side."""
    cross_edge: int
    """The same edge's sticker on the cross face."""
    corner: tuple[int, int, int]
    """Slot corner: its stickers on the cross face, this side and the next."""
    edge: tuple[int, int]
    """Slot edge: its stickers on this side and the next."""
    slot: str


@cache
def _sides(cross: int) -> tuple[_Side, ...]:
    """The four sides in the order in which a clockwise turn of the cross face moves them."""
    down = _NORMAL[9 * cross]
    first = next(face for face in range(6) if face not in (cross, OPPOSITE[cross]))
    ring = [first]
    while len(ring) < 4:
        at = _WHERE[_sum(down, _NORMAL[9 * ring[-1]]), _NORMAL[9 * ring[-1]]]
        ring.append(int(TURNS[3 * cross][at]) // 9)
    sides = []
    for face, following in zip(ring, ring[1:] + ring[:1], strict=True):
        side, beside = _NORMAL[9 * face], _NORMAL[9 * following]
        low, corner, edge = _sum(down, side), _sum(down, side, beside), _sum(side, beside)
        names = sorted((COLOURS[face], COLOURS[following]))
        sides.append(
            _Side(
                _CENTRE[face],
                _WHERE[low, side],
                _WHERE[low, down],
                (_WHERE[corner, down], _WHERE[corner, side], _WHERE[corner, beside]),
                (_WHERE[edge, side], _WHERE[edge, beside]),
                "-".join(names),
            )
        )
    return tuple(sides)


class _Line(NamedTuple):
    """A line at which the cross of one colour is whole."""

    line: int
    offset: int
    corners: frozenset[str]
    """Slots whose corner is solved up to the offset."""
    edges: frozenset[str]

    @property
    def solved(self) -> frozenset[str]:
        return self.corners & self.edges


def _offset(look: _Look, cross: int) -> int | None:
    """By how many clockwise quarters the whole cross is turned; None if it is not whole."""
    sides, letter = _sides(cross), FACES[cross]
    if any(look[side.cross_edge] != letter for side in sides):
        return None
    below = [look[side.below] for side in sides]
    centres = [look[side.centre] for side in sides]
    for offset in range(4):
        # One clockwise quarter brings each edge from its own side to the next.
        if all(below[(i + offset) % 4] == centres[i] for i in range(4)):
            return offset
    return None


def _whole_line(line: int, look: _Look, cross: int) -> _Line | None:
    offset = _offset(look, cross)
    if offset is None:
        return None
    corners, edges = set(), set()
    sides = _sides(cross)
    for i, side in enumerate(sides):
        beside = sides[(i + 1) % 4]
        # The slot whose corner belongs here while the layer is turned by the offset.
        owner = sides[(i - offset) % 4].slot
        wanted = (FACES[cross], look[side.below], look[beside.below])
        if tuple(look[f] for f in side.corner) == wanted:
            corners.add(owner)
        if tuple(look[f] for f in side.edge) == (look[side.centre], look[beside.centre]):
            edges.add(side.slot)
    return _Line(line, offset, frozenset(corners), frozenset(edges))


class _Done(NamedTuple):
    """Where a cross or pair counts as done."""

    line: int
    offset: int
    own: int
    """The line at which it was first complete at any offset."""


class _Follower:
    """Applies the rules for cross and pairs to the whole lines of one colour, in order."""

    def __init__(self, cross: int, lines: list[_Line]) -> None:
        self.cross = cross
        self.lines = lines
        self.cross_done: _Done | None = None
        self.pairs: dict[str, _Done] = {}
        self.reopened: list[tuple[str, int]] = []
        self.four_held: int | None = None
        held: frozenset[str] = frozenset()
        between: list[_Line] = []
        for line in lines:
            between.append(line)
            if line.offset == 0:
                held = self._align(held, between)
                between = []

    def _align(self, held: frozenset[str], between: list[_Line]) -> frozenset[str]:
        """Settle everything between two lines at offset 0; ``between`` ends with the second."""
        now = between[-1]
        after, lost, new = _held_rule(held, now.solved)
        for slot in sorted(lost):
            self.reopened.append((slot, now.line))
            del self.pairs[slot]
        own = _own_lines(held, between)
        lines = {slot: own.get(slot, now) for slot in new}
        if self.cross_done is None:
            self.cross_done = _cross_place(between, [line.line for line in lines.values()])
        latest = max((line.line for line in lines.values()), default=0)
        for slot, line in lines.items():
            # Never before the cross.
            early = self.cross_done.line <= line.line < latest
            place = line if early else now
            self.pairs[slot] = _Done(place.line, place.offset, line.line)
        if self.four_held is None and len(after) == 4:
            self.four_held = now.line
        return after


def _held_rule(
    held: frozenset[str], solved: frozenset[str]
) -> tuple[frozenset[str], frozenset[str], frozenset[str]]:
    """Slots held afterwards, slots reopened, slots newly done."""
    if len(solved) >= len(held):
        return solved, held - solved, solved - held
    return held, frozenset(), frozenset()


def _own_lines(held: frozenset[str], between: list[_Line]) -> dict[str, _Line]:
    """The line from which each slot was provisionally done, at whatever offset."""
    own: dict[str, _Line] = {}
    for line in between:
        held, lost, new = _held_rule(held, line.solved)
        for slot in lost:
            own.pop(slot, None)
        own |= dict.fromkeys(new, line)
    return own


def _cross_place(between: list[_Line], pair_lines: list[int]) -> _Done:
    first, aligned = between[0], between[-1]
    chain = any(first.line < line < aligned.line for line in pair_lines)
    place = first if chain else aligned
    return _Done(place.line, place.offset, first.line)


@dataclass(frozen=True, slots=True)
class Truth:
    """What the rules for stages say about one solve."""

    cross: int
    """Face of the cross colour in hindsight."""
    stages: list[TrueStage]
    reopened: list[tuple[str, int]]
    crosses: dict[int, int]
    """For every colour whose cross counts as done: its line."""


def find_truth(looks: Sequence[_Look], first: int) -> Truth:
    """The truth about the solve whose first turn is line ``first`` of the log.

    ``looks`` are those before the first turn and after each one. Lines are numbered as the
    log numbers its turn lines.
    """
    followers = []
    for cross in range(6):
        found = (_whole_line(first + i, look, cross) for i, look in enumerate(looks[1:]))
        followers.append(_Follower(cross, [line for line in found if line is not None]))
    follower = min(followers, key=_rank)
    shown = dict(enumerate(looks, start=first - 1))
    rows = _cross_and_pairs(follower, shown)
    if follower.four_held is not None:
        rows += _last_layer(follower.cross, rows[-1].end_turn, shown)
    crosses = {f.cross: f.cross_done.line for f in followers if f.cross_done is not None}
    return Truth(follower.cross, rows, follower.reopened, crosses)


_NEVER: Final = 10**9


def _rank(follower: _Follower) -> tuple[int, int, int, int]:
    """Order of the colours in hindsight; without four held slots, most slots come first."""
    four = _NEVER if follower.four_held is None else follower.four_held
    slots = 0 if follower.four_held is not None else -len(follower.pairs)
    pair = min((done.line for done in follower.pairs.values()), default=_NEVER)
    cross = _NEVER if follower.cross_done is None else follower.cross_done.line
    return four, slots, pair, cross


def _cross_and_pairs(follower: _Follower, shown: dict[int, _Look]) -> list[TrueStage]:
    if follower.cross_done is None:
        return []
    line = follower.cross_done.line
    rows = [TrueStage("cross", (), line, None, False, follower.cross_done.offset)]
    for slot in sorted(follower.pairs, key=lambda slot: (follower.pairs[slot].line, slot)):
        done, before = follower.pairs[slot], rows[-1].end_turn
        name = _technique(follower, slot, before, shown)
        rows.append(TrueStage("pair", (slot,), done.line, name, done.line == before, done.offset))
    return rows


def _technique(follower: _Follower, slot: str, start: int, shown: dict[int, _Look]) -> str:
    """The name of what was done, for a pair whose stage began after line ``start``."""
    done = follower.pairs[slot]
    if follower.cross_done is not None and done.line == follower.cross_done.line:
        return "x-cross"
    for other, its in follower.pairs.items():
        if its.line == done.line and other != slot:
            pseudo = _was_pseudo(follower.lines, slot, other, done.own)
            return "pseudo-pair" if pseudo else "multislot"
    corner = _since(follower.lines, done.line, lambda line: slot in line.corners)
    edge = _since(follower.lines, done.line, lambda line: slot in line.edges)
    side = next(side for side in _sides(follower.cross) if side.slot == slot)
    beside = next(s for s in _sides(follower.cross) if s.centre // 9 == side.edge[1] // 9)
    pair = (side.centre, beside.centre)
    if corner == edge:
        return "made-pair" if _joined(shown[start], follower.cross, pair) else "plain"
    if edge < corner:
        return "keyhole-corner"
    flipped = any(
        tuple(shown[line.line][f] for f in reversed(side.edge))
        == tuple(FACES[centre // 9] for centre in pair)
        for line in follower.lines
        if start <= line.line <= done.line
    )
    return "keyhole-flip" if flipped else "keyhole-edge"


def _was_pseudo(lines: list[_Line], one: str, two: str, own: int) -> bool:
    """Whether, at the whole line before, each slot had one piece and the other its partner."""
    earlier = [line for line in lines if line.line < own]
    if not earlier:
        return False
    corners, edges = earlier[-1].corners & {one, two}, earlier[-1].edges & {one, two}
    return len(corners) == 1 and len(edges) == 1 and corners != edges


def _since(lines: list[_Line], done: int, solved: Callable[[_Line], bool]) -> int:
    """The first line from which ``solved`` holds at every whole line up to ``done``."""
    since = done
    for line in reversed([line for line in lines if line.line <= done]):
        if not solved(line):
            break
        since = line.line
    return since


def _joined(look: _Look, cross: int, pair: tuple[int, int]) -> bool:
    """Whether the corner and edge of a slot touch with both shared colours matching."""
    colours = {look[centre] for centre in pair}
    for point in {_POINT[i] for i in range(54) if 0 not in _POINT[i]}:
        normals = [tuple(v if a == axis else 0 for a in range(3)) for axis, v in enumerate(point)]
        shown = {normal: look[_WHERE[point, normal]] for normal in normals}
        if set(shown.values()) != colours | {FACES[cross]}:
            continue
        one, two = (n for n in normals if shown[n] in colours)
        beside = _sum(one, two)
        return (look[_WHERE[beside, one]], look[_WHERE[beside, two]]) == (shown[one], shown[two])
    raise ValueError("no corner shows the colours of this slot: these are not looks of a cube")


def _last_layer(cross: int, fours: int, shown: dict[int, _Look]) -> list[TrueStage]:
    """Orientation, permutation and AUF, as far as they were done after line ``fours``."""
    top = OPPOSITE[cross]
    wanted: list[tuple[StageName, Callable[[_Look], bool]]] = [
        (
            "orient",
            lambda look: all(letter == FACES[top] for letter in look[9 * top : 9 * top + 9]),
        ),
        ("permute", lambda look: any(t == _START for t in _layer_turned(look, top))),
        ("auf", lambda look: look == _START),
    ]
    rows: list[TrueStage] = []
    line, last = fours, max(shown)
    for stage, reached in wanted:
        before = line
        while line <= last and not reached(shown[line]):
            line += 1
        if line > last:
            break
        rows.append(TrueStage(stage, (), line, None, line == before, 0))
    return rows


def _layer_turned(look: _Look, face: int) -> list[_Look]:
    """The four looks that turns of one face make of this one."""
    return [look, *(_MOVED[3 * face + quarters](look) for quarters in range(3))]
