"""The cost of moves for these hands: a small finite automaton, and the choice of a sequence by it.

The hands are in a *grip*: how far each wrist is turned, and whether a finger is still in front from
a turn of F. A move has a price in this grip and leads to the next grip. Prices are in easy quarter
turns. Prices that differ between people are habits; the others stand here. Common practice, no
published source: a wrist turns by a quarter to either side and must let go beyond that.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.holding import Move
from livecube.virtual.usual_cases import carried_moves, known_answers, known_habits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.virtual.habits import Habits

__all__ = ["Fingers", "Insertion", "fingers_of"]

_WEAKER_HAND: Final = 0.15
"""Extra for a turn of the other hand."""
_BELOW: Final = 0.5
"""Extra for a turn of D, made by a ring finger."""
_WIDE: Final = {"R": 0.5, "L": 0.5, "F": 1.0, "B": 1.0, "U": 0.8, "D": 0.8}
"""Extra for a second layer."""
_REGRIP: Final = 0.9
"""Extra for letting go and grasping again, where the wrist cannot turn further."""
_HALF_FROM_REST: Final = 0.4
"""Extra for a half turn that does not go from one end of the wrist's range to the other."""
_FINGER_IN_FRONT: Final = 0.6
"""The finger that turned F must go back before the wrist turns."""
_FRONT_AT_HAND: Final = -0.5
"""Saved on a turn of F with this wrist turned down: a finger is ready."""
_FRONT_AWAY: Final = 0.5
"""Extra for a turn of F with the wrist turned up: the finger is far away."""
_LEANING: Final = 2.0
"""Extra for the sequence that a person likes least, against the one they like best."""

_LONGER: Final = 3.0
"""Now and then a sequence up to this much dearer than the cheapest is used; else up to 1."""
_EITHER_WAY: Final = 1.0
"""Either of two holdings may be taken if their prices differ by less."""

_MIRRORED: Final = {"R": "L", "L": "R", "F": "F", "B": "B", "U": "U", "D": "D"}


class _Grip(NamedTuple):
    right: int = 0
    """Quarters by which the wrist is turned, −1 to 1; up (as in R) counts as 1."""
    left: int = 0
    """The same for the other wrist; L' turns it up."""
    finger_in_front: int = 0
    """The quarters of the turn of F before this move, 0 after any other move."""


class _Option(NamedTuple):
    habit: str
    holding: int
    moves: tuple[Move, ...]
    price: float


class Insertion(NamedTuple):
    """A way to put a pair in."""

    holding: int
    """Quarters of y from the frame's own holding."""
    moves: tuple[Move, ...]
    """The moves as written from that holding."""


