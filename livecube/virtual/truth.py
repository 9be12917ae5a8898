"""The truth about a solve, found by looking at the stickers after every reported turn.

Slow and simple on purpose, and independent of every tracker: the cube is 54 colour letters, a turn
moves letters, and everything else is a comparison of letters with centres.

The rules for stages as applied here (a *line* is a reported turn of the solve; a
half turn reported in two quarters is two lines):

- At a line where the cross is whole at offset 0, with at least as many slots solved as held,
  the solved ones are held from now on: those missing are reopened, those new are done. The
  cross is done at the first line at offset 0.
- Between two lines at offset 0 the same rule is applied provisionally at every whole line,
  which gives a slot its *own* line; a slot provisionally reopened loses it. When the layer is
  aligned, new slots keep their own line and offset, but those with the latest own line are
  done at the aligning line, at offset 0. No slot is done before the cross.
- The cross keeps its own line (the first at which it was whole, at any offset) if a new slot
  has an own line later than that and earlier than the aligning one.
- The cross colour is the one with all four slots held first, at offset 0; then the one with
  the earliest first pair; then the earliest cross; if none has four, most slots come first.
- Orientation is done at the first line, from that of the last pair on, at which the last
  layer shows one colour, whether or not the slots are intact at that line.
- A pair's technique looks at whole lines only (but whether the pieces were joined is seen at
  the end of the stage before). Two slots done on one line are a pseudo-pair if at the whole
  line before their own line each had just one piece in, a corner and the other's edge.
- The solve's start is not a line: slots solved there count from the first line that shows them.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.virtual.looks import (
    MOVED,
    START,
    Look,
    WholeLine,
    joined,
    looks_after,
    sides_of,
    whole_line,
)
from livecube.virtual.records import TrueStage

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.virtual.records import StageName

__all__ = ["Truth", "find_truth", "looks_after"]


class _Done(NamedTuple):
    """The place where a cross or pair counts as done."""

    line: int
    offset: int
    own: int
    """The line at which it was first complete at any offset."""


class _Follower:
    """Applies the rules for cross and pairs to the whole lines of one colour, in order."""

    def __init__(self, cross: int, lines: list[WholeLine]) -> None:
        self.cross = cross
        self.lines = lines
        self.cross_done: _Done | None = None
        self.pairs: dict[str, _Done] = {}
        self.reopened: list[tuple[str, int]] = []
        self.four_held: int | None = None
        held: frozenset[str] = frozenset()
        between: list[WholeLine] = []
        for line in lines:
            between.append(line)
            if line.offset == 0:
                held = self._align(held, between)
                between = []

    def _align(self, held: frozenset[str], between: list[WholeLine]) -> frozenset[str]:
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
        latest = max((line.line for line in lines.values()), default=now.line)
        for slot, line in lines.items():
            # No slot is done before the cross.
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


def _own_lines(held: frozenset[str], between: list[WholeLine]) -> dict[str, WholeLine]:
    """The line from which each slot was provisionally done, at any offset."""
    own: dict[str, WholeLine] = {}
    for line in between:
        held, lost, new = _held_rule(held, line.solved)
        for slot in lost:
            own.pop(slot, None)
        own |= dict.fromkeys(new, line)
    return own


def _cross_place(between: list[WholeLine], pair_lines: list[int]) -> _Done:
    first, aligned = between[0], between[-1]
    chain = any(first.line < line < aligned.line for line in pair_lines)
    place = first if chain else aligned
    return _Done(place.line, place.offset, first.line)


@dataclass(frozen=True, slots=True)
class Truth:
    """The stages of one solve by the rules."""

    cross: int
    """Face of the cross colour in hindsight."""
    stages: list[TrueStage]
    reopened: list[tuple[str, int]]
    crosses: dict[int, int]
    """For every colour whose cross counts as done: its line."""


def find_truth(looks: Sequence[Look], first: int) -> Truth:
    """The truth about the solve whose first turn is line ``first`` of the log.

    ``looks`` are those before the first turn and after each one. Lines are numbered as the
    log numbers its turn lines.
    """
    followers = []
    for cross in range(6):
        found = (whole_line(first + i, look, cross) for i, look in enumerate(looks[1:]))
        followers.append(_Follower(cross, [line for line in found if line is not None]))
    follower = min(followers, key=_rank)
    shown = dict(enumerate(looks, start=first - 1))
    rows = _cross_and_pairs(follower, shown)
    if follower.four_held is not None:
        rows += _last_layer(follower.cross, rows[-1].end_turn, shown)
    crosses = {f.cross: f.cross_done.line for f in followers if f.cross_done is not None}
    return Truth(follower.cross, rows, follower.reopened, crosses)


_NEVER: Final = sys.maxsize


def _rank(follower: _Follower) -> tuple[int, int, int, int]:
    """Order of the colours in hindsight; without four held slots, most slots come first."""
    four = _NEVER if follower.four_held is None else follower.four_held
    pair = min((done.line for done in follower.pairs.values()), default=_NEVER)
    cross = _NEVER if follower.cross_done is None else follower.cross_done.line
    return four, -len(follower.pairs), pair, cross


def _cross_and_pairs(follower: _Follower, shown: dict[int, Look]) -> list[TrueStage]:
    if follower.cross_done is None:
        return []
    line = follower.cross_done.line
    rows = [TrueStage("cross", (), line, None, False, follower.cross_done.offset)]
    for slot in sorted(follower.pairs, key=lambda slot: (follower.pairs[slot].line, slot)):
        done, before = follower.pairs[slot], rows[-1].end_turn
        name = _technique(follower, slot, before, shown)
        rows.append(TrueStage("pair", (slot,), done.line, name, done.line == before, done.offset))
    return rows


def _technique(follower: _Follower, slot: str, start: int, shown: dict[int, Look]) -> str:
    """The technique of a pair whose stage began after line ``start``."""
    done = follower.pairs[slot]
    if follower.cross_done is not None and done.line == follower.cross_done.line:
        return "x-cross"
    others = [s for s, its in follower.pairs.items() if its.line == done.line and s != slot]
    if others:
        pseudo = any(_was_pseudo(follower.lines, slot, other, done.own) for other in others)
        return "pseudo-pair" if pseudo else "multislot"
    corner = _since(follower.lines, done.line, lambda line: slot in line.corners)
    edge = _since(follower.lines, done.line, lambda line: slot in line.edges)
    side = next(side for side in sides_of(follower.cross) if side.slot == slot)
    beside = next(s for s in sides_of(follower.cross) if s.centre // 9 == side.edge[1] // 9)
    pair = (side.centre, beside.centre)
    if corner == edge:
        return "made-pair" if joined(shown[start], follower.cross, pair) else "plain"
    if edge < corner:
        return "keyhole-corner"
    flipped = any(
        tuple(shown[line.line][f] for f in reversed(side.edge))
        == tuple(FACES[centre // 9] for centre in pair)
        for line in follower.lines
        if start <= line.line <= done.line
    )
    return "keyhole-flip" if flipped else "keyhole-edge"


def _was_pseudo(lines: list[WholeLine], one: str, two: str, own: int) -> bool:
    """Whether, at the whole line before, each slot had one piece and the other its partner."""
    # There is one: pairs that are in at the first whole line are done with the cross.
    before = next(line for line in reversed(lines) if line.line < own)
    corners, edges = before.corners & {one, two}, before.edges & {one, two}
    return len(corners) == 1 and len(edges) == 1 and corners != edges


def _since(lines: list[WholeLine], done: int, solved: Callable[[WholeLine], bool]) -> int:
    """The first line from which ``solved`` holds at every whole line up to ``done``."""
    since = done
    for line in reversed([line for line in lines if line.line <= done]):
        if not solved(line):
            break
        since = line.line
    return since


def _last_layer(cross: int, fours: int, shown: dict[int, Look]) -> list[TrueStage]:
    """Those of orientation, permutation and AUF that were done after line ``fours``."""
    top = OPPOSITE[cross]
    wanted: list[tuple[StageName, Callable[[Look], bool]]] = [
        (
            "orient",
            lambda look: all(letter == FACES[top] for letter in look[9 * top : 9 * top + 9]),
        ),
        ("permute", lambda look: any(t == START for t in _layer_turned(look, top))),
        ("auf", lambda look: look == START),
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


def _layer_turned(look: Look, face: int) -> list[Look]:
    """The four looks that come from this one by turns of one face."""
    return [look, *(MOVED[3 * face + quarters](look) for quarters in range(3))]
