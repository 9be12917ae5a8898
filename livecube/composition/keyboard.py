"""The keys while a cube is followed: the solver's statements about the cube."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import COLOURS, Holding, Move
from livecube.events import ClueAsked, HeldAs, Reset

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.following import CubeFollower
    from livecube.composition.pipeline import Pipeline
    from livecube.events import CubeEvent
    from livecube.practice.loop import Wish

__all__ = ["WISHES", "Keyboard", "next_holding", "stating"]

_Y: Final = Move("y", 1)
WISHES: Final[dict[str, Wish]] = {" ": "on", "n": "next", "p": "penalty", "w": "discard"}
"""The wishes behind the keys in practice."""


def next_holding(holding: Holding | None, cross: int) -> Holding | None:
    """The next holding for the key: the four with a cross down in turn, then none stated."""
    up = OPPOSITE[cross]
    first = Holding.of(up, next(face for face in range(6) if face not in (cross, up)))
    if holding is None or holding.up != COLOURS[up]:
        return first
    turned = holding.after(_Y)
    return None if turned == first else turned


def stating(holding: Holding | None) -> Callable[[float], CubeEvent]:
    """A function that states a holding at a time; None: unknown."""
    return lambda t: HeldAs(t, holding)


class Keyboard:
    """Takes keys; calls ``end`` when the solver wants to stop."""

    def __init__(
        self,
        follower: CubeFollower,
        pipeline: Pipeline,
        end: Callable[[], object],
    ) -> None:
        self._follower = follower
        self._pipeline = pipeline
        self._end = end

    def press(self, key: str) -> None:
        """Take in a key; keys without a meaning do nothing."""
        match key.lower():
            case "h":
                held = next_holding(self._pipeline.tracker.holding, self._pipeline.cross)
                self._follower.say(stating(held))
            case "c":
                self._follower.say(Reset)
            case "?":
                self._follower.say(ClueAsked)
            case "q":
                self._end()
