"""What is told of the holding; apart from the rest of the room, which takes a moment to load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from livecube.cube.holding import Holding

__all__ = ["SURE", "HeldNow"]

SURE: Final = 0.8
"""A holding less sure than this is not spoken of: advice names colours then."""


@dataclass(frozen=True, slots=True)
class HeldNow:
    """How the cube is held has been worked out, or is not sure any more."""

    t: float
    holding: Holding | None
    """None: it is not sure enough."""
    confidence: float
    """0 to 1."""
