"""Sentences about opportunities, in the words of the trade."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.advice.pieces import slot_stickers
from livecube.cube.geometry import FACES, HOME, NEXT_STICKER, TWIST_AT
from livecube.cube.holding import COLOURS
from livecube.search.situation import SLOT_PAIRS, SLOT_PIECES
from livecube.techniques.base import Level, within

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.advice.plan import Line
    from livecube.advice.rows import Opportunity
    from livecube.cube.holding import Holding
    from livecube.search.situation import Situation

__all__ = [
    "BEFORE_THE_EYES",
    "RULES",
    "Case",
    "Level",
    "Note",
    "apply_rules",
    "before_the_eyes",
    "cross_sentence",
    "edge_is_good",
    "focus_note",
    "parse_level",
    "place_of",
    "plan_words",
    "repair_sentence",
    "sentence",
    "spoken_place",
    "spoken_words",
    "turns_counted",
    "what_sentence",
    "where_sentence",
]

# Rules of the trade: notes on an opportunity, and reasons to silence it.
#
# Common practice, no published source. Each rule is a function. It returns a note, which names the
# rule and goes into the opportunity's ``notes``; the note may silence the row.


BEFORE_THE_EYES: Final = "before-the-eyes"
"""Name of the rule that silences obvious pairs at all levels above calm."""

_QUIET: Final = 4
"""From this many upper-layer pieces that stay on, a note says so."""
_FEW: Final = 3
"""Most turns of a pair that is seen at a glance."""
_IN_SIGHT: Final = frozenset(("up", "front", "right"))
_UPPER_FACE: Final = 9
"""Facelets below this number lie in the upper face of the down frame."""


def parse_level(name: str) -> Level:
    """The level with this name, in any case.

    Raises ``ValueError`` if there is none.
    """
    try:
        return Level[name.upper()]
    except KeyError:
        known = ", ".join(level.name.lower() for level in Level)
        raise ValueError(f"{name!r} is not a level; one of {known}") from None


@dataclass(frozen=True, slots=True)
class Note:
    """The note of a rule on an opportunity."""

    rule: str
    text: str
    silences: bool = False
    """Whether the opportunity should not be told."""


class Case(NamedTuple):
    """The input of rules."""

    situation: Situation
    slots: tuple[int, ...]
    row: Opportunity
    """Without notes, and without its sentence."""
    needed: Level
    """The lowest level that allows hints about the technique."""
    level: Level
    """The solver's."""


def _level(case: Case) -> Note | None:
    if case.needed <= case.level:
        return None
    return Note("level", f"told from level {case.needed.name.lower()} on", silences=True)


def _corner_facing_up(case: Case) -> Note | None:
    """A corner whose cross-colour sticker faces up makes a poor keyhole."""
    if case.row.traits.inserts_alone != "corner":
        return None
    if case.situation.position[SLOT_PIECES[case.slots[0]]] >= _UPPER_FACE:
        return None
    return Note("corner-facing-up", f"{case.situation.colour} faces up on its corner")


