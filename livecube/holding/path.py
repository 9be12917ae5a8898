"""A path: which moves the hands made, and how the cube was held at each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

__all__ = ["Path", "Step"]


@dataclass(frozen=True, slots=True)
class Step:
    """One hand move."""

    first: int
    """Index of its first turn among the observations."""
    reports: int
    """How many turns it was reported as: 1, or 2 for a slice."""
    holding: int
    """Number of the holding when it began."""
    move: int
    """Hand move, 0 to 44; see :mod:`livecube.holding.moves`."""


Path: TypeAlias = list[Step]
"""All turns of a solve, in order, none left out."""
