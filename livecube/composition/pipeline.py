"""The pipeline: cube events in, progress and advice out. The same for a cube and for a log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.speaker import Speaker
from livecube.cube.holding import parse_colour
from livecube.stages.progress import SolveBegun, SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Advice
    from livecube.advice.speaker import Happening, Spoken, Withdrawn
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.events import CubeEvent
    from livecube.stages.progress import Progress
    from livecube.stages.tracker import Tracker

__all__ = ["Pipeline", "Question"]

_MOST = 6
"""Rows of advice that are worked out while solving."""


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """A settled position for which advice is wanted."""

    t: float
    position: Array
    face: int
    """Of the cross."""
    holding: Holding | None


class Pipeline:
    """One cube's way from events to happenings.

    ``advisor`` may be set later (its tables take a moment to load); until then nothing is
    advised. ``now`` gives seconds, for measuring how long advice takes.
    """

    def __init__(self, tracker: Tracker, now: Callable[[], float]) -> None:
        self.tracker = tracker
        self.advisor: Advisor | None = None
        self.question: Question | None = None
        """What the present position asks; None when there is nothing to ask."""
        self.solves = 0
        self.advice_ms: list[float] = []
        """How long each piece of advice took, in milliseconds."""
        self._now = now
        self._speaker = Speaker()

    def feed(self, event: CubeEvent) -> list[Happening]:
        """Take in an event; all that it brought, in order."""
        return self._advised(self.tracker.feed(event))

    def finish(self) -> list[Happening]:
        """There are no more events."""
        return self._advised(self.tracker.finish())

    def _advised(self, told: Sequence[Progress]) -> list[Happening]:
        turned: Turned | None = None
        for progress in told:
            if isinstance(progress, Turned):
                turned = progress
            elif isinstance(progress, SolveOver):
                self.solves += 1
                turned = None
            if isinstance(progress, SolveOver | SolveBegun):
                self._speaker.forget()
        self.question = None
        return [*told, *(self._advise(turned) if turned else ())]

    def _advise(self, turned: Turned) -> list[Spoken | Withdrawn]:
        withdrawn = self._speaker.watch(turned)
        if self.advisor is None or turned.cross is None or not self._speaker.listens(turned):
            return [*withdrawn]
        start = self._now()
        question = Question(
            turned.t,
            np.frombuffer(turned.position, dtype=np.uint8),
            parse_colour(turned.cross),
            self.tracker.holding,
        )
        advice = self.advisor.advise(
            question.position, question.face, question.holding, inspection=False, most=_MOST
        )
        self.advice_ms.append((self._now() - start) * 1000)
        self.question = question
        return [*withdrawn, *self._speaker.speak(turned.t, advice)]

    def refined(self, question: Question, advice: Advice) -> list[Spoken]:
        """A better answer to a question has come; what it changes, if it still matters."""
        if question is not self.question:
            return []
        return self._speaker.speak(question.t, advice)
