"""The judgement of a try in a drill.

The technique of the try is named by hindsight, as in any solve except for some keyholes (see
below). The judgement is one of four words, by rules of our own:

- *missed*: another technique, or another slot, or the way was shown;
- *laboured*: as asked, but with more turns than the quickest way, after more than eight seconds of
  looking, or with more than 1.5 s between two turns;
- *fluent*: no more turns, at most two seconds of looking, and at most half a second between
  two turns;
- *sound*: everything between.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final

from livecube.advice.pieces import slot_stickers
from livecube.advice.words import place_of
from livecube.cube.geometry import FACES
from livecube.drills.place import DrillPlace
from livecube.review.trying import OneTry, Tried
from livecube.techniques.plain import Plain
from livecube.techniques.registry import own_traits

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import timedelta

    from livecube.advice.rows import Opportunity
    from livecube.drills.place import Case
    from livecube.review.trying import Place
    from livecube.search.situation import Situation

__all__ = [
    "GRADES",
    "HOW_WELL",
    "DrillJudged",
    "done_as_asked",
    "drill_names",
    "grade_of",
    "judged",
    "points",
]

# The technique of a pair in a drill: named by hindsight, and by the last turn.
#
# Hindsight (:mod:`livecube.stages.solve`) looks only at moments with a whole cross. It takes a
# plain insertion without such a moment in between, such as ``R U' L' U' R' U L`` beside a good
# edge, for a keyhole. But a keyhole always ends with the turn of the cross layer back.


def drill_names(place: Place, techniques: tuple[str, ...], turns: Sequence[int]) -> tuple[str, ...]:
    """``techniques`` as hindsight names them; a keyhole that turns nothing back becomes plain."""
    if len(techniques) == 1 and own_traits(techniques[0]).is_keyhole:
        turned_back = bool(turns) and turns[-1] // 3 == place.face
        return techniques if turned_back else (Plain.id,)
    return techniques


def done_as_asked(place: DrillPlace, one: OneTry, advised: OneTry) -> bool:
    """Whether a try did what was asked; ``advised``: a try with the turns of the place's row."""
    techniques, slots = one.done()
    if set(slots) != set(place.row.slots):
        return False
    names = drill_names(place, techniques, one.turns)
    own = drill_names(place, advised.done()[0], advised.turns)
    return names in (own, (place.technique,))


# How hard a drill's position is: grades of our own, from the effort of looking.
#
# Each of these makes a position harder by one point:
#
# - each turn beyond five (at most three points), for one slot; beyond ten for two;
# - the slot is at the back in the row's holding;
# - each of the two pieces that shows no sticker on the visible faces (up, front, right);
# - the cross layer is not aligned at the beginning, but for a keyhole, which turns it anyway;
# - the sequence has a wide turn or a rotation.
#
# No points: *easy*; one or two: *medium*; more: *hard*.


GRADES: Final = ("easy", "medium", "hard")
"""The grades, from the easiest."""
_EASY_TURNS: Final = 5
_MOST_FOR_TURNS: Final = 3
_SEEN: Final = {"up", "front", "right"}


def points(situation: Situation, row: Opportunity) -> int:
    """How hard a row is in its position, in points."""
    turns = min(_MOST_FOR_TURNS, max(0, row.turns - _EASY_TURNS * len(row.slots)))
    back = any("back" in place_of(slot, row.holding) for slot in row.slots)
    handled = any(move.symbol not in FACES for move in row.moves)
    aside = bool(situation.offset) and not row.traits.is_keyhole
    return turns + back + _unseen(situation, row) + aside + handled


def grade_of(points: int) -> str:
    """The grade for a number of points."""
    return GRADES[0 if points < 1 else 1 if points < 3 else 2]


def _unseen(situation: Situation, row: Opportunity) -> int:
    """Number of pieces of the first slot that show no sticker on the visible faces."""
    slot = situation.slot_numbers(row.slots[:1])[0]
    pieces = slot_stickers(situation, slot, row.holding)
    return sum(not _SEEN & {sticker.facing for sticker in piece} for piece in pieces)


HOW_WELL: Final = ("missed", "laboured", "sound", "fluent")
"""The judgements, from the worst to the best."""
_LONG_LOOK_MS: Final = 8000
_LONG_PAUSE_MS: Final = 1500
_SHORT_LOOK_MS: Final = 2000
_SHORT_PAUSE_MS: Final = 500


@dataclass(frozen=True, slots=True)
class DrillJudged(Tried):
    """One try of a drill, judged."""

    place: DrillPlace
    how_well: str
    """One of :data:`HOW_WELL`."""
    next_in: timedelta | None = None
    """Time until the case should come again; None: unknown, since the try is not kept yet."""

    @property
    def as_asked(self) -> bool:
        """Whether it was the technique and the slots that were asked for."""
        return self.as_advised

    @property
    def case(self) -> Case:
        """The case of the position."""
        return self.place.case

    @property
    def over(self) -> int:
        """Turns above the quickest way of the technique; negative: fewer turns."""
        return self.turns - self.place.row.turns


def judged(tried: Tried) -> DrillJudged:
    """The judgement of a try that began in a :class:`.DrillPlace`."""
    place = tried.place
    assert isinstance(place, DrillPlace), "a drill is tried in its places"
    one, advised = (
        _made(place, tried.began, turns) for turns in (tried.made, place.row.turns_fixed)
    )
    as_asked = done_as_asked(place, one, advised)
    told = {field.name: getattr(tried, field.name) for field in fields(Tried)}
    told |= {
        "techniques": drill_names(place, tried.techniques, tried.made),
        "as_advised": as_asked,
    }
    return DrillJudged(**told, how_well=_how_well(tried, as_asked=as_asked))


def _made(place: DrillPlace, position: bytes, turns: Sequence[int]) -> OneTry:
    one = OneTry(place, position)
    for turn in turns:
        one.turn(0.0, turn)
    return one


def _how_well(tried: Tried, *, as_asked: bool) -> str:
    if tried.shown or not as_asked:
        return "missed"
    longer = tried.turns > tried.place.row.turns
    if longer or tried.look_ms > _LONG_LOOK_MS or tried.pause_ms > _LONG_PAUSE_MS:
        return "laboured"
    quick = tried.look_ms <= _SHORT_LOOK_MS and tried.pause_ms <= _SHORT_PAUSE_MS
    return "fluent" if quick else "sound"
