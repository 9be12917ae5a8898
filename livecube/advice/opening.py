"""How a solve can begin: the best cross, and the best one with a pair, of the accepted colours."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from livecube.advice.inspection import IN_INSPECTION
from livecube.advice.words import cross_sentence
from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding

__all__ = ["openings"]


def openings(
    advisor: Advisor,
    position: Array,
    faces: Sequence[int],
    holding: Holding | None = None,
    *,
    stopped: Callable[[], bool] = lambda: False,
) -> list[Opportunity] | None:
    """The quickest opening of each kind over all cross colours, the most ambitious kind first.

    Kinds are the techniques of inspection that the advisor's level speaks of, and the plain
    cross. None if ``stopped`` says between two colours that nobody wants the answer any more.
    """
    found: list[Opportunity] = []
    techniques = [name for name in IN_INSPECTION if advisor.speaks_of(name)]
    for face in faces:
        if stopped():
            return None
        crosses = advisor.crosses(position, face, holding)[:1]
        found += [replace(row, why=cross_sentence(row, COLOURS[face])) for row in crosses]
        if techniques:
            rows = advisor.advise(position, face, holding).opportunities
            spoken = [row for row in rows if not row.silenced]
            firsts = (next((r for r in spoken if r.technique == t), None) for t in techniques)
            found += [row for row in firsts if row is not None]
    kinds = [*reversed(techniques), "cross"]
    best = [min((r for r in found if r.technique == k), key=_seconds, default=None) for k in kinds]
    return [row for row in best if row is not None]


def _seconds(row: Opportunity) -> float:
    return row.seconds