def edge_is_good(situation: Situation, slot: int, holding: Holding) -> bool | None:
    """Whether a slot's edge in the upper layer goes in from the right or left in this holding.

    It does if the colour on its upper side belongs to the slot's front or back centre.
    None if the edge is not in the upper layer.
    """
    _, edge = SLOT_PAIRS[slot]
    place = int(situation.position[edge])
    other = int(NEXT_STICKER[place])
    if place >= _UPPER_FACE and other >= _UPPER_FACE:
        return None
    shift = (TWIST_AT[HOME[edge]] + (place >= _UPPER_FACE)) % 2
    home = int(HOME[edge]) if shift == 0 else int(NEXT_STICKER[HOME[edge]])
    fixed_face = int(situation.fixed_turns[3 * (home // 9)]) // 3
    return FACES[holding.hand_face(fixed_face)] in "FB"


def _edge_side(case: Case) -> Note | None:
    """Good and bad edges, and the wide turn that saves a rotation."""
    if case.row.traits.inserts_alone != "edge":
        return None
    good = edge_is_good(case.situation, case.slots[0], case.row.holding)
    if good is None:
        return None
    if good:
        return Note("good-edge", "good edge: it goes in from the right or left face")
    symbols = {move.symbol for move in case.row.moves}
    wide = symbols & {"Uw", "Dw"} and not symbols & {"F", "Fw", "B", "Bw"}
    saving = "the wide turn saves" if wide else "a wide upper turn in place of D may save"
    return Note(
        "bad-edge", f"bad edge: it needs the front or back face, or a rotation, which {saving}"
    )


def _quiet_top(case: Case) -> Note | None:
    """Pieces and made pairs that stay where they are make look-ahead easier."""
    if case.row.pairs_kept:
        return Note("quiet-top", "keeps a made pair")
    if case.row.top_kept >= _QUIET:
        return Note("quiet-top", f"keeps {case.row.top_kept} upper-layer pieces")
    return None


RULES: Final[tuple[Callable[[Case], Note | None], ...]] = (
    _level,
    _corner_facing_up,
    _edge_side,
    _quiet_top,
)
"""All rules, in the order of their notes."""


def apply_rules(case: Case) -> tuple[Note, ...]:
    """The notes of all rules on a row."""
    return tuple(note for rule in RULES if (note := rule(case)) is not None)


def focus_note(price_s: float) -> Note:
    """The note with the extra cost of a technique of the focus against the best plan."""
    if price_s < _NOTABLE_S:
        return Note("focus", "as quick as the best plan")
    return Note("focus", f"{price_s:.2f} s slower than the best plan")


def before_the_eyes(situation: Situation, row: Opportunity) -> bool:
    """Whether a row's pair is obvious, so that only the calm level tells it.

    It is a made pair, or it takes at most three turns without a rotation and both pieces show a
    sticker in the upper, front or right face in this holding.
    """
    if row.traits.begins_joined:
        return True
    if len(row.slots) != 1 or row.turns > _FEW or any(move.is_rotation for move in row.moves):
        return False
    slot = situation.slot_names(range(4)).index(row.slots[0])
    pieces = slot_stickers(situation, slot, row.holding)
    return all(any(s.facing in _IN_SIGHT for s in piece) for piece in pieces)


_NOTABLE_S: Final = 0.05
"""Predictions that differ by less count as equal."""
_QUICK_MS: Final = 600
"""A next pair that takes at most this long is mentioned."""
_PLACES: Final = {
    frozenset("FR"): "front right",
    frozenset("FL"): "front left",
    frozenset("BR"): "back right",
    frozenset("BL"): "back left",
}


@cache
def place_of(slot: str, holding: Holding) -> str:
    """Where a slot is in the hands: *front right* and so on; else its colours."""
    faces = frozenset(
        "ULFRBD"[holding.hand_face(COLOURS.index(colour))] for colour in slot.split("-")
    )
    return _PLACES.get(faces, slot)


def cross_sentence(row: Opportunity, colour: str = "") -> str:
    """One sentence about a plain cross; ``colour`` is given where nothing else names it."""
    cross = f"{colour} cross".strip().capitalize()
    return f"{cross}, {row.holding.front} front: {row.seconds:.2f} s, {turns_counted(row.turns)}."


def turns_counted(turns: int) -> str:
    """*1 turn*, *2 turns*."""
    return f"{turns} turn{'s' if turns != 1 else ''}"


def repair_sentence(row: Opportunity) -> str:
    """One sentence about slots that were kept and are out now."""
    where = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    turns = turns_counted(row.turns)
    is_out = "is" if len(row.slots) == 1 else "are"
    return f"{where} {is_out} out: {turns} bring{'s' if row.turns == 1 else ''} all four in."


def sentence(row: Opportunity, reason: str, leaves: str = "") -> str:
    """One sentence about a sequence: the technique, the slots, the reason and the seconds.

    ``reason``: why it is possible, as one clause. ``leaves``: why its plan is good, or empty.
    """
    where = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    into = f" into {where}" if where else ""
    through = f", through {row.door} ({place_of(row.door, row.holding)})" if row.door else ""
    text = f"{row.title}{into}{through}: {reason}; {row.seconds:.2f} s"
    if row.plain is not None and not row.traits.is_plain:
        saved = row.plain.seconds + row.plain.looking - row.seconds - row.looking
        if abs(saved) >= _NOTABLE_S:
            text += f", {abs(saved):.2f} s {'less' if saved > 0 else 'more'} than plain"
    return f"{text}; {leaves}." if leaves else f"{text}."


def plan_words(situation: Situation, line: Line) -> str:
    """How good the second step of a plan is, in a few words; empty if it is nothing special."""
    if len(line.steps) < 2:
        return ""
    onward = line.steps[1]
    slots = " and ".join(situation.slot_names(onward.chance.slots))
    if onward.chance.task.tied:
        return f"leaves {slots} made"
    if onward.way.ms <= _QUICK_MS:
        return f"leaves {slots} in {onward.way.ms / 1000:.2f} s"
    return ""


def where_sentence(row: Opportunity) -> str:
    """The first clue: there is something, and where to look."""
    if not row.slots:
        return "There is something for the cross."
    slots = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    return f"There is something: look at {slots} and its pieces."


def what_sentence(row: Opportunity) -> str:
    """The second clue: the technique too, without the moves."""
    slots = " and ".join(f"{slot} ({place_of(slot, row.holding)})" for slot in row.slots)
    into = f" into {slots}" if slots else ""
    return f"{row.title}{into}, {row.holding.front} front. Which moves?"


def spoken_words(row: Opportunity, stated: Holding | None) -> str:
    """A hint as it is said aloud, in four words at most: *front right, keyhole corner*.

    The place of its first slot, and the technique; moves are never said. ``stated``: the holding
    that the solver stated. If it is not the row's holding, or None, the slot is named by its
    colours.
    """
    if not row.slots:
        return row.title
    return f"{spoken_place(row, stated)}, {within(row.title)}"


def spoken_place(row: Opportunity, stated: Holding | None) -> str:
    """Where to look for a hint, in two words."""
    slot = row.slots[0]
    return place_of(slot, row.holding) if row.holding == stated else slot.replace("-", " ")
