"""The pipeline: cube events in, progress and advice out. The same for a cube and for a log."""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.speaker import STEP_S, Asks, Clues, Manner, Speaker, Spoken, Withheld
from livecube.cube.holding import parse_colour
from livecube.cube.position import TURN_BYTES, apply_turns
from livecube.events import ClueAsked, HeldAs, Turn
from livecube.practice.gestures import MOST_FOR_HELP, TurnsWatcher, asks_for_help
from livecube.stages.frame import FRAMES
from livecube.stages.progress import HelpWanted, Resynced, SolveBegun, SolveOver, Turned
from livecube.stages.tracker import Resting

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor, Beginning
    from livecube.advice.rows import Opportunity
    from livecube.advice.speaker import Happening, Said
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.events import CubeEvent
    from livecube.holding.follower import HoldingFollower
    from livecube.stages.progress import HeldNow, Progress
    from livecube.stages.tracker import Tracker

__all__ = ["OpeningQuestion", "Pipeline"]


@dataclass(frozen=True, slots=True, eq=False)
class OpeningQuestion:
    """A scrambled position at rest, for which beginnings of the solve are wanted.

    It is answered beside the pipeline, since that takes long; everything else is worked out at
    once.
    """

    t: float
    position: Array
    faces: tuple[int, ...]
    """Faces of the crosses that the solver accepts."""
    holding: Holding | None


