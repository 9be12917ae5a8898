"""A fastest way as a value, and how near to the fastest a way has to be."""

from __future__ import annotations

from typing import Final, NamedTuple

__all__ = ["FASTEST_MS", "MOST_WAYS", "NEARLY_MS", "UNIT_MS", "Written"]

UNIT_MS: Final = 10
"""Bounds in milliseconds are kept in units of so many, rounded down."""

FASTEST_MS: Final = 50
"""Ways that cost at most so much more than the cheapest count as fastest."""
NEARLY_MS: Final = 120
"""A plan may use ways that cost at most so much more than the cheapest."""
MOST_WAYS: Final = 8


class Written(NamedTuple):
    """A sequence as the hands write it."""

    ms: int
    """Until the cross is down again."""
    turns: tuple[int, ...]
    """In the down frame."""
    tokens: tuple[int, ...]
    """Moves, and rotations, which are ``FIRST_ROTATION`` and the holding to which they lead
    from holding 0."""
    start: int
    """Number of the holding (of the down frame) in which it begins."""
    end: int
    """Number of the holding in which it leaves the cube; the cross need not be down."""
