"""How far to believe that an execution is written from the true holding. Pure, numpy only.

The holding is read from the turns, and mostly it is wrong by half a turn of the whole cube: what
is written ``R U R'`` was ``L U L'``, what is written B was F. The usual prices say which of the two
fits the times better, for all turns of an execution together. What was learned of the person is not
asked: readings that agree with it would be believed, and confirm it.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.holding import HOLDINGS
from livecube.hands.automaton import MOVES

if TYPE_CHECKING:
    from livecube.hands.automaton import Automaton
    from livecube.hands.executions import Array, Gaps
    from livecube.hands.kinship import Kinship

__all__ = ["believed"]

_HALF_TURN: Final = 0.75
"""Share of wrong readings that are off by a half turn (``holding/README.md``)."""
_SPREAD: Final = 0.4
"""Of a person's gaps around the usual prices in the person's tempo."""
_ANY: Final = 0.6
"""The same around the price of a wrong move."""
_STRAY: Final = 0.01
"""Least density of a gap, so that a hesitation decides nothing."""
_WORTH: Final = 0.7
"""Exponent of the evidence: the turns of an execution are not independent of one another."""
_AROUND: Final = str.maketrans("RLFB", "LRBF")


def believed(kin: Kinship, gaps: Gaps, tempo: float) -> Array:
    """The probability of each gap's holding, once its execution's times are known, shape (gaps,).

    ``tempo``: the logarithm of the person's times against the usual ones.
    """
    if (gaps.sure == 1).all():
        return gaps.sure
    log_ms = np.log(gaps.ms) - tempo
    written = log_ms - np.log(kin.usual_ms[gaps.cell])
    around = log_ms - np.log(kin.usual_ms[_around(kin.usual)[gaps.cell]])
    right = _density(written, _SPREAD)
    wrong = _HALF_TURN * _density(around, _SPREAD) + (1 - _HALF_TURN) * _density(written, _ANY)
    evidence = np.log((right + _STRAY) / (wrong + _STRAY))
    _, number = np.unique(gaps.execution, return_inverse=True)
    together = _WORTH * np.bincount(number, evidence)[number]
    odds = gaps.sure / np.maximum(1 - gaps.sure, 1e-9) * np.exp(together)
    return np.where(gaps.sure < 1, odds / (1 + odds), 1.0)


def _density(off: Array, spread: float) -> Array:
    return np.exp(-0.5 * (off / spread) ** 2) / spread


@lru_cache(maxsize=4)
def _around(automaton: Automaton) -> Array:
    """For each cell the one in its place after a half turn of the whole cube."""
    names, moves = automaton.state_names, [str(move) for move in MOVES]
    held = [name.partition(" ") for name in names]
    states = [
        names.index((first if first.islower() else first.translate(_AROUND)) + blank + last)
        for first, blank, last in held
    ]
    numbers = np.array([moves.index(move.translate(_AROUND)) for move in moves])
    rows = np.array([*states, *range(len(names), len(names) + len(HOLDINGS))])
    return np.asarray((rows[:, None] * len(MOVES) + numbers[None, :]).ravel())
