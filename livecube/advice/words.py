"""Sentences about opportunities, in the trade's words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.holding import Holding

__all__ = ["TITLES", "cross_sentence", "place_of", "sentence"]

TITLES: Final = {
    "shortest": "Shortest",
    "plain": "Plain",
    "made-pair": "Made pair",
    "keyhole-corner": "Keyhole corner",
    "keyhole-edge": "Keyhole edge",
    "keyhole-flip": "Keyhole flip",
    "pseudo-pair": "Pseudo pair",
    "x-cross": "X-cross",
    "pseudo-x-cross": "Pseudo X-cross",
}
"""How each technique is called to people."""

_PLACES: Final = {
    frozenset("FR"): "front right",
    frozenset("FL"): "front left",
    frozenset("BR"): "back right",
    frozenset("BL"): "back left",
}


def place_of(slot: str, holding: Holding) -> str:
    """Where in the hands a slot is: *front right* and so on; its colours if it is not below."""
    faces = frozenset(
        "ULFRBD"[holding.hand_face(COLOURS.index(colour))] for colour in slot.split("-")
    )
    return _PLACES.get(faces, slot)


def cross_sentence(row: Opportunity) -> str:
    """One sentence about a plain cross."""
    turns = f"{row.turns} turn{'s' if row.turns != 1 else ''}"
    return f"Cross, {row.holding.front} front: no cross is shorter; {turns}."


def sentence(
    opportunity: Opportunity, because: str, compared: int | None, against: str = "plain"
) -> str:
    """One sentence: what to do, where, why, and what it saves.

    ``compared``: turns of what it is compared with, which ``against`` calls by name.
    """
    title = TITLES.get(opportunity.technique, opportunity.technique)
    where = " and ".join(
        f"{slot} ({place_of(slot, opportunity.holding)})" for slot in opportunity.slots
    )
    turns = opportunity.turns
    text = f"{title} into {where}: {because}; {turns} turn{'s' if turns != 1 else ''}"
    if compared is None or opportunity.technique == "plain":
        return text + "."
    saved = compared - turns
    if saved > 0:
        return f"{text}, {saved} fewer than {against}."
    if saved < 0:
        return f"{text}, {-saved} more than {against}."
    return f"{text}, as many as {against}."
