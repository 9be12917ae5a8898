"""The pipeline: cube events in, progress and advice out. The same for a cube and for a log."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.speaker import Speaker
from livecube.cube.holding import parse_colour
from livecube.stages.progress import SolveBegun, SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.speaker import Happening, Spoken
    from livecube.events import CubeEvent
    from livecube.stages.progress import Progress
    from livecube.stages.tracker import Tracker

__all__ = ["Pipeline"]

_MOST = 6
"""Rows of advice that are worked out while solving."""


class Pipeline:
    """One cube's way from events to happenings.

    ``advisor`` may be set later (its tables take a moment to load); until then nothing is
    advised. ``now`` gives seconds, for measuring how long advice takes.
    """

    def __init__(self, tracker: Tracker, now: Callable[[], float]) -> None:
        self.tracker = tracker
        self.advisor: Advisor | None = None
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
        return [*told, *(self._advise(turned) if turned else ())]

    def _advise(self, turned: Turned) -> list[Spoken]:
        if self.advisor is None or turned.cross is None or not self._speaker.listens(turned):
            return []
        start = self._now()
        position = np.frombuffer(turned.position, dtype=np.uint8)
        face = parse_colour(turned.cross)
        advice = self.advisor.advise(
            position, face, self.tracker.holding, inspection=False, most=_MOST
        )
        self.advice_ms.append((self._now() - start) * 1000)
        return self._speaker.speak(turned.t, advice)
