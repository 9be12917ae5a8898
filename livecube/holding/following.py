"""What the pipeline asks: how the cube is held now, and how it was at each stage.

A holding that was stated is believed; else the one worked out counts where it is sure enough.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import HOLDINGS, parse_colour
from livecube.holding.acquaintance import Acquaintance
from livecube.holding.live import LiveHolding
from livecube.holding.moves import HELD_AFTER
from livecube.holding.news import SURE, HeldNow
from livecube.holding.observations import stage_name_numbers
from livecube.holding.solve_turns import Solves
from livecube.stages.progress import (
    CrossColour,
    HeldAs,
    Progress,
    Reopened,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from livecube.cube.holding import Holding
    from livecube.holding.inference import HoldingModel
    from livecube.holding.solve_turns import SolveTurns
    from livecube.stages.solve import Solve, Split

__all__ = ["Hindsight", "HoldingFollower", "with_holdings"]

_STILL_SURE: Final = 0.6
"""One that is spoken of stays as long as it is so sure: words that flicker help nobody."""
_LAST_STAGE: Final = 7


class HoldingFollower:
    """Follows what the tracker tells; splits come back with their holding."""

    def __init__(self, model: HoldingModel) -> None:
        self._model = model
        self._acquaintance = Acquaintance(model)
        self._live = LiveHolding(model)
        self._solves = Solves()
        self._turned: list[Turned] = []
        """Turns that may belong to a solve that is not seen yet."""
        self._begun = False
        self._stages = 0
        self._cross = -1
        self._told: Holding | None = None

    def hindsight(self) -> Callable[[Sequence[Progress]], Sequence[Progress]]:
        """What adds holdings to what a tracker tells of another log, by the same model."""
        return Hindsight(self._model).take

    @property
    def sure(self) -> Holding | None:
        """The holding now, if it is sure enough."""
        return self._told

    def take(self, told: Iterable[Progress]) -> list[Progress | HeldNow]:
        """Take in what the tracker tells next; the same with holdings, and what has changed."""
        known: list[Progress | HeldNow] = []
        for progress in told:
            known.append(self._taken(progress))
            if isinstance(progress, Turned | SolveOver | HeldAs | Resynced):
                known += self._changed(progress.t)
        return known

    def _taken(self, progress: Progress) -> Progress:
        over = self._solves.take(progress)
        match progress:
            case Turned():
                self._turn(progress)
            case SolveBegun(start_turn=start):
                self._begin(start)
            case StageDone(split=split):
                return replace(progress, split=self._stage(split))
            case Reopened(slots=slots):
                self._stages = max(1, self._stages - len(slots))
            case CrossColour():
                self._stages = 0
            case HeldAs(holding=holding):
                self._live.state(holding)
            case Resynced():
                self._live.begin()
            case SolveOver() if over is not None:
                self._begun, self._turned = False, []
                solve = with_holdings(over, self._acquaintance)
                self._live.kinds = self._acquaintance.kinds
                self._live.begin()
                return replace(progress, solve=solve)
        return progress

    def _turn(self, turned: Turned) -> None:
        self._turned.append(turned)
        if self._begun:
            stage = min(_LAST_STAGE, self._stages)
            self._live.turn(turned.turn, turned.t, stage, self._cross, turned.attitude)

    def _begin(self, start: int) -> None:
        """A solve has been seen to begin, perhaps some turns ago."""
        self._begun, self._stages, self._cross = True, 0, -1
        self._live.begin()
        for turned in self._turned:
            if turned.line >= start:
                self._live.turn(turned.turn, turned.t, 0, -1, turned.attitude)

    def _stage(self, split: Split) -> Split:
        self._stages += 1
        if split.stage == "cross":
            cross = self._turned[-1].cross if self._turned else None
            self._cross = -1 if cross is None else parse_colour(cross)
        return split if split.holding else replace(split, holding=self._told)

    def _changed(self, t: float) -> list[HeldNow]:
        """What is to be told when another holding is sure now, or none any more."""
        likeliest, confidence = self._likeliest() if self._begun else (None, 0.0)
        enough = _STILL_SURE if likeliest == self._told else SURE
        held = likeliest if confidence >= enough else None
        if held == self._told:
            return []
        self._told = held
        return [HeldNow(t, held, confidence)]

    def _likeliest(self) -> tuple[Holding, float]:
        """How the cube is likeliest to be held now, and how sure that is, as far as believed."""
        held = self._live.held
        if self._live.from_turns_alone:
            stage = stage_name_numbers([min(_LAST_STAGE, self._stages)])
            held = self._acquaintance.believed(held[None], stage, live=True)[0]
        best = int(held.argmax())
        return HOLDINGS[best], float(held[best])


class Hindsight:
    """The same for a log that nobody waits for: only solves that are over are read."""

    def __init__(self, model: HoldingModel) -> None:
        self._acquaintance = Acquaintance(model)
        self._solves = Solves()

    def take(self, told: Sequence[Progress]) -> list[Progress]:
        """Pass on what the tracker tells; solves come back with their holdings."""
        return [self._taken(progress) for progress in told]

    def _taken(self, progress: Progress) -> Progress:
        over = self._solves.take(progress)
        if over is None or not isinstance(progress, SolveOver):
            return progress
        return replace(progress, solve=with_holdings(over, self._acquaintance))


def with_holdings(over: SolveTurns, solver: Acquaintance) -> Solve:
    """A solve whose splits say how the cube was held when they ended, where that is sure."""
    solve = over.solve
    reading = solver.read(over.part)
    at = {step.first + i: step for step in reading.path for i in range(step.reports)}

    def held(split: Split) -> Holding | None:
        if split.holding or split.end_turn is None:
            return split.holding
        step = at.get(split.end_turn - over.first_line)
        if step is None or reading.confidence(step) < SURE:
            return None
        return HOLDINGS[int(HELD_AFTER[step.holding, step.move])]

    return replace(solve, splits=tuple(replace(s, holding=held(s)) for s in solve.splits))
