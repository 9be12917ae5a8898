"""Sentences about opportunities, in the trade's words."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.opportunity import Opportunity
    from livecube.cube.holding import Holding
    from livecube.techniques.base import Chance

__all__ = [
    "cross_sentence",
    "place_of",
    "repair_sentence",
    "sentence",
    "spoken_words",
    "what_sentence",
    "where_sentence",
]

_PLACES: Final = {
    frozenset("FR"): "front right",
    frozenset("FL"): "front left",
    frozenset("BR"): "back right",
    frozenset("BL"): "back left",
}


@cache
def place_of(slot: str, holding: Holding) -> str:
    """Where in the hands a slot is: *front right* and so on; its colours if it is not below."""
    faces = frozenset(
        "ULFRBD"[holding.hand_face(COLOURS.index(colour))] for colour in slot.split("-")
    )
    return _PLACES.get(faces, slot)


def cross_sentence(row: Opportunity, colour: str = "") -> str:
    """One sentence about a plain cross; with its colour where that is not said beside it."""
    turns = f"{row.turns} turn{'s' if row.turns != 1 else ''}"
    cross = f"{colour} cross".strip().capitalize()
    return f"{cross}, {row.holding.front} front: no cross is shorter; {turns}."


def repair_sentence(row: Opportunity) -> str:
    """One sentence about slots that were kept and are out."""
    where = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    turns = f"{row.turns} turn{'s' if row.turns != 1 else ''}"
    is_out = "is" if len(row.slots) == 1 else "are"
    return f"{where} {is_out} out: {turns} bring{'s' if row.turns == 1 else ''} all four in."


def sentence(
    title: str,
    chance: Chance,
    slots: Sequence[str],
    holding: Holding,
    turns: int,
    door: str | None,
    compared: int | None,
    against: str = "plain",
) -> str:
    """One sentence about a sequence: what to do, where, why, and what it saves.

    ``title``: how its technique is called. ``door``: the slot through which a keyhole goes.
    ``compared``: turns of what it is compared with, which ``against`` calls by name.
    """
    where = " and ".join(f"{slot} ({place_of(slot, holding)})" for slot in slots)
    through = f", through {door} ({place_of(door, holding)})" if door else ""
    counted = f"{turns} turn{'s' if turns != 1 else ''}"
    text = f"{title} into {where}{through}: {chance.why}; {counted}"
    if compared is None or chance.technique == "plain":
        return text + "."
    saved = compared - turns
    if saved > 0:
        return f"{text}, {saved} fewer than {against}."
    if saved < 0:
        return f"{text}, {-saved} more than {against}."
    return f"{text}, as many as {against}."


def where_sentence(row: Opportunity) -> str:
    """The first degree: that there is something, and where to look."""
    if not row.slots:
        return "There is something for the cross."
    slots = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    return f"There is something: look at {slots} and its pieces."


def what_sentence(row: Opportunity) -> str:
    """The second degree: the technique too, not the moves."""
    slots = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    into = f" into {slots}" if slots else ""
    return f"{row.title}{into}, {row.holding.front} front. Which moves?"


def spoken_words(row: Opportunity, stated: Holding | None, *, only_where: bool = False) -> str:
    """A hint as it is said aloud: *keyhole corner, front right*; or only where it is.

    ``stated``: how the solver said the cube is held; if the hint is held otherwise, its front
    is said too, since its places mean nothing without it.
    """
    places = " and ".join(place_of(slot, row.holding) for slot in row.slots)
    words = []
    if not (only_where and places):
        words.append(row.title)
    if places:
        words.append(places)
    elif not only_where:
        words.append(f"{row.turns} turn{'s' if row.turns != 1 else ''}")
    if row.holding != stated:
        words.append(f"{row.holding.front} front")
    return ", ".join(words)
