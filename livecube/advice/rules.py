"""Rules of the trade: what to add to an opportunity, and what not to say at all.

Common practice, no published source. Each rule is a function of its own with a name; what it
says stands in the opportunity's ``notes``, and a rule that silences a row names itself there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.advice.pieces import slot_stickers
from livecube.cube.geometry import FACES, NEXT_STICKER
from livecube.cube.pieces import HOME, TWIST_AT
from livecube.search.coordinates import SLOT_PIECES
from livecube.techniques.base import Level

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.advice.opportunity import Opportunity
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
    "edge_is_good",
    "parse_level",
]

BEFORE_THE_EYES: Final = "before-the-eyes"
"""Name of the rule by which all levels but the gentlest leave out what nobody can miss."""

_QUIET: Final = 4
"""So many upper-layer pieces that stay are worth a word."""
_FEW: Final = 3
"""Turns that are seen at a glance."""
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
    """What a rule has to say about an opportunity."""

    rule: str
    text: str
    silences: bool = False
    """Whether the opportunity is better not spoken of."""


class Case(NamedTuple):
    """What rules look at."""

    situation: Situation
    slots: tuple[int, ...]
    row: Opportunity
    """Without notes, and without its sentence."""
    needed: Level
    """From which level on the technique is spoken of."""
    level: Level
    """The solver's."""


def _level(case: Case) -> Note | None:
    if case.needed <= case.level:
        return None
    return Note("level", f"spoken of from level {case.needed.name.lower()} on", silences=True)


def _corner_facing_up(case: Case) -> Note | None:
    """A corner whose cross-colour sticker faces up makes a poor keyhole."""
    if case.row.technique != "keyhole-corner":
        return None
    if case.situation.position[SLOT_PIECES[case.slots[0]]] >= _UPPER_FACE:
        return None
    return Note("corner-facing-up", f"{case.situation.colour} faces up on its corner")


def edge_is_good(situation: Situation, slot: int, holding: Holding) -> bool | None:
    """Whether a slot's edge in the upper layer goes in from the right or left as it is held.

    That is so if the colour on its upper side belongs to the slot's front or back centre.
    None if the edge is not in the upper layer.
    """
    edge = SLOT_PIECES[slot + 4]
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
    if case.row.technique != "keyhole-edge":
        return None
    good = edge_is_good(case.situation, case.slots[0], case.row.holding)
    if good is None:
        return None
    if good:
        return Note("good-edge", "good edge: it goes in from the right or left face")
    symbols = {move.symbol for move in case.row.moves}
    wide = symbols & {"Uw", "Dw"} and not symbols & {"F", "Fw", "B", "Bw"}
    how = "the wide turn here saves it" if wide else "a wide upper turn for the D turn can save it"
    return Note("bad-edge", f"bad edge: from the right or left it takes a rotation; {how}")


def _quiet_top(case: Case) -> Note | None:
    """Pieces and made pairs that stay where they are make look-ahead easier."""
    if case.row.pairs_kept:
        return Note("quiet-top", "a made pair stays joined")
    if case.row.top_kept >= _QUIET:
        return Note("quiet-top", f"{case.row.top_kept} upper pieces stay where they are")
    return None


RULES: Final[tuple[Callable[[Case], Note | None], ...]] = (
    _level,
    _corner_facing_up,
    _edge_side,
    _quiet_top,
)
"""All rules, in the order in which they speak."""


def apply_rules(case: Case) -> tuple[Note, ...]:
    """What the rules say about a row."""
    return tuple(note for rule in RULES if (note := rule(case)) is not None)


def before_the_eyes(situation: Situation, row: Opportunity) -> bool:
    """Whether a row's pair stands before one's eyes, so that only the gentlest level tells it.

    It is a made pair, or takes three turns without a rotation while both pieces show a sticker in
    the upper, front or right face as the cube is held.
    """
    if row.technique == "made-pair":
        return True
    if len(row.slots) != 1 or row.turns > _FEW or any(move.is_rotation for move in row.moves):
        return False
    slot = situation.slot_names(range(4)).index(row.slots[0])
    pieces = slot_stickers(situation, slot, row.holding)
    return all(any(s.facing in _IN_SIGHT for s in piece) for piece in pieces)
