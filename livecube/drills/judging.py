"""What the hands did in a drill, against what was asked.

What was done is named by hindsight, nearly as in any solve (:mod:`livecube.drills.naming`). How
well it went is one of four words, by rules of our own:

- *missed*: another technique, or another slot;
- *laboured*: what was asked, but with more turns than the fewest, after more than eight seconds
  of looking, or with more than 1.5 s between two turns;
- *fluent*: the fewest turns, at most two seconds of looking, and at most half a second between
  two turns;
- *sound*: everything between.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Final

from livecube.drills.naming import done_as_asked, drill_names
from livecube.drills.place import DrillPlace
from livecube.review.one_try import OneTry
from livecube.review.trying import Tried

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import timedelta

    from livecube.drills.cases import Case

__all__ = ["HOW_WELL", "DrillJudged", "judged"]

HOW_WELL: Final = ("missed", "laboured", "sound", "fluent")
"""From the worst to the best."""
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
    """After which time the case should come again; None: nobody keeps account."""

    @property
    def as_asked(self) -> bool:
        """Whether it was the technique and the slots that were asked for."""
        return self.how_well != HOW_WELL[0]

    @property
    def case(self) -> Case:
        """Of the position."""
        return self.place.case

    @property
    def over(self) -> int:
        """Turns more than the fewest of the technique; less than none if it was shorter."""
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
    if not as_asked:
        return "missed"
    longer = tried.turns > tried.place.row.turns
    if longer or tried.look_ms > _LONG_LOOK_MS or tried.pause_ms > _LONG_PAUSE_MS:
        return "laboured"
    quick = tried.look_ms <= _SHORT_LOOK_MS and tried.pause_ms <= _SHORT_PAUSE_MS
    return "fluent" if quick else "sound"
