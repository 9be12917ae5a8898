"""How a pair of a drill was done: named by hindsight, and by how its turns end.

Hindsight (:mod:`livecube.stages.naming`) looks only at moments with a whole cross. A plain
insertion without such a moment in between, as ``R U' L' U' R' U L`` beside a good edge, looks to it
like a keyhole. But behind a keyhole the cross layer has always to be turned back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.drills.place import DrillPlace
    from livecube.review.one_try import OneTry

__all__ = ["done_as_asked", "drill_names"]


def drill_names(
    place: DrillPlace, techniques: tuple[str, ...], turns: Sequence[int]
) -> tuple[str, ...]:
    """What hindsight calls ``techniques``, with a keyhole that turned nothing back called plain."""
    if len(techniques) == 1 and techniques[0].startswith("keyhole-"):
        turned_back = bool(turns) and turns[-1] // 3 == place.face
        return techniques if turned_back else ("plain",)
    return techniques


def done_as_asked(place: DrillPlace, one: OneTry, advised: OneTry) -> bool:
    """Whether a try did what is asked: ``advised`` is one with the turns of the place's row."""
    techniques, slots = one.done()
    if set(slots) != set(place.row.slots):
        return False
    names = drill_names(place, techniques, one.turns)
    own = drill_names(place, advised.done()[0], advised.turns)
    return names in (own, (place.technique,))
