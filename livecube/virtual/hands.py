"""The hands: they make moves in time, and the cube's sensor reports fixed-frame turns.

The cube is followed in the *cross frame*: the cross face is D, and the faces keep their names in
every holding. Plans use this frame, reports the fixed frame.
"""

from __future__ import annotations

from functools import cache
from math import log
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import (
    HOLDINGS,
    SCRAMBLE_HOLDING,
    SLICE_SYMBOLS,
    Holding,
    Move,
    fixed_turns,
    rotation_between,
)
from livecube.cube.position import (
    SOLVED,
    TURN_BYTES,
    make_turn,
    rotated,
    rotation_taking,
    turn_face,
    turn_quarters,
)
from livecube.virtual.fingers import fingers_of
from livecube.virtual.records import HandMove, VirtualTurn

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.virtual.fingers import Insertion
    from livecube.virtual.habits import Habits

__all__ = ["CrossFrame", "Hands", "Stopped"]

_Y: Final = tuple(Move("y", quarters) for quarters in (1, 2, 3))


class Stopped(Exception):  # noqa: N818 - not an error
    """The hands have to stop here: the solve is given up."""


@cache
def _rotation_into(frame: Holding, holding: Holding) -> int:
    up, front = frame.hand_face(holding.faces[0]), frame.hand_face(holding.faces[2])
    return rotation_taking(up, 0, front, 2)


class CrossFrame:
    """Names of faces with one face of the fixed frame down."""

    def __init__(self, cross: int) -> None:
        front = next(face for face in (2, 0, 1) if face not in (cross, OPPOSITE[cross]))
        self.cross = cross
        self.holding = Holding.of(OPPOSITE[cross], front)

    def into(self, turn: int) -> int:
        """A fixed-frame turn, named in this frame."""
        return make_turn(self.holding.hand_face(turn_face(turn)), turn_quarters(turn))

    def out(self, turn: int) -> int:
        """A turn of this frame, named in the fixed frame."""
        return make_turn(self.holding.faces[turn_face(turn)], turn_quarters(turn))


