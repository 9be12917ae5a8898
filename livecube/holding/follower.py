"""Answers the pipeline: how the cube is held now, and how it was held at each stage.

A stated holding is believed. Otherwise the inferred holding is used where it is sure enough.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.holding import COLOURS, HOLDINGS
from livecube.events import HeldAs
from livecube.holding.acquaintance import Acquaintance
from livecube.holding.inference import NEGLIGIBLE, downs, weighed
from livecube.holding.kernel import (
    Rows,
    Seen,
    advance,
    nowhere,
    room_for,
    rows_for,
    turned_between,
)
from livecube.holding.looking_back import backward
from livecube.holding.observations import Observer, Solves, believe, stage_name_numbers
from livecube.holding.written import HELD_AFTER
from livecube.stages.progress import (
    SURE,
    CrossColour,
    HeldNow,
    Progress,
    Reopened,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from livecube.cube.holding import Holding
    from livecube.holding.inference import HoldingModel
    from livecube.holding.kernel import Array, Quaternion
    from livecube.holding.likelihoods import Likelihoods
    from livecube.holding.observations import SolveTurns
    from livecube.stages.solve import Solve, Split

__all__ = ["Hindsight", "HoldingFollower", "LiveHolding", "with_holdings"]

# How the cube is held now, from the turns so far.


_ROOM: Final = 512
"""Turns kept of one solve; a longer one is continued from a new beginning."""
_FOLLOWED: Final = 4
"""Most kinds of solver followed at a time, so that a turn stays cheap; of equals the first ones."""
_LAG: Final = 3
"""Number of the last turns whose holdings later turns still revise."""
_ROWS: Final = 16
"""Turns whose states are kept: those of one turn take 40 kB for each kind of solver."""


class LiveHolding:
    """Follows one solve, turn by turn. ``turn`` takes well under a millisecond."""

    def __init__(self, model: HoldingModel) -> None:
        self.kinds = model.expected
        """The evidence about the solver when the next solve begins, see
        :attr:`livecube.holding.acquaintance.Acquaintance.kinds`."""
        self._model = model
        nodes = [len(likely.moves) for likely in model.kinds]
        where = nowhere(max(nodes))
        self._rows = [rows_for(_ROWS, number, where) for number in nodes]
        self._told: int | None = None
        """Number of the holding stated last."""
        self._told_at: int
        """Number of turns before that."""
        self._observer = Observer(room_for(0))
        self.begin()

    def begin(self) -> None:
        """Another solve begins: the cube may have been put down and picked up differently.

        The holding stated last still holds.
        """
        self._seen = room_for(_ROOM)
        self._count = 0
        self._forgotten = 0
        """Number of turns before the first row."""
        self._observer = Observer(self._seen, self._observer.gaps)
        self._down = downs(-1)
        self._cross = -1
        self._attitude: Quaternion | None = None
        self._weights = self.kinds.copy()
        likely = np.argsort(-self._weights, kind="stable")[:_FOLLOWED]
        self._followed = likely[weighed(self._weights)[likely] >= NEGLIGIBLE]
        if self._told is not None:
            believe(self._seen, 0, self._told)
            self._told_at = 0

    def state(self, holding: Holding | None) -> None:
        """Take in the holding that the solver states; None: it is no longer known."""
        self._told = None if holding is None else HOLDINGS.index(holding)
        self._told_at = self._count
        if self._told is not None:
            believe(self._seen, self._count, self._told)

    def turn(
        self, turn: int, t: float, stage: int, cross: int, attitude: Quaternion | None = None
    ) -> None:
        """Take in a turn at ``t``, made during a stage (0 to 7).

        ``attitude``: of the cube's core in space, if it has a gyroscope. ``cross``: face of the
        finished cross, −1 before. From the first turn with a cross on, it is down except for
        moments.
        """
        if self._count == _ROOM - 1:
            self.begin()
        if self._count - self._forgotten == _ROWS:
            self._forget()
        i, seen = self._count, self._seen
        if cross != self._cross:
            self._cross, self._down = cross, downs(cross)
            self._look_down(i)
        self._observer.look(turn, t, stage)
        if i:
            seen.turned[i] = turned_between(self._attitude, attitude)
        self._attitude = attitude
        row, kept = i - self._forgotten, Seen._make(a[self._forgotten :] for a in seen)
        for number in self._followed:
            rows = self._rows[number]
            advance(row, kept, self._down, self._model.kinds[number], False, rows)
            self._weights[number] += np.log(rows.scales[row])
        self._count += 1

    def _forget(self) -> None:
        """Keep only the last rows, at the beginning: later turns do not revise the others."""
        last = _LAG + 1
        for number in self._followed:
            for a in self._rows[number][:-1]:
                a[:last] = a[_ROWS - last :]
        self._forgotten += _ROWS - last

    def _look_down(self, turn: int) -> None:
        """Take in the colour of the cross, which is known from now on."""
        if self._cross >= 0:
            down, tilted = self._model.kinds[0].first
            self._seen.evidence[turn, self._down == 1] *= tilted / down

    @property
    def held(self) -> Array:
        """Shape (24,): how likely each holding is now, after the last turn."""
        likely = np.full(24, 1 / 24)
        if self._count:
            likely = np.zeros(24)
            i = self._count - 1 - self._forgotten
            for share, rows, kind in self._each():
                keys = rows.keys[i, : rows.n[i]] // len(kind.moves)
                np.add.at(likely, keys, share * rows.weights[i, : rows.n[i]])
        if self._told is not None and self._told_at == self._count:
            likely = np.zeros(24)
            likely[self._told] = 1.0
        return likely

    @property
    def from_turns_alone(self) -> bool:
        """Whether there is no stated holding and no gyroscope."""
        return self._told is None and self._attitude is None

    def recent(self) -> Array:
        """Shape (1 to 3, 24): each holding before the last turns, given all turns so far."""
        first = max(0, self._count - _LAG)
        held = np.zeros((self._count - first, 24))
        for share, rows, likely in self._each():
            kept = slice(first - self._forgotten, self._count - self._forgotten)
            part = Rows._make([*(a[kept] for a in rows[:-1]), rows.where])
            its, _ = backward(self._part(first), self._down, likely, part)
            held += share * its
        return held

    def _part(self, first: int) -> Seen:
        return Seen._make(a[first : self._count] for a in self._seen)

    def _each(self) -> Iterator[tuple[float, Rows, Likelihoods]]:
        shares = weighed(self._weights[self._followed])
        for number, share in zip(self._followed, shares, strict=True):
            yield share, self._rows[number], self._model.kinds[number]


_STILL_SURE: Final = 0.6
"""A named holding stays while it is at least this sure, so that hints do not flicker."""
_LAST_STAGE: Final = 7
_LONGEST: Final = 1000
"""Longer attempts are not followed and not read: nobody solves in so many turns. A cube that jumps,
or is turned on and on, would cost more work with each turn, and more memory than there is."""


class HoldingFollower:
    """Follows the tracker's progress; splits come back with their holding."""

    def __init__(self, model: HoldingModel) -> None:
        self._model = model
        self._acquaintance = Acquaintance(model)
        self._live = LiveHolding(model)
        self._solves = Solves()
        self._turned: list[Turned] = []
        """Turns that may belong to a solve that has not been recognised yet."""
        self._begun = False
        self._last_line: int
        """The last line that is followed, if the solve lasts so long."""
        self._stages = 0
        self._cross: int
        """Face of the cross that is done, −1 before; set when the first solve begins."""
        self._told: Holding | None = None

    def hindsight(self) -> Callable[[Sequence[Progress]], Sequence[Progress]]:
        """A function that adds holdings to the progress of another log, with the same model."""
        return Hindsight(self._model).take

    @property
    def sure(self) -> Holding | None:
        """The holding now, if it is sure enough."""
        return self._told

    def take(self, told: Iterable[Progress]) -> list[Progress | HeldNow]:
        """Take in the tracker's next progress; returns it with holdings, and changes of holding."""
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
        self._begun = self._begun and turned.line <= self._last_line
        if self._begun:
            stage = min(_LAST_STAGE, self._stages)
            self._live.turn(turned.turn, turned.t, stage, self._cross, turned.attitude)

    def _begin(self, start: int) -> None:
        """Take in the beginning of a solve, perhaps some turns ago."""
        self._stages, self._cross, self._last_line = 0, -1, start + _LONGEST - 1
        self._live.begin()
        begun = [turned for turned in self._turned if turned.line >= start]
        self._begun = len(begun) <= _LONGEST
        if self._begun:
            for turned in begun:
                self._live.turn(turned.turn, turned.t, 0, -1, turned.attitude)

    def _stage(self, split: Split) -> Split:
        self._stages += 1
        if split.stage == "cross":
            cross = self._turned[-1].cross if self._turned else None
            self._cross = -1 if cross is None else COLOURS.index(cross)
        return split if split.holding else replace(split, holding=self._told)

    def _changed(self, t: float) -> list[HeldNow]:
        """The event for another sure holding, or for none; empty if nothing has changed."""
        likeliest, confidence = self._likeliest() if self._begun else (None, 0.0)
        enough = _STILL_SURE if likeliest == self._told else SURE
        held = likeliest if confidence >= enough else None
        if held == self._told:
            return []
        self._told = held
        return [HeldNow(t, held, confidence)]

    def _likeliest(self) -> tuple[Holding, float]:
        """The likeliest holding now, and its believed probability."""
        held = self._live.held
        if self._live.from_turns_alone:
            stage = stage_name_numbers([min(_LAST_STAGE, self._stages)])
            held = self._acquaintance.believed(held[None], stage, live=True)[0]
        best = int(held.argmax())
        return HOLDINGS[best], float(held[best])


class Hindsight:
    """The same for a log that need not be followed live: it reads only finished solves."""

    def __init__(self, model: HoldingModel) -> None:
        self._acquaintance = Acquaintance(model)
        self._solves = Solves()

    def take(self, told: Sequence[Progress]) -> list[Progress]:
        """Pass on the tracker's progress; solves come back with their holdings."""
        return [self._taken(progress) for progress in told]

    def _taken(self, progress: Progress) -> Progress:
        over = self._solves.take(progress)
        if over is None:
            return progress
        assert isinstance(progress, SolveOver)  # with which a solve comes
        return replace(progress, solve=with_holdings(over, self._acquaintance))


def with_holdings(over: SolveTurns, solver: Acquaintance) -> Solve:
    """The solve, each split with the holding at its end where that is sure."""
    solve = over.solve
    if len(over.part.turns) > _LONGEST:
        return solve
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
