"""One's own hands and eyes as the table that everything is predicted with. Pure, numpy only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.holding import HOLDINGS, ROTATION_SYMBOLS, Move
from livecube.hands.automaton import MOVES, NEVER

if TYPE_CHECKING:
    from livecube.hands.automaton import Automaton
    from livecube.hands.own_eyes import OwnEyes
    from livecube.hands.own_hands import OwnHands

__all__ = ["own_automaton"]


def own_automaton(hands: OwnHands | None, eyes: OwnEyes | None, usual: Automaton) -> Automaton:
    """The usual table with one's own prices, in whole milliseconds.

    None, and what does not predict better than the usual prices, leaves these.
    """
    kept = hands if hands is not None and hands.verdict.keeps else None
    seen = eyes if eyes is not None and eyes.verdict.keeps else None
    if kept is None and seen is None:
        return usual
    looking = usual.looking if seen is None else seen.looking
    if kept is None:
        return usual.priced(usual.seconds_ms, usual.single_rotation_ms, looking)
    size = usual.seconds_ms.size
    prices = kept.price_ms[:size].reshape(usual.seconds_ms.shape)
    seconds = np.where(usual.seconds_ms < NEVER, np.maximum(np.rint(prices), 1), NEVER)
    rotations = {name: _rotation_ms(kept, name) for name in usual.single_rotation_ms}
    return usual.priced(seconds.astype(np.int32), rotations, looking)


def _rotation_ms(own: OwnHands, name: str) -> int:
    """The price of a rotation by itself; what was learned is of it and the turn after it."""
    kin, usual = own.kin, own.kin.usual
    holding = HOLDINGS.index(HOLDINGS[0].after(_NAMED[name]))
    turn = usual.rotated * len(MOVES)
    both = usual.seconds_ms.size + holding * len(MOVES)
    share = float(usual.seconds_ms[usual.rotated, 0]) / float(kin.usual_ms[both])
    value = (own.fit.values[both] - share * own.fit.values[turn]) / (1 - share)
    factor = float(own.price_ms[turn] / (kin.usual_ms[turn] * np.exp(own.fit.values[turn])))
    return max(1, round(usual.single_rotation_ms[name] * float(np.exp(value)) * factor))


_NAMED: Final = {
    str(move): move for move in (Move(axis, q) for axis in ROTATION_SYMBOLS for q in (1, 2, 3))
}
