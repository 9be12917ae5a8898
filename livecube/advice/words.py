"""Sentences about opportunities, in the trade's words."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from livecube.advice.beam import Line
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.holding import Holding
    from livecube.search.situation import Situation

__all__ = [
    "cross_sentence",
    "place_of",
    "plan_words",
    "repair_sentence",
    "sentence",
    "spoken_words",
    "what_sentence",
    "where_sentence",
]

_NOTABLE_S: Final = 0.05
"""Predictions that differ by less are not told apart."""
_QUICK_MS: Final = 600
"""A next pair that takes no more is worth a word."""
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
    cross = f"{colour} cross".strip().capitalize()
    return f"{cross}, {row.holding.front} front: {row.seconds:.2f} s, {_turns(row.turns)}."


def _turns(count: int) -> str:
    return f"{count} turn{'s' if count != 1 else ''}"


def repair_sentence(row: Opportunity) -> str:
    """One sentence about slots that were kept and are out."""
    where = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    turns = f"{row.turns} turn{'s' if row.turns != 1 else ''}"
    is_out = "is" if len(row.slots) == 1 else "are"
    return f"{where} {is_out} out: {turns} bring{'s' if row.turns == 1 else ''} all four in."


def sentence(row: Opportunity, reason: str, leaves: str = "") -> str:
    """One sentence about a sequence: what to do, where, why, and what it takes.

    ``reason``: why it is possible, as one clause. ``leaves``: what makes its plan the best.
    """
    where = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    into = f" into {where}" if where else ""
    through = f", through {row.door} ({place_of(row.door, row.holding)})" if row.door else ""
    text = f"{row.title}{into}{through}: {reason}; {row.seconds:.2f} s"
    if row.plain is not None and row.technique != "plain":
        saved = row.plain.seconds + row.plain.looking - row.seconds - row.looking
        if abs(saved) >= _NOTABLE_S:
            text += f", {abs(saved):.2f} s {'less' if saved > 0 else 'more'} than plain"
    return f"{text}; {leaves}." if leaves else f"{text}."


def plan_words(situation: Situation, line: Line) -> str:
    """What makes a plan begin with its first step, in a few words; empty if nothing stands out."""
    if len(line.steps) < 2:
        return ""
    onward = line.steps[1]
    slots = " and ".join(situation.slot_names(onward.chance.slots))
    if onward.chance.technique == "made-pair":
        return f"leaves {slots} made"
    if onward.way.ms <= _QUICK_MS:
        return f"leaves {slots} in {onward.way.ms / 1000:.2f} s"
    return ""


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
