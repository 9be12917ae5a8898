"""The techniques that livecube knows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.techniques.keyholes import KeyholeChain, KeyholeCorner, KeyholeEdge, KeyholeFlip
from livecube.techniques.plain import MadePair, Plain, Shortest
from livecube.techniques.pseudo_pair import PseudoPair
from livecube.techniques.x_cross import PseudoXCross, XCross

if TYPE_CHECKING:
    from livecube.techniques.base import Technique

__all__ = ["TECHNIQUES"]

TECHNIQUES: Final[tuple[Technique, ...]] = (
    Shortest(),
    Plain(),
    MadePair(),
    KeyholeCorner(),
    KeyholeEdge(),
    KeyholeFlip(),
    KeyholeChain(),
    PseudoPair(),
    XCross(),
    PseudoXCross(),
)