class Pipeline:
    """One cube's way from events to happenings.

    ``advisor`` may be set later (its tables take a moment to load); until then there is no advice.
    ``now`` gives seconds, for measuring the time of advice. Only the caller lets time pass for the
    pipeline: by events, and by :meth:`wake` when ``due`` has come.
    """

    def __init__(
        self, tracker: Tracker, now: Callable[[], float], manner: Manner | None = None
    ) -> None:
        self.tracker = tracker
        self.manner = manner or Manner()
        self.advisor: Advisor | None = None
        self.holdings: HoldingFollower | None = None
        """Infers the holding; may be set later, like the advisor."""
        self.question: OpeningQuestion | None = None
        """The question of a scrambled cube at rest, or None."""
        self._opened: OpeningQuestion | None = None
        """That question when it was answered, and nothing has happened since."""
        self.solves = 0
        self.advice_ms: list[float] = []
        """Milliseconds for the advice at each beginning."""
        self.silences: Counter[str] = Counter()
        """How often each rule held a hint back at a beginning."""
        self._now = now
        self._speaker = Speaker()
        self._withheld = Withheld()
        self._gestures = TurnsWatcher()
        self._lately: deque[tuple[float, int]] = deque(maxlen=MOST_FOR_HELP)
        """Times and turns of the last turns."""
        self._stood: deque[bytes] = deque(maxlen=MOST_FOR_HELP)
        """The position before each of them."""
        self._wants_help = False
        self._resting = Resting(tracker)
        self._turned: Turned | None = None
        """The last turn of the solve under way."""
        self._going_on: tuple[bytes, tuple[str, ...]] | None = None
        """The position after the first step of the latest plan, if the hands do it as written, and
        the slots of the next step."""

    @property
    def manner(self) -> Manner:
        """How hints are given; it may be set before the first event."""
        return self._manner

    @manner.setter
    def manner(self, manner: Manner) -> None:
        self._manner = manner
        self._clues = Clues(STEP_S if manner.clues_s is None else manner.clues_s)

    @property
    def due(self) -> float | None:
        """Time, on the cube's clock, for calling :meth:`wake`; None: no call."""
        every = [self._rest_due, self._stop_due, self._clues.due]
        return min((t for t in every if t is not None), default=None)

    @property
    def cross(self) -> int:
        """Face of the followed cross; before there is one, of the first accepted colour."""
        followed = self._turned and self._turned.cross
        return parse_colour(followed) if followed else self.manner.crosses[0]

    @property
    def holding(self) -> Holding | None:
        """The present holding: stated, or inferred if that is sure enough."""
        return self.tracker.holding or (self.holdings.sure if self.holdings else None)

    @property
    def _rest_due(self) -> float | None:
        return self._resting.due if self.manner.in_inspection else None

    @property
    def _stop_due(self) -> float | None:
        return self._speaker.due if self.manner.in_solve else None

    def feed(self, event: CubeEvent) -> list[Happening]:
        """Take in an event; returns its happenings, in order."""
        stood, wanted = self.tracker.position, self._wants_help
        told = self.tracker.feed(event)
        self._resting.watch(event, told)
        happenings = self._advised(self._held(told))
        return [*happenings, *self._asked(event), *self._helped(event, stood, not wanted)]

    def finish(self) -> list[Happening]:
        """End of the events."""
        return self._advised(self._held(self.tracker.finish()))

    def wake(self) -> list[Happening]:
        """Note that the time ``due`` has come without an event."""
        due = self.due
        if due is None:
            return []
        if due == self._rest_due:
            self._resting.rest()
            position = np.frombuffer(self.tracker.position, dtype=np.uint8)
            self.question = OpeningQuestion(due, position, self.manner.crosses, self.holding)
            return []
        if due == self._stop_due:
            self._speaker.wake()
            told = self._in_clues(self._say(self._answered(due)))
            if self.manner.clues_s is not None and self._speaker.hint is not None:
                self._clues.go_on(due)
            return told
        return self._clues.wake()

    def opened(
        self, question: OpeningQuestion, rows: Sequence[Opportunity], t: float
    ) -> list[Happening]:
        """Take in the beginnings found at ``t``; returns what is said, if still of use."""
        if question is not self.question:
            return []
        self.question, self._opened = None, question
        crosses = _crosses_after(question.position, rows[0].turns_fixed) if rows else frozenset()
        return self._in_clues(self._say(self._speaker.open(t, rows, crosses)))

    def ask_again(self) -> None:
        """Ask about the scrambled cube at rest once more, for a better answer than the last."""
        self.question = self.question or self._opened

    def _asked(self, event: CubeEvent) -> list[Happening]:
        """The next clue, if the event asks for it: by a key, or by a gesture with the cube."""
        if self.manner.clues_s is None:
            return []
        is_gesture = isinstance(event, Turn) and self._gestures.turned(event.t, event.turn)
        return self._clues.ask(event.t) if is_gesture or isinstance(event, ClueAsked) else []

    def _helped(self, event: CubeEvent, stood: bytes, wanted: bool) -> list[Happening]:
        """Whether help is wanted from now on, if the event completes that gesture.

        ``stood``: the position before the event; ``wanted``: whether the gesture asks for help.
        """
        if not isinstance(event, Turn):
            return []
        self._lately.append((event.t, event.turn))
        self._stood.append(stood)
        # The gesture leaves the cube as it was, so most turns need no closer look.
        if self.tracker.position not in self._stood or not asks_for_help(self._lately):
            return []
        self._lately.clear()
        if wanted == self._wants_help:
            return []  # the same turn ended a solve, which was told
        self._wants_help = wanted
        return [HelpWanted(event.t, wanted)]

    def _held(self, told: Sequence[Progress]) -> Sequence[Progress | HeldNow]:
        return self.holdings.take(told) if self.holdings else told

    def _advised(self, told: Sequence[Progress | HeldNow]) -> list[Happening]:
        happenings: list[Happening] = []
        for progress in told:
            happenings += [progress, *self._say(self._speaker.take(progress))]
            happenings += self._noted(progress)
        if told:
            happenings += self._say(self._answered(told[-1].t))
        return self._in_clues(happenings)

    def _noted(self, progress: Progress | HeldNow) -> Sequence[Happening]:
        """Keep what later advice needs; at the end of a solve, returns the hints held back.

        Help is no longer wanted then.
        """
        match progress:
            case Turned():
                self._turned, self.question, self._opened = progress, None, None
            case Resynced():
                self._turned = self.question = self._opened = None
            case HeldAs():
                self.question = self._opened = None
            case SolveBegun():
                self.question = self._opened = None
                self._withheld.forget()
            case SolveOver():
                self.solves += 1
                self._turned = self.question = self._opened = None
                told: list[Happening] = (
                    [HelpWanted(progress.t, wanted=False)] if self._wants_help else []
                )
                self._wants_help = False
                if self.manner.when == "after":
                    told.append(self._withheld.release(progress))
                return told
        return []

    def _answered(self, t: float) -> list[Said]:
        """The hints at ``t`` for the present position, if the speaker asks for them."""
        asks, advisor, turned = self._speaker.question(), self.advisor, self._turned
        if asks is None or advisor is None or turned is None or turned.cross is None:
            return []
        if not self.manner.in_solve:
            return []
        position = np.frombuffer(turned.position, dtype=np.uint8)
        where = position, parse_colour(turned.cross), self.holding
        hint = self._speaker.hint
        standing = None if hint is None else hint.opportunity
        match asks:
            case Asks.REPAIR:
                return self._speaker.repair(t, advisor.repair(*where))
            case Asks.MOVES:
                row = None if standing is None else advisor.same_way(*where, standing)
                return self._speaker.adjust(t, row)
            case Asks.BEST:
                start = self._now()
                expected, going_on = self._going_on or (b"", ())
                if expected != turned.position:
                    going_on = ()
                beginning = advisor.at_beginning(*where, standing, going_on, self.manner.focus)
                self._going_on = _expected(turned.position, beginning)
                self.advice_ms.append((self._now() - start) * 1000)
                if beginning.silence is not None:
                    self.silences[beginning.silence] += 1
                return self._speaker.begin(t, beginning)

    def _say(self, said: Sequence[Said]) -> Sequence[Said]:
        """The part of the hints that is shown now."""
        if self.manner.when == "after":
            self._withheld.keep(hint for hint in said if isinstance(hint, Spoken))
            return ()
        return said

    def _in_clues(self, happenings: Sequence[Happening]) -> list[Happening]:
        return [*happenings] if self.manner.clues_s is None else self._clues.pass_on(happenings)


def _expected(position: bytes, beginning: Beginning) -> tuple[bytes, tuple[str, ...]] | None:
    """The position after the first step of a plan, and the slots of its second."""
    steps = beginning.plans[0].steps if beginning.plans else ()
    if len(steps) < 2:
        return None
    for turn in steps[0].turns_fixed:
        position = position.translate(TURN_BYTES[turn])
    return position, steps[1].slots


def _crosses_after(position: Array, turns: Sequence[int]) -> frozenset[str]:
    """Colours of the crosses that are whole, at offset 0, after the turns."""
    after = apply_turns(position, turns).tobytes()
    return frozenset(frame.colour for frame in FRAMES if frame.offset(after) == 0)