class Hands:
    """Makes moves; keeps time, holding, position (in the cross frame) and the reports."""

    def __init__(
        self, frame: CrossFrame, habits: Habits, rng: np.random.Generator, t: float = 0.0
    ) -> None:
        self.frame = frame
        self.habits = habits
        self.rng = rng
        self.t = t
        """Seconds on the cube's clock."""
        self.holding = SCRAMBLE_HOLDING
        self.position: bytes = SOLVED.tobytes()
        self.reports: list[VirtualTurn] = []
        self.moves: list[HandMove] = []
        self.mistakes = 0
        self.stop_after: int | None = None
        """Give up after this many reported turns."""
        self._tempo = 1.0
        self._may_slip = False

    # Time.

    def wait(self, median_s: float) -> None:
        """Think for about this many seconds."""
        self.t += min(self._spread(median_s, 0.45), 4 * median_s)

    def inspect(self) -> None:
        """Look at the scrambled cube, 0.5 to 1.6 times as long as usual."""
        usual = self.habits.inspection_s
        self.t += min(max(self._spread(usual, 0.3), 0.5 * usual), 1.6 * usual)

    def _spread(self, median_s: float, spread: float) -> float:
        return float(self.rng.lognormal(log(median_s), spread)) if median_s > 0 else 0.0

    def _duration(self, move: Move) -> float:
        habits = self.habits
        if move.is_rotation:
            median = habits.rotation_s
        else:
            median = habits.turn_s
            if move.quarters == 2:
                median *= habits.half_factor
            if move.symbol[0] in "FBDE":
                median *= habits.awkward_factor
        return self._spread(median * self._tempo, habits.turn_spread)

    # Moves.

    def scramble(self, turns: Iterable[int]) -> None:
        """Turn a scramble on the cube, held white up, green in front, without haste."""
        self._tempo = self.habits.scramble_turn_s / self.habits.turn_s
        self.hold(SCRAMBLE_HOLDING)
        for turn in turns:
            self.make(Move(FACES[turn_face(turn)], turn_quarters(turn)))
        self._tempo = 1.0

    def given(self, turns: Iterable[int]) -> None:
        """Change the position by fixed-frame turns that no hand makes."""
        for turn in turns:
            self.position = self.position.translate(TURN_BYTES[self.frame.into(turn)])

    def hold(self, holding: Holding) -> None:
        """Rotate the cube into another holding."""
        for move in rotation_between(self.holding, holding):
            self.make(move)

    def make(self, move: Move) -> None:
        """Make one move and report its turns.

        Raises :class:`Stopped` if the hands have to stop before it.
        """
        if self.stop_after is not None and len(self.reports) >= self.stop_after:
            raise Stopped
        self.t += self._duration(move)
        turns, after = fixed_turns([move], self.holding)
        if not move.is_rotation:
            self._report(turns, move)
        self.moves.append(HandMove(round(self.t, 3), move, self.holding))
        self.holding = after

    def _report(self, turns: list[int], move: Move) -> None:
        habits = self.habits
        rows = [turns]
        quarters = turn_quarters(turns[0])
        if quarters == 2 and self.rng.random() < habits.p_half_as_quarters:
            # Both halves of a half turn go in the same direction.
            way = int(self.rng.choice((1, 3)))
            ways = [way, 4 - way] if move.symbol in SLICE_SYMBOLS else [way]
            half = [make_turn(turn_face(t), w) for t, w in zip(turns, ways, strict=True)]
            rows = [half, half]
        for i, row in enumerate(rows):
            if i:
                self.t += self._spread(0.35 * habits.turn_s, habits.turn_spread)
            order = list(row) if self.rng.random() < 0.5 else row[::-1]
            for j, turn in enumerate(order):
                if j:
                    self.t += float(self.rng.uniform(0.0, habits.slice_gap_s))
                self.position = self.position.translate(TURN_BYTES[self.frame.into(turn)])
                self.reports.append(
                    VirtualTurn(round(self.t, 3), turn, self.holding, str(move), len(self.moves))
                )

    def seen(self) -> bytes:
        """The position as the hands see it, with their faces named U L F R B D."""
        rotation = _rotation_into(self.frame.holding, self.holding)
        return rotated(np.frombuffer(self.position, dtype=np.uint8), rotation).tobytes()

    def cross_down(self) -> None:
        """Hold the cross face down, with as few rotations as possible."""
        if self.holding.faces[5] != self.frame.cross:
            choices = [h for h in HOLDINGS if h.faces[5] == self.frame.cross]
            self.rng.shuffle(choices)
            self.hold(min(choices, key=lambda h: len(rotation_between(self.holding, h))))

    # Sequences of the cross frame.

    def turn(self, turns: Sequence[int], *, choose_grip: bool = True) -> None:
        """Make turns of the cross frame in the holding that the hands prefer."""
        if not turns:
            return
        fixed = [self.frame.out(turn) for turn in turns]
        if choose_grip:
            self._choose_grip(fixed)
        for turn in fixed:
            hand = self.holding.hand_face(turn_face(turn))
            symbol = FACES[hand]
            if symbol == "D" and self.rng.random() < self.habits.p_wide_for_layer:
                symbol = "Uw"
            self._slip()
            self.make(Move(symbol, turn_quarters(turn)))

    def put_in(self, corner: int, edge: int, slot: int) -> Insertion | None:
        """The way in which these hands put a pair in from here; None if its case is not usual.

        ``corner`` and ``edge`` are the facelets of its pieces in the cross frame.
        """
        turned = [self.frame.holding, *(self.frame.holding.after(y) for y in _Y)]
        if self.holding not in turned:
            return None
        holding = turned.index(self.holding)
        return fingers_of(self.habits).insertion(corner, edge, slot, holding, self.rng)

    def insert(self, insertion: Insertion) -> None:
        """Put a pair in this way."""
        quarters = insertion.holding
        self.hold(self.frame.holding.after(_Y[quarters - 1]) if quarters else self.frame.holding)
        self.sequence(insertion.moves)

    def sequence(self, moves: Iterable[Move]) -> None:
        """Make moves as written from the present holding."""
        for move in moves:
            self._slip()
            self.make(move)

    def _choose_grip(self, fixed: Sequence[int]) -> None:
        if self.habits.grip_ahead:
            self._cheapest_grip(fixed[: self.habits.grip_ahead])
        else:
            self._bring_first_side(fixed)

    def _bring_first_side(self, fixed: Sequence[int]) -> None:
        """Rotate until the first side face to be turned is left or right, if it is not."""
        places = [self.holding.hand_face(turn_face(turn)) for turn in fixed]
        first = next((FACES[place] for place in places if FACES[place] in "LFRB"), "R")
        if first in "FB":
            quarters = int(self.rng.choice((1, 3)))
            self.make(Move("y", quarters))

    def _cheapest_grip(self, fixed: Sequence[int]) -> None:
        habits = self.habits
        found: list[tuple[float, Holding]] = []
        for holding in (self.holding, *(self.holding.after(y) for y in _Y)):
            rotation = 0.0 if holding == self.holding else habits.costs.rotation
            hard = sum(self._awkward(holding.hand_face(turn_face(turn))) for turn in fixed)
            found.append((rotation + hard + float(self.rng.uniform(0.0, 1.0)), holding))
        _, best = min(found, key=lambda one: one[0])
        self.hold(best)

    def _awkward(self, hand: int) -> float:
        habits = self.habits
        return {"F": habits.costs.front, "B": habits.costs.back}.get(FACES[hand], 1.0) - 1.0

    def careless(self, on: bool) -> None:
        """Switch wrong turns on or off; the habits say how often they happen."""
        self._may_slip = on

    def _slip(self) -> None:
        if self._may_slip and self.rng.random() < self.habits.p_hesitate:
            self.wait(self.habits.pair_pause_s)
        if self._may_slip and self.rng.random() < self.habits.p_wrong_turn:
            self.wrong_turn()

    def wrong_turn(self) -> None:
        """Make a wrong turn, see it, undo it."""
        move = Move(str(self.rng.choice(list("URFL"))), int(self.rng.choice((1, 3))))
        self.make(move)
        self.wait(self.habits.mistake_pause_s)
        self.make(move.inverted())
        self.mistakes += 1
