"""Whether a technique is the best choice in a position."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.techniques.base import traits
from livecube.techniques.plain import Plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Advice, Opportunity
    from livecube.cube.geometry import Array
    from livecube.techniques.base import Chance, Technique

__all__ = ["against_plain", "best_row", "deciding_slots", "is_best_choice"]

_SAME_S: Final = 1e-9
_PLAIN: Final = Plain()


def best_row(advice: Advice, technique: str) -> Opportunity | None:
    """The technique's quickest sequence; for the yardstick, which has no quickest, the shortest."""
    rows = [row for row in advice.opportunities if row.technique == technique]
    return min(rows, key=lambda row: (not row.fastest, row.total, row.turns)) if rows else None


def is_best_choice(advice: Advice, row: Opportunity) -> bool:
    """Whether the technique is clearly the best here.

    For one slot: no fastest row of the advice takes less time, looking included. For two slots:
    it takes less time than the plain way, since a row for one slot cannot be compared with it.
    The yardstick: it is at least two turns shorter than every other technique. A row that is not
    proven to be the fastest is never the best choice.
    """
    others = [one for one in advice.opportunities if one.technique != row.technique]
    if not row.fastest:
        shorter = all(row.turns + 1 < one.turns for one in others)
        return row.traits.is_yardstick and shorter
    if len(row.slots) > 1:
        plain = row.plain
        return plain is None or row.total < plain.seconds + plain.looking
    if row.traits.is_plain and len({one.traits.is_yardstick for one in others}) > 1:
        return False
    return all(row.total <= one.total + _SAME_S for one in others if one.fastest)


def against_plain(advisor: Advisor, technique: Technique, position: Array, face: int) -> Advice:
    """Quick advice by a technique and the plain way, which nearly always is the competitor.

    With the plain way itself all techniques compete.
    """
    quick = advisor if traits(technique).is_plain else advisor.only((technique, _PLAIN))
    return quick.advise(position, face, shortest=False, plans=False)


def deciding_slots(technique: Technique, chances: Sequence[Chance]) -> int | None:
    """How many slots the rows fill that decide whether a technique is the best choice; None: any.

    ``chances``: those of the technique here. In inspection only rows for as many slots decide: a
    way into two slots is also one into each of them, so it is never quicker than the quickest of
    those, and :func:`is_best_choice` compares two slots with plain pairs.
    """
    counts = {len(chance.slots) for chance in chances}
    return counts.pop() if traits(technique).in_inspection and len(counts) == 1 else None
