"""Hands for tests of prices of one's own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.edges.automaton_file import load_hands
from livecube.hands.automaton import NEVER

if TYPE_CHECKING:
    from livecube.hands.automaton import Automaton

__all__ = ["other_hands"]


def other_hands() -> Automaton:
    """Hands a little slower than the usual ones: what bounds those bounds these, too."""
    usual = load_hands()
    slower = np.where(usual.seconds_ms < NEVER, usual.seconds_ms + 7, NEVER)
    return usual.priced(slower.astype(np.int32), usual.single_rotation_ms, usual.looking)
