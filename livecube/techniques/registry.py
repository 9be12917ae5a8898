"""The techniques that livecube knows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.techniques.base import USUAL, traits
from livecube.techniques.keyholes import KeyholeChain, KeyholeCorner, KeyholeEdge, KeyholeFlip
from livecube.techniques.plain import MadePair, Plain, Shortest
from livecube.techniques.pseudo_pair import PseudoPair
from livecube.techniques.x_cross import PseudoXCross, XCross

if TYPE_CHECKING:
    from livecube.techniques.base import Technique, Traits

__all__ = ["TECHNIQUES", "own_traits"]

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

_TRAITS: Final = {technique.id: traits(technique) for technique in TECHNIQUES}


def own_traits(name: str) -> Traits:
    """The traits of one of our own techniques; those of any other name are the defaults."""
    return _TRAITS.get(name, USUAL)
