"""Inspection: for one cross colour the cross, X-crosses, and the pieces to track."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from livecube.advice.tracking import Track, first_part, track
from livecube.advice.words import cross_sentence
from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.techniques.base import Technique

__all__ = ["Inspection", "answer_after", "inspect_cross", "opening_steps", "openings"]

_PLANNED: Final = 8
"""For this many rows of each kind, the plan after them is looked for."""


@dataclass(frozen=True, slots=True)
class Inspection:
    """The openings of one cross colour in a scrambled position; rows are best first."""

    cross: str
    """Colour of the cross."""
    techniques: tuple[Technique, ...]
    """Techniques that are looked for besides the plain cross."""
    cross_turns: int
    """Fewest turns of these crosses; 0: the cross is whole already."""
    crosses: tuple[Opportunity, ...]
    """The fastest crosses: rows of the technique ``cross``, without slots."""
    opportunities: tuple[Opportunity, ...]
    """X-crosses and pseudo X-crosses; empty if the cross is whole, at any offset."""
    first_parts: tuple[int | None, ...]
    """For each opportunity the moves before its pseudo pair; None: not a pseudo X-cross."""
    tracks: tuple[Track, ...]
    """For the best row of each technique the places of its pieces."""

    def rows(self, technique: Technique) -> list[tuple[Opportunity, int | None]]:
        """The rows of one technique that are not silenced, each with its first part."""
        pairs = zip(self.opportunities, self.first_parts, strict=True)
        return [(r, first) for r, first in pairs if r.technique == technique.id and not r.silenced]

    def as_json(self) -> dict[str, Any]:
        """The object of one colour in machine-readable output."""
        return {
            "cross": self.cross,
            "cross_turns": self.cross_turns,
            "opportunities": [
                {**row.as_json(), "first_moves": first}
                for row, first in zip(self.opportunities, self.first_parts, strict=True)
            ],
            "crosses": [row.as_json() for row in self.crosses],
            "track": [entry for one in self.tracks for entry in one.as_json()],
        }


def inspect_cross(
    advisor: Advisor, position: Array, face: int, holding: Holding | None = None
) -> Inspection:
    """Look at a fixed-frame position for the cross on ``face``; rows are ranked with their plans.

    ``holding``: None: the cross is held down, and each row begins with the front that makes it
    cheapest. The fastest rows get the plan after them, and come first.
    """
    crosses = _with_plans(advisor, advisor.crosses(position, face, holding), position, face)
    advice = advisor.advise(position, face, holding, shortest=False, plans=False, above_level=False)
    kinds = advisor.in_inspection
    rows = tuple(
        row
        for kind in kinds
        for row in _with_plans(
            advisor, [r for r in advice.opportunities if r.technique == kind.id], position, face
        )
    )
    best = [next((r for r in rows if r.technique == kind.id), None) for kind in kinds]
    return Inspection(
        cross=advice.cross,
        techniques=kinds,
        cross_turns=min((row.turns for row in crosses), default=0),
        crosses=crosses,
        opportunities=rows,
        first_parts=tuple(
            first_part(position, face, row) if len(row.slots) == 2 else None for row in rows
        ),
        tracks=tuple(track(position, face, row) for row in best if row is not None),
    )


def _with_plans(
    advisor: Advisor, rows: Sequence[Opportunity], position: Array, face: int
) -> tuple[Opportunity, ...]:
    """The cheapest rows with the plan after them, best first; then the other rows."""
    ranked = sorted(rows, key=lambda row: row.seconds)
    planned = [advisor.with_plan(row, position, face) for row in ranked[:_PLANNED]]
    return (*sorted(planned, key=lambda row: row.total), *ranked[_PLANNED:])


def openings(
    advisor: Advisor,
    position: Array,
    faces: Sequence[int],
    holding: Holding | None = None,
    *,
    stopped: Callable[[], bool] = lambda: False,
) -> list[Opportunity] | None:
    """The best opening of each kind over all cross colours, the most ambitious kind first.

    Kinds are the plain cross and the techniques of inspection that the advisor's level allows.
    Rows are ranked together with the plan after them. ``stopped`` is asked before each colour;
    None if it returns True, which means that nobody needs the answer any more.
    """
    steps = opening_steps(advisor, position, faces, holding)
    while not stopped():
        if (found := answer_after(steps)) is not None:
            return found
    return None


def answer_after(steps: Generator[None, None, list[Opportunity]]) -> list[Opportunity] | None:
    """Look at one more colour; returns the answer if it was the last one."""
    try:
        next(steps)
    except StopIteration as over:
        found: list[Opportunity] = over.value
        return found
    return None


def opening_steps(
    advisor: Advisor, position: Array, faces: Sequence[int], holding: Holding | None = None
) -> Generator[None, None, list[Opportunity]]:
    """:func:`openings` in steps of one colour each, so that several questions can take turns."""
    techniques = [one.id for one in advisor.in_inspection if advisor.speaks_of(one.id)]
    found: list[Opportunity] = []
    for number, face in enumerate(faces):
        if number:
            yield
        if techniques:
            seen = inspect_cross(advisor, position, face, holding)
            crosses, others = seen.crosses, seen.opportunities
        else:
            crosses, others = advisor.crosses(position, face, holding), ()
            crosses = _with_plans(advisor, crosses, position, face)
        found += [replace(row, why=cross_sentence(row, COLOURS[face])) for row in crosses[:1]]
        found += [row for row in others if not row.silenced]
    kinds = [*reversed(techniques), "cross"]
    best = [
        min((row for row in found if row.technique == kind), key=_total, default=None)
        for kind in kinds
    ]
    return [row for row in best if row is not None]


def _total(row: Opportunity) -> float:
    return row.total
