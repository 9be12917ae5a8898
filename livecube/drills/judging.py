"""What the hands did in a drill, against what was asked.

What was done is named by hindsight (:mod:`livecube.stages.naming`), as in any solve. How well it
went is one of four words, by rules of our own:

- *missed*: another technique, or another slot;
- *laboured*: what was asked, but with more turns than the fewest, after more than eight seconds
  of looking, or with more than 1.5 s between two turns;
- *fluent*: the fewest turns, at most two seconds of looking, and at most half a second between
  two turns;
- *sound*: everything between.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.drills.positions import DrillPlace

if TYPE_CHECKING:
    from datetime import timedelta

    from livecube.drills.cases import Case
    from livecube.review.trying import Tried

__all__ = ["HOW_WELL", "DrillJudged", "judged"]

HOW_WELL: Final = ("missed", "laboured", "sound", "fluent")
"""From the worst to the best."""
_LONG_LOOK_MS: Final = 8000
_LONG_PAUSE_MS: Final = 1500
_SHORT_LOOK_MS: Final = 2000
_SHORT_PAUSE_MS: Final = 500


@dataclass(frozen=True, slots=True)
class DrillJudged:
    """One try of a drill, judged."""

    t: float
    number: int
    """Of the try, from 1."""
    place: DrillPlace
    techniques: tuple[str, ...]
    """What was done, in order, named by hindsight."""
    slots: tuple[str, ...]
    turns: int
    """HTM."""
    ms: int
    """From the first turn to the last; measured."""
    look_ms: int
    """Before the first turn; measured."""
    pause_ms: int
    """The longest time between two turns; measured."""
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
    return DrillJudged(
        tried.t,
        tried.number,
        place,
        tried.techniques,
        tried.slots,
        tried.turns,
        tried.ms,
        tried.look_ms,
        tried.pause_ms,
        _how_well(tried),
    )


def _how_well(tried: Tried) -> str:
    if not tried.as_advised:
        return "missed"
    longer = tried.turns > tried.place.row.turns
    if longer or tried.look_ms > _LONG_LOOK_MS or tried.pause_ms > _LONG_PAUSE_MS:
        return "laboured"
    quick = tried.look_ms <= _SHORT_LOOK_MS and tried.pause_ms <= _SHORT_PAUSE_MS
    return "fluent" if quick else "sound"
