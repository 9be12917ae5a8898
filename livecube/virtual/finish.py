"""The last layer as people do it: look, sequence, look, sequence, closing turn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.cube.holding import Move
from livecube.virtual.last_layer import answers, is_settled, turn_that_solves

if TYPE_CHECKING:
    from livecube.virtual.hands import Hands

__all__ = ["last_layer", "orient", "permute"]


def last_layer(hands: Hands) -> None:
    """Orientation, permutation and the closing turn."""
    orient(hands)
    permute(hands)
    hands.cross_down()
    if quarters := turn_that_solves(hands.seen()):
        hands.wait(hands.habits.auf_pause_s)
        hands.sequence([Move("U", quarters)])


def orient(hands: Hands) -> None:
    """Make the last layer show one colour, in one look or two."""
    one_look = hands.rng.random() < hands.habits.p_one_look_orient
    for look in ("orient",) if one_look else ("edges-up", "orient"):
        hands.cross_down()
        if not is_settled(hands.seen(), look):
            hands.wait(hands.habits.orient_pause_s)
            _settle(hands, look)
    hands.cross_down()


def permute(hands: Hands) -> None:
    """Put the pieces of an oriented last layer in place, in one look or two."""
    one_look = hands.rng.random() < hands.habits.p_one_look_permute
    for look in ("permute",) if one_look else ("corners-home", "permute"):
        hands.cross_down()
        if not is_settled(hands.seen(), look):
            hands.wait(hands.habits.permute_pause_s)
            _settle(hands, look)
    hands.cross_down()


def _settle(hands: Hands, look: str) -> None:
    rng = hands.rng
    habits = hands.habits
    known = answers(hands.seen(), look, mirror=habits.left_handed, backwards=habits.backwards)
    if habits.backwards and not known:
        known = answers(hands.seen(), look, mirror=habits.left_handed)
    if not known:
        raise ValueError(f"no known sequence settles the case that look {look!r} sees here")
    shortest = min(len(answer.sequence.turns) for answer in known)
    short = [answer for answer in known if len(answer.sequence.turns) <= shortest + 3]
    chosen = short[int(rng.integers(len(short)))]
    if chosen.quarters:
        rotate = rng.random() < habits.p_rotate_for_case
        hands.sequence([Move("y" if rotate else "U", chosen.quarters)])
    hands.sequence(chosen.sequence.moves)
