"""The pipeline: cube events in, progress and advice out. The same for a cube and for a log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.advice.degrees import Degrees
from livecube.advice.manner import Manner
from livecube.advice.speaker import Planned, Speaker, Spoken
from livecube.advice.withheld import Withheld
from livecube.cube.holding import parse_colour
from livecube.stages.progress import HeldAs, Resynced, SolveBegun, SolveOver, Turned
from livecube.stages.resting import Resting

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Advice, Opportunity
    from livecube.advice.order import Order
    from livecube.advice.speaker import Happening, Unsaid, Withdrawn
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.events import CubeEvent
    from livecube.holding.following import HoldingFollower
    from livecube.holding.news import HeldNow
    from livecube.stages.progress import Progress
    from livecube.stages.tracker import Tracker

__all__ = ["MOST_ROWS", "Asked", "OpeningQuestion", "Pipeline", "Question"]

MOST_ROWS: Final = 6
"""Rows of advice that are worked out while solving."""
_ASK_ANEW: Final = (Turned, Resynced, SolveBegun, SolveOver, HeldAs)
"""After these the position, or how it is held, is another."""


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """A settled position for which better advice is wanted."""

    t: float
    position: Array
    face: int
    """Of the cross."""
    holding: Holding | None


@dataclass(frozen=True, slots=True, eq=False)
class OpeningQuestion:
    """A scrambled position at rest, for which ways to begin the solve are wanted."""

    t: float
    position: Array
    faces: tuple[int, ...]
    """Of the crosses that the solver accepts."""
    holding: Holding | None


Asked: TypeAlias = Question | OpeningQuestion


class Pipeline:
    """One cube's way from events to happenings.

    ``advisor`` may be set later (its tables take a moment to load); until then nothing is
    advised. ``now`` gives seconds, for measuring how long advice takes. Time passes for the
    pipeline only as the caller says: by events, and by :meth:`wake` when ``due`` has come.
    """

    def __init__(
        self, tracker: Tracker, now: Callable[[], float], manner: Manner | None = None
    ) -> None:
        self.tracker = tracker
        self.manner = manner or Manner()
        self.advisor: Advisor | None = None
        self.holdings: HoldingFollower | None = None
        """Works out how the cube is held; may be set later, like the advisor."""
        self.question: Asked | None = None
        """What the present position asks; None when there is nothing to ask."""
        self.solves = 0
        self.advice_ms: list[float] = []
        """How long each piece of advice took, in milliseconds."""
        self._now = now
        self._speaker = Speaker()
        self._withheld = Withheld()
        self._degrees = Degrees()
        self._resting = Resting(tracker)
        self._turned: Turned | None = None
        """The last turn of the solve under way."""

    @property
    def due(self) -> float | None:
        """When, on the cube's clock, :meth:`wake` is to be called; None: not at all."""
        both = [self._rest_due, self._degrees.due]
        return min((t for t in both if t is not None), default=None)

    @property
    def cross(self) -> int:
        """Face of the cross that is followed; before there is one, of the first accepted."""
        followed = self._turned and self._turned.cross
        return parse_colour(followed) if followed else self.manner.crosses[0]

    @property
    def holding(self) -> Holding | None:
        """How the cube is held now: as stated, or as worked out if that is sure enough."""
        return self.tracker.holding or (self.holdings.sure if self.holdings else None)

    @property
    def _rest_due(self) -> float | None:
        return self._resting.due if self.manner.in_inspection else None

    def feed(self, event: CubeEvent) -> list[Happening]:
        """Take in an event; all that it brought, in order."""
        told = self.tracker.feed(event)
        self._resting.watch(event, told)
        return self._advised(self._held(told))

    def finish(self) -> list[Happening]:
        """There are no more events."""
        return self._advised(self._held(self.tracker.finish()))

    def wake(self) -> list[Happening]:
        """The time that ``due`` named has come, and nothing has happened since."""
        due = self.due
        if due is None or due != self._rest_due:
            return self._degrees.wake()
        self._resting.rest()
        position = np.frombuffer(self.tracker.position, dtype=np.uint8)
        self.question = OpeningQuestion(due, position, self.manner.crosses, self.holding)
        return []

    def refined(self, question: Question, advice: Advice) -> list[Happening]:
        """A better answer to a question has come; what it changes, if it still matters."""
        if question is not self.question:
            return []
        return self._in_degrees(self._say(self._speaker.speak(question.t, advice)))

    def planned(self, question: Question, orders: tuple[Order, ...]) -> list[Happening]:
        """Orders of the free slots have been found; what is told, if it still matters.

        Nothing to whoever learns to see by degrees, or wants to hear nothing while solving.
        """
        told = question is self.question and self.manner.when != "after"
        if not told or self.manner.by_degrees or not orders or len(orders[0].slots) < 2:
            return []
        return [Planned(question.t, orders)]

    def opened(
        self, question: OpeningQuestion, rows: Sequence[Opportunity], t: float
    ) -> list[Happening]:
        """At ``t`` ways to begin the solve have been found; what is said, if it still matters."""
        if question is not self.question:
            return []
        self.question = None
        return self._in_degrees(self._say(self._speaker.open(t, rows)))

    def _held(self, told: Sequence[Progress]) -> Sequence[Progress | HeldNow]:
        return self.holdings.take(told) if self.holdings else told

    def _advised(self, told: Sequence[Progress | HeldNow]) -> list[Happening]:
        happenings: list[Happening] = []
        for progress in told:
            happenings += [progress, *self._noted(progress)]
        if any(isinstance(progress, _ASK_ANEW) for progress in told):
            self.question = None
            happenings += self._say(self._advise(told))
        return self._in_degrees(happenings)

    def _noted(self, progress: Progress | HeldNow) -> Sequence[Spoken | Withdrawn | Unsaid]:
        """Keep what later advice depends on; what is taken back, or said since a solve is over."""
        match progress:
            case Turned():
                self._turned = progress
            case Resynced():
                self._turned = None
                return self._say(self._speaker.take_back(progress.t))
            case SolveBegun():
                self._speaker.begin()
                self._withheld.forget()
            case SolveOver():
                self.solves += 1
                self._turned = None
                self._speaker.forget()
                if self.manner.when == "after":
                    return [self._withheld.release(progress.t)]
        return []

    def _advise(self, told: Sequence[Progress | HeldNow]) -> list[Spoken | Withdrawn]:
        turned = self._turned
        withdrawn: list[Withdrawn] = []
        if turned is None:
            return []
        if any(progress is turned for progress in told):
            withdrawn = self._speaker.watch(turned)
        elif not self._speaker.under_way:
            self._speaker.forget()  # the same position, held otherwise
        wanted = self.manner.in_solve and self._speaker.listens(turned)
        if self.advisor is None or turned.cross is None or not wanted:
            return [*withdrawn]
        start = self._now()
        question = Question(
            turned.t,
            np.frombuffer(turned.position, dtype=np.uint8),
            parse_colour(turned.cross),
            self.holding,
        )
        advice = self.advisor.first_answer(question.position, question.face, question.holding)
        self.advice_ms.append((self._now() - start) * 1000)
        self.question = question
        return [*withdrawn, *self._speaker.speak(turned.t, advice)]

    def _say(self, said: Sequence[Spoken | Withdrawn]) -> Sequence[Spoken | Withdrawn]:
        """What is told of it now."""
        if self.manner.when != "after":
            return said
        self._withheld.keep(hint for hint in said if isinstance(hint, Spoken))
        return ()

    def _in_degrees(self, happenings: Sequence[Happening]) -> list[Happening]:
        return self._degrees.pass_on(happenings) if self.manner.by_degrees else [*happenings]
