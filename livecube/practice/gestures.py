"""Gestures: commands that a solver gives with the solved cube, without putting it down.

In the middle of a solve a gesture asks for the next clue of a hint.

Two opposite layers are turned a quarter, each clockwise as seen from its own side (or each
counter-clockwise), and then both are turned back: R L, R' L'. This is neither a slice, which
people rock back and forth while they wait, nor part of any usual sequence, and it leaves the cube
solved. The choice of the two layers gives the command.

With half turns, R2 L2, R2 L2, the same gesture asks a coach for help, at any time.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, turn_quarters

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "MOST_FOR_HELP",
    "BreakDue",
    "BreakRule",
    "BreakWatcher",
    "Gesture",
    "GestureWatcher",
    "TurnsWatcher",
    "asks_for_help",
    "layers_and_back",
]

Gesture: TypeAlias = Literal["next", "discard", "penalty"]

_MEANS: Final[dict[int, Gesture]] = {0: "discard", 1: "next", 2: "penalty"}
"""By the face that comes first in the order U L F R B D: white and yellow, orange and red,
green and blue."""
_LONGEST_S: Final = 3.0
"""Turns that take longer in total are not a gesture."""
_LENGTH: Final = 4


class GestureWatcher:
    """Watches a cube's turns from one solved position to the next."""

    def __init__(self, position: bytes = SOLVED_BYTES) -> None:
        self._position = position
        self._made: deque[tuple[float, int]] = deque(maxlen=_LENGTH)

    def turned(self, t: float, turn: int) -> Gesture | None:
        """Take in a turn at ``t`` seconds; returns the gesture that it completes, or None."""
        self._position = self._position.translate(TURN_BYTES[turn])
        self._made.append((t, turn))
        # A gesture changes no position, so the cube was solved before it as well.
        return _meaning(self._made) if self._position == SOLVED_BYTES else None

    def stands(self, position: bytes) -> None:
        """Set the position after a report or a reset of the cube."""
        self._position = position
        self._made.clear()


class TurnsWatcher:
    """Watches for a gesture in the middle of a solve, with any two opposite layers."""

    def __init__(self) -> None:
        self._made: deque[tuple[float, int]] = deque(maxlen=_LENGTH)

    def turned(self, t: float, turn: int) -> bool:
        """Take in a turn at ``t`` seconds; returns whether it completes the gesture."""
        self._made.append((t, turn))
        if layers_and_back(self._made) is None:
            return False
        self._made.clear()
        return True


_HALF_TURNS: Final = ([2], [1, 1], [3, 3])
"""A half turn in quarters, as cubes report it."""
_LONGEST_HALVES_S: Final = 5.0


MOST_FOR_HELP: Final = 2 * _LENGTH
"""Most turns of the gesture that asks for help."""


def asks_for_help(made: Sequence[tuple[float, int]]) -> bool:
    """Whether the last turns are two opposite layers, each a half turn, and the same again.

    ``made``: times in seconds and turns. The two layers of a half may be turned in any order and by
    quarters. Common sequences hold nothing like it: it leaves the cube as it was.
    """
    found: list[list[int]] = []
    at = len(made)
    while len(found) < 2:
        quarters: dict[int, list[int]] = {}
        units = 0
        while units < _LENGTH:
            if not at:
                return False
            at -= 1
            face, amount = made[at][1] // 3, turn_quarters(made[at][1])
            quarters.setdefault(face, []).append(amount)
            units += 2 if amount == 2 else 1
        if any(one not in _HALF_TURNS for one in quarters.values()):
            return False
        found.append(sorted(quarters))
    faces = found[0]
    is_pair = len(faces) == 2 and OPPOSITE[faces[0]] == faces[1] and faces == found[1]
    return is_pair and made[-1][0] - made[at][0] <= _LONGEST_HALVES_S


def _meaning(made: Sequence[tuple[float, int]]) -> Gesture | None:
    face = layers_and_back(made)
    return None if face is None else _MEANS[face]


def layers_and_back(made: Sequence[tuple[float, int]]) -> int | None:
    """The first face of the two opposite layers of a gesture; None if the turns are not a gesture.

    ``made``: times in seconds and turns. A gesture does not change the position.
    """
    if len(made) != _LENGTH or made[-1][0] - made[0][0] > _LONGEST_S:
        return None
    turns = [turn for _, turn in made]
    first, second = turns[0] // 3, turns[1] // 3
    quarters = [turn_quarters(turn) for turn in turns]
    there, back = quarters[:2], quarters[2:]
    one_way = there == [1, 1] and back == [3, 3]
    other_way = there == [3, 3] and back == [1, 1]
    both_back = {turns[2] // 3, turns[3] // 3} == {first, second}
    if OPPOSITE[first] == second and both_back and (one_way or other_way):
        return min(first, second)
    return None


# Reminders of breaks: after a number of minutes without a pause, or a number of turns.
#
# The default values are common practice, no published source, and not medical advice.


_AGAIN: Final = 0.5
"""A solver who goes on is reminded again after this share of the limit."""


@dataclass(frozen=True, slots=True)
class BreakRule:
    """The limits before a break; 0: no limit."""

    minutes: float = 30.0
    turns: int = 3000
    pause_minutes: float = 3.0
    """A rest of this length counts as a break."""


@dataclass(frozen=True, slots=True)
class BreakDue:
    """It is time for a break."""

    minutes: float
    """Minutes since the last break."""
    turns: int


class BreakWatcher:
    """Counts time and turns since the last break. The caller gives times, in seconds."""

    def __init__(self, rule: BreakRule) -> None:
        self._rule = rule
        self._began: float | None = None
        self._last: float
        self._turns: int
        self._told: int
        """Number of reminders since the last break."""

    def turned(self, t: float) -> BreakDue | None:
        """Take in a turn at ``t`` seconds; returns the reminder if it is due now."""
        if self._began is None or t - self._last >= 60 * self._rule.pause_minutes:
            self._began, self._turns, self._told = t, 0, 0
        self._last = t
        self._turns += 1
        minutes = (t - self._began) / 60
        share = 1 + self._told * _AGAIN
        long = 0 < self._rule.minutes * share <= minutes
        many = 0 < self._rule.turns * share <= self._turns
        if not (long or many):
            return None
        self._told += 1
        return BreakDue(minutes, self._turns)
