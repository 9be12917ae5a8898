"""Solves cut out of what the tracker tells, each with the stage of every turn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import HOLDINGS, parse_colour
from livecube.holding.observations import SolvePart
from livecube.stages.progress import HeldAs, SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.stages.progress import Progress
    from livecube.stages.solve import Solve

__all__ = ["SolveTurns", "Solves", "solves_in"]

_LAST_STAGE: Final = 7


@dataclass(frozen=True, slots=True)
class SolveTurns:
    """A solve in hindsight and its turns."""

    solve: Solve
    first_line: int
    """Turn line, counted from 1 in the log, of the first turn."""
    part: SolvePart


class Solves:
    """Takes in what the tracker tells, and gives each solve with its turns when it is over."""

    def __init__(self) -> None:
        self._turned: list[Turned] = []
        self._stated: dict[int, int] = {}
        """Holdings, by the line of the next turn."""
        self._now: int | None = None
        """The holding that was stated last."""
        self._line = 0

    def take(self, progress: Progress) -> SolveTurns | None:
        """Take in the next; a solve, if it is over."""
        match progress:
            case Turned():
                self._turned.append(progress)
                self._line = progress.line
            case HeldAs(holding=holding):
                self._now = None if holding is None else HOLDINGS.index(holding)
                if self._now is not None:
                    self._stated[self._line + 1] = self._now
            case SolveOver(solve=solve):
                turned = [t for t in self._turned if t.line >= solve.start_turn]
                stated = {
                    max(0, line - solve.start_turn): holding
                    for line, holding in self._stated.items()
                    if line <= self._line
                }
                self._turned = []
                self._stated = {} if self._now is None else {self._line: self._now}
                return SolveTurns(solve, solve.start_turn, _part(solve, turned, stated))
        return None


def solves_in(told: Iterable[Progress]) -> list[SolveTurns]:
    """All solves in what a tracker told."""
    solves = Solves()
    return [one for progress in told if (one := solves.take(progress)) is not None]


def _part(solve: Solve, turned: list[Turned], stated: dict[int, int]) -> SolvePart:
    ends = [split.end_turn for split in solve.splits if split.end_turn is not None]
    return SolvePart(
        [t.turn for t in turned],
        [t.t for t in turned],
        [min(_LAST_STAGE, sum(end < t.line for end in ends)) for t in turned],
        -1 if solve.cross is None else parse_colour(solve.cross),
        stated,
        [t.attitude for t in turned],
    )
