"""Whether a technique is the best choice in a position."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.advice.plain_way import plain_way

if TYPE_CHECKING:
    from livecube.advice.opportunity import Advice, Opportunity
    from livecube.search.engine import Engine
    from livecube.search.situation import Situation

__all__ = ["best_row", "is_best_choice"]

_SAME_S: Final = 1e-9


def best_row(advice: Advice, technique: str) -> Opportunity | None:
    """The quickest of the technique's shortest sequences."""
    rows = [row for row in advice.opportunities if row.technique == technique]
    return min(rows, key=lambda row: (row.turns, row.seconds)) if rows else None


def is_best_choice(engine: Engine, situation: Situation, advice: Advice, row: Opportunity) -> bool:
    """Whether the technique is clearly the best here.

    For one slot: no row of the advice is quicker, and it is not just another name for plain.
    For two slots, which no row for one can be compared with: fewer turns than done plainly.
    """
    if len(row.slots) > 1:
        way = plain_way(engine, situation, situation.slot_numbers(row.slots))
        return row.turns + 1 < sum(map(len, way))
    first = advice.opportunities[0]
    if row.technique == "shortest":
        return first.technique == "shortest" and row.turns + 1 < (row.plain_turns or 0)
    if row.technique == "plain":
        return {r.technique for r in advice.opportunities} <= {"plain", "shortest"} and (
            row.seconds <= first.seconds + _SAME_S
        )
    return row.seconds <= first.seconds + _SAME_S
