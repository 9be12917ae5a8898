"""The techniques that livecube knows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.techniques.keyhole_chain import KeyholeChain
from livecube.techniques.keyhole_corner import KeyholeCorner
from livecube.techniques.keyhole_edge import KeyholeEdge, KeyholeFlip
from livecube.techniques.made_pair import MadePair
from livecube.techniques.plain import Plain
from livecube.techniques.pseudo_pair import PseudoPair
from livecube.techniques.pseudo_x_cross import PseudoXCross
from livecube.techniques.shortest import Shortest
from livecube.techniques.x_cross import XCross

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
