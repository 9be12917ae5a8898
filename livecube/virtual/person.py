"""One attempt at a solve: the solver's decisions at every point, and sometimes a rewritten past.

Some things happen only by luck (a skip, an accidental cross). To show them, the past is rewritten:
after some turns the cube is declared to be in the lucky position, and the start of the solve
becomes that position with the turns taken back.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import SOLVED, TURN_BYTES, inverse_turns, merge
from livecube.virtual.cross import cross_distance, plan_cross
from livecube.virtual.finish import last_layer
from livecube.virtual.first_layers import FirstLayers
from livecube.virtual.hands import CrossFrame, Hands, Stopped
from livecube.virtual.lucky import cross_and_slots, last_layer_state, out_while_in, two_at_once
from livecube.virtual.pairs import layer_turn
from livecube.virtual.x_cross import plan_x_cross

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    import numpy as np

    from livecube.virtual.habits import Habits
    from livecube.virtual.records import Kind

__all__ = ["LUCK", "Person"]

LUCK: Final[frozenset[Kind]] = frozenset(
    {"other-cross", "multislot", "out-while-in", "orient-skip", "permute-skip", "layer-skip"}
)
"""Kinds that take a position made for them: wished for only if the scramble may be rewritten."""

_WISHED_SLIPS: Final = 0.05


class Person:
    """A solver with habits, an intended cross colour and wishes, in front of one cube."""

    def __init__(
        self,
        rng: np.random.Generator,
        scramble: Sequence[int],
        habits: Habits,
        meant: int,
        wishes: Collection[Kind],
        *,
        may_rewrite: bool,
    ) -> None:
        self.rng = rng
        self.wishes = set(wishes)
        self.may_rewrite = may_rewrite
        if "wrong-turn" in wishes:
            habits = replace(habits, p_wrong_turn=_WISHED_SLIPS)
        self.habits = habits
        self.hands = Hands(CrossFrame(meant), habits, rng)
        self.layers = FirstLayers(self.hands)
        self.scramble = list(scramble)
        self.happened: set[Kind] = set()

    def solve(self) -> bool:
        """Solve the cube, or give up half-way; True if it is solved."""
        hands = self.hands
        hands.given(self.scramble)
        hands.inspect()
        hands.cross_down()
        hands.careless(on=True)
        if "abandoned" in self.wishes:
            hands.stop_after = int(self.rng.integers(4, 45))
        try:
            self._cross()
            self._pairs()
            self._last_layer()
        except Stopped:
            self.happened.add("abandoned")
        if hands.mistakes:
            self.happened.add("wrong-turn")
        return hands.position == SOLVED.tobytes()

    def _chance(self, probability: float) -> bool:
        return bool(self.rng.random() < probability)

    def _rewrite(self, state: Sequence[int]) -> None:
        """Put the cube into the position that these fixed-frame turns make of a solved one."""
        made = [report.turn for report in self.hands.reports]
        self.scramble = [m.turn for m in merge([*state, *inverse_turns(made)])]
        self.hands.position = SOLVED.tobytes()
        self.hands.given(state)

    def _out(self, turns: Sequence[int]) -> list[int]:
        return [self.hands.frame.out(turn) for turn in turns]

    # Cross.

    def _cross(self) -> None:
        hands, rng = self.hands, self.rng
        if "other-cross" in self.wishes:
            self._lucky_cross()
        if self.may_rewrite and "x-cross" in self.wishes:
            self._lucky_x_cross()
        elif "x-cross" in self.wishes or self._chance(self.habits.p_look_for_x_cross):
            plan = plan_x_cross(hands.position, rng)
            hands.turn(plan if plan is not None else plan_cross(hands.position, rng))
        elif "offset-cross" in self.wishes or self._chance(self.habits.p_offset_cross):
            offset = min((1, 2, 3), key=lambda k: cross_distance(hands.position, k))
            hands.turn(plan_cross(hands.position, rng, offset=offset))
            if self.layers.offset():
                self.layers.think()
                self.layers.pair_at_offset()
        else:
            extra = int(self._chance(self.habits.p_cross_longer))
            plan = plan_cross(hands.position, rng, extra=extra)
            first = len(plan) // 2 if self._chance(self.habits.p_regrip_in_cross) else len(plan)
            hands.turn(plan[:first])
            hands.turn(plan[first:])

    def _lucky_cross(self) -> None:
        """The first turn completes the cross of another colour."""
        meant = self.hands.frame.cross
        other = int(self.rng.choice([face for face in range(6) if face != meant]))
        self.hands.turn([int(self.rng.integers(18))])
        frame = CrossFrame(other)
        state = cross_and_slots((), self.rng)
        self._rewrite([frame.out(turn) for turn in state])

    def _lucky_x_cross(self) -> None:
        """A cross of six to eight turns turns out to have brought a pair along."""
        slot = int(self.rng.integers(4))
        position = self.hands.position
        turns: list[int] = []
        for _ in range(int(self.rng.integers(6, 9))):
            choices = [t for t in range(18) if not turns or _differs(turns[-1], t)]
            turns.append(int(self.rng.choice(choices)))
            position = position.translate(TURN_BYTES[turns[-1]])
        self.hands.turn(turns)
        self._rewrite(self._out(cross_and_slots((slot,), self.rng)))

    # Pairs.

    def _pairs(self) -> None:
        self.hands.turn(layer_turn(-self.layers.offset()))
        if "multislot" in self.wishes:
            self._play(*two_at_once(self.rng))
        if "out-while-in" in self.wishes:
            self._play(*out_while_in(self.rng))
            self.happened.add("out-while-in")
        for _ in range(60):
            if not self.layers.free():
                return
            self.layers.think()
            if not (self._wished() or self._by_habit()):
                self.layers.plain()
        raise ValueError("the pairs do not come to an end")

    def _play(self, state: Sequence[int], answer: Sequence[int]) -> None:
        """Take a position of the cross frame, think, and make the answer."""
        self._rewrite(self._out(state))
        self.layers.think()
        self.hands.turn(answer)

    def _wished(self) -> bool:
        """Do something from the wishes, if it can be done now."""
        order = sorted(self.wishes, reverse=self._chance(0.5))
        # A chain takes four free slots, so it comes first.
        for kind in sorted(order, key=lambda kind: kind != "chain"):
            if self._grant(kind):
                self.wishes.discard(kind)
                return True
        return False

    def _grant(self, kind: str) -> bool:
        layers = self.layers
        several = len(layers.free()) > 1
        match kind:
            case "keyhole-corner" if several:
                return self._keyhole(corner_last=True)
            case "keyhole-edge" if several:
                return self._keyhole(corner_last=False)
            case "keyhole-flip" if several and layers.flipped_edge():
                layers.think()
                return any(layers.keyhole_edge(slot) for slot in layers.free())
            case "pseudo-pair" if several:
                return layers.pseudo_pair() or (layers.set_up_pseudo() and self._pseudo())
            case "chain":
                return layers.chain()
            case "out-and-back" if layers.out_and_back():
                self.happened.add("out-and-back")
                return True
            case "fumbling":
                layers.fumble(int(self.rng.integers(5, 12)))
                layers.align()
                self.happened.add("fumbling")
                return True
            case "reopened":
                return layers.lose_pair()
        return False

    def _keyhole(self, *, corner_last: bool) -> bool:
        layers = self.layers
        do = layers.keyhole_corner if corner_last else layers.keyhole_edge
        if any(do(slot) for slot in layers.free()):
            return True
        if not layers.one_piece(corner=not corner_last):
            return False
        layers.think()
        return any(do(slot) for slot in layers.free())

    def _pseudo(self) -> bool:
        self.layers.think()
        return self.layers.pseudo_pair()

    def _by_habit(self) -> bool:
        """Do one of the unusual things that this solver does now and then."""
        habits, layers = self.habits, self.layers
        if self._chance(habits.p_out_and_back) and layers.out_and_back():
            self.happened.add("out-and-back")
            layers.think()
        if self._chance(habits.p_lose_pair) and layers.lose_pair():
            return True
        if len(layers.free()) < 2:
            return False
        if self._chance(habits.p_keyhole) and (layers.pseudo_pair() or layers.keyhole()):
            return True
        if self._chance(habits.p_chain) and layers.chain():
            return True
        if self._chance(habits.p_set_up_pseudo):
            return layers.set_up_pseudo() and self._pseudo()
        if self._chance(habits.p_set_up_keyhole):
            return self._keyhole(corner_last=self._chance(0.4))
        return False

    # Last layer.

    def _last_layer(self) -> None:
        self._lucky_last_layer()
        last_layer(self.hands)

    def _lucky_last_layer(self) -> None:
        mirror = self.habits.left_handed
        if "layer-skip" in self.wishes:
            self._rewrite([])
            self.happened.add("layer-skip")
        elif "orient-skip" in self.wishes:
            self._rewrite(self._out(last_layer_state(self.rng, "permute", mirror=mirror)))
        elif "permute-skip" in self.wishes:
            self._rewrite(self._out(last_layer_state(self.rng, "orient", mirror=mirror)))


def _differs(last: int, turn: int) -> bool:
    return turn // 3 not in (last // 3, OPPOSITE[last // 3])
