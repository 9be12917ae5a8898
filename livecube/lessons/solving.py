"""Whole solves within a lesson, and how often a focus was possible and done in them. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from livecube.cube.holding import COLOURS
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.events import Reset, State, Turn
from livecube.lessons.news import SolveDone, SolveReady, SolveTurned
from livecube.review.trying import SETTLE_S, Scene, SettingUp, SetUpAsked, SetUpGuided, TryGivenUp
from livecube.search.situation import Situation
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.techniques.base import traits

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.events import CubeEvent
    from livecube.lessons.news import LessonNews
    from livecube.review.trying import TryNews
    from livecube.scrambling.path import ScramblePath
    from livecube.stages.solve import Solve
    from livecube.techniques.base import Technique

__all__ = ["Scrambled", "Solving", "beginnings"]


@dataclass(frozen=True, slots=True)
class Scrambled(Scene):
    """A random state to be solved."""

    scramble: tuple[int, ...]
    """The turns that lead there from solved."""


class Solving:
    """Solves of random states, one after another, on a cube in ``position`` (20 facelets).

    ``step``: the number of the step. ``focus``: the technique to count, if any.
    """

    def __init__(
        self,
        step: int,
        scrambled: Callable[[], Scrambled],
        path_to: Callable[[bytes, bytes], ScramblePath],
        position: bytes,
        focus: Technique | None,
    ) -> None:
        self.number = 0
        """Number of the solve that is prepared or under way."""
        self.turns: list[Turn] = []
        """Those of the solve under way, or of the last one."""
        self.scene: Scrambled
        self._step = step
        self._scrambled = scrambled
        self._path_to = path_to
        self._position = position
        self._focus = focus
        self._setting_up: SettingUp | None = None
        self._ready_at: float | None = None
        self._tracker = Tracker()

    def begin(self, t: float) -> list[TryNews | LessonNews]:
        """Ask for the next scramble."""
        self.number += 1
        self.scene = self._scrambled()
        return self._set_up(t)

    def give_up(self, t: float) -> list[TryNews | LessonNews]:
        """Ask for the same scramble once more."""
        return [TryGivenUp(t, self.number), *self._set_up(t)]

    def feed(self, event: CubeEvent) -> list[TryNews | LessonNews]:
        """Take in an event; returns the news that it causes."""
        match event:
            case Turn():
                self._position = self._position.translate(TURN_BYTES[event.turn])
                return self._turned(event)
            case State() if event.position != self._position:
                self._position = event.position
            case Reset():
                self._position = SOLVED_BYTES
            case _:
                return []
        return self._guide(event.t) if self._ready_at is None else self.give_up(event.t)

    def _set_up(self, t: float) -> list[TryNews | LessonNews]:
        self._ready_at = None
        self._setting_up = SettingUp(self._path_to, self._position, self.scene.position)
        asked = SetUpAsked(t, self.number, self.scene, self._setting_up.turns)
        return [asked] if asked.turns else [asked, self._ready(t)]

    def _ready(self, t: float) -> SolveReady:
        self._ready_at, self.turns = t, []
        self._tracker = Tracker(self.scene.position)
        return SolveReady(t, self._step, self.number, self._position)

    def _guide(self, t: float) -> list[TryNews | LessonNews]:
        assert self._setting_up is not None, "begin comes first"
        guidance = self._setting_up.guide(self._position)
        told = SetUpGuided(t, self.scene, guidance, self._setting_up.turns)
        return [told, self._ready(t)] if guidance.reached else [told]

    def _turned(self, event: Turn) -> list[TryNews | LessonNews]:
        if self._ready_at is None:
            return self._guide(event.t)
        if not self.turns and event.t - self._ready_at < SETTLE_S:
            self._ready_at = None
            return self._guide(event.t)
        self.turns.append(event)
        over = [one for one in self._tracker.feed(event) if isinstance(one, SolveOver)]
        if not over:
            return [SolveTurned(event.t, self._step, self._position, self.turns[0].t)]
        return [self._done(event.t, over[0].solve)]

    def _done(self, t: float, solve: Solve) -> SolveDone:
        possible = done = 0
        if self._focus is not None and solve.cross is not None:
            made = [turn.turn for turn in self.turns]
            face = COLOURS.index(solve.cross)
            start = self.scene.position
            inspected = traits(self._focus).in_inspection
            possible = sum(
                bool(self._focus.chances(Situation.of(np.frombuffer(one, np.uint8), face)))
                for one in ([start] if inspected else beginnings(solve, start, made))
            )
            done = sum(split.technique == self._focus.id for split in solve.splits)
        focus = None if self._focus is None else self._focus.id
        return SolveDone(
            t, self._step, self.number, solve, focus, possible, done, self.scene.scramble,
            tuple(self.turns),
        )  # fmt: skip


def beginnings(solve: Solve, start: bytes, turns: Sequence[int]) -> list[bytes]:
    """The positions (20 facelets) at which the cross, or a pair before the last, was done."""
    ends = {split.end_turn for split in solve.splits[:4]}
    found, position = [], start
    for number, turn in enumerate(turns, 1):
        position = position.translate(TURN_BYTES[turn])
        if number in ends:
            found.append(position)
    return found