class Fingers:
    """The automaton of one person."""

    def __init__(self, habits: Habits) -> None:
        self._habits = habits
        taste = np.random.default_rng(habits.taste)
        self._leanings = {habit: float(taste.uniform(0, _LEANING)) for habit in known_habits()}
        self._known: dict[tuple[int, int, int], list[_Option]] = {}

    def price(self, moves: Sequence[Move]) -> float:
        """Price of the moves; the habits say how many of them are foreseen."""
        ahead = self._habits.grip_ahead
        grip, total = _Grip(), sum(map(self._length, moves[ahead:]))
        for move in moves[:ahead]:
            price, grip = self._step(grip, self._as_right_handed(move))
            total += price
        return total

    def _length(self, move: Move) -> float:
        return self._habits.half_factor if move.quarters == 2 else 1.0

    def _as_right_handed(self, move: Move) -> Move:
        if not self._habits.left_handed:
            return move
        return Move(_MIRRORED[move.symbol[0]] + move.symbol[1:], 4 - move.quarters)

    def _step(self, grip: _Grip, move: Move) -> tuple[float, _Grip]:
        face, length = move.symbol[0], self._length(move)
        wide = _WIDE[face] if len(move.symbol) > 1 else 0.0
        match face:
            case "R":
                extra, right = _wrist(grip.right, move.quarters)
                price = length * (1 + wide) + extra + _way_back(grip, move.quarters, 3)
                return price, grip._replace(right=right, finger_in_front=0)
            case "L":
                extra, left = _wrist(grip.left, 4 - move.quarters)
                price = length * (1 + wide + _WEAKER_HAND) + extra
                price += _way_back(grip, move.quarters, 1)
                return price, grip._replace(left=left, finger_in_front=0)
            case "F":
                wrist = grip.left if move.quarters == 3 else grip.right
                ease = (0.0, _FRONT_AWAY, _FRONT_AT_HAND)[wrist]
                price = length * (self._habits.costs.front + wide) + ease
                return price, grip._replace(finger_in_front=move.quarters)
            case "B":
                return length * (self._habits.costs.back + wide), _Grip()
            case "U" | "D" if wide:
                return length * (1 + wide), _Grip()
            case "D":
                return length * (1 + _BELOW), grip._replace(finger_in_front=0)
            case _:
                return length, grip._replace(finger_in_front=0)

    def _options(self, corner: int, edge: int, slot: int) -> list[_Option]:
        """Everything in use for this case, from every holding; no price for a rotation."""
        options = []
        for quarters, known in known_answers(corner, edge, slot):
            first = (Move("U", quarters),) if quarters else ()
            for holding in range(4):
                moves = carried_moves((*first, *known.moves), holding)
                price = self.price(moves) + self._leanings[known.habit]
                options.append(_Option(known.habit, holding, moves, price))
        return options

    def insertion(
        self, corner: int, edge: int, slot: int, holding: int, rng: np.random.Generator
    ) -> Insertion | None:
        """How this person puts a pair in: nearly always the cheapest way from this holding.

        ``corner`` and ``edge`` are facelets of the cross frame, ``holding`` counts quarters of y
        from the frame's own. None if the case is not usual.
        """
        case = (corner, edge, slot)
        if case not in self._known:
            self._known[case] = self._options(*case)
        if not self._known[case]:
            return None
        spread = _LONGER if rng.random() < self._habits.p_longer_pair else 1.0
        mood = {
            habit: rng.uniform(0, spread)
            for habit in dict.fromkeys(o.habit for o in self._known[case])
        }
        if not self._habits.grip_ahead:
            return self._without_a_plan(case, holding, mood, rng)
        best = min(
            self._known[case],
            key=lambda o: o.price + mood[o.habit] + self._rotation(o.holding - holding, rng),
        )
        return Insertion(best.holding, best.moves)

    def _rotation(self, quarters: int, rng: np.random.Generator) -> float:
        cost = self._habits.costs.rotation
        price = (0.0, cost, cost * self._habits.half_factor, cost)[quarters % 4]
        return price + float(rng.uniform(0, _EITHER_WAY))

    def _without_a_plan(
        self,
        case: tuple[int, int, int],
        holding: int,
        mood: dict[str, float],
        rng: np.random.Generator,
    ) -> Insertion:
        """A sequence first; then its first side face is brought to either hand."""
        here = [option for option in self._known[case] if option.holding == holding]
        best = min(here, key=lambda option: option.price + mood[option.habit])
        side = next(m.symbol[0] for m in best.moves if m.symbol[0] in "LFRB")
        quarters = int(rng.choice((1, 3))) if side in "FB" else 0
        return Insertion((holding + quarters) % 4, carried_moves(best.moves, quarters))


@cache
def fingers_of(habits: Habits) -> Fingers:
    """The hands of a person with these habits."""
    return Fingers(habits)


def _wrist(turned: int, quarters: int) -> tuple[float, int]:
    """Extra price of the wrist for a turn up by this many quarters, and its place afterwards."""
    if quarters == 2:
        return (0.0, -turned) if turned else (_HALF_FROM_REST, 0)
    by = 1 if quarters == 1 else -1
    return (_REGRIP, by) if turned == by else (0.0, turned + by)


def _way_back(grip: _Grip, quarters: int, easy: int) -> float:
    """Extra price of a finger in front: 0 in ``F R'`` and ``F' L``, which are one movement."""
    together = quarters == easy == 4 - grip.finger_in_front
    return 0.0 if together or not grip.finger_in_front else _FINGER_IN_FRONT
