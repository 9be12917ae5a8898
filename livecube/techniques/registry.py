"""The techniques that livecube knows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.techniques.keyhole_corner import KeyholeCorner
from livecube.techniques.plain import Plain
from livecube.techniques.shortest import Shortest

if TYPE_CHECKING:
    from livecube.techniques.base import Technique

__all__ = ["TECHNIQUES"]

TECHNIQUES: Final[tuple[Technique, ...]] = (Shortest(), Plain(), KeyholeCorner())
