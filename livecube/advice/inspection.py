"""Inspection: for one cross colour the cross itself, what may come with it, what to track."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube.advice.tracking import Track, first_part, track

if TYPE_CHECKING:
    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.geometry import Array

__all__ = ["IN_INSPECTION", "Inspection", "inspect_cross"]

IN_INSPECTION: Final = ("x-cross", "pseudo-x-cross")
"""The techniques that are looked for beside the plain cross."""


@dataclass(frozen=True, slots=True)
class Inspection:
    """What one cross colour offers in a scrambled position; rows are best first."""

    cross: str
    """Colour of the cross."""
    cross_turns: int
    """Turns of the shortest cross; 0: it is whole already."""
    crosses: tuple[Opportunity, ...]
    """All shortest crosses, as rows of technique ``cross`` without slots."""
    opportunities: tuple[Opportunity, ...]
    """X-crosses and pseudo X-crosses; none while the cross is whole, at any offset."""
    first_parts: tuple[int | None, ...]
    """For each opportunity the moves before its pseudo pair; None: it is no pseudo X-cross."""
    tracks: tuple[Track, ...]
    """For the best row of each technique the ways of its pieces."""

    def rows(self, technique: str) -> list[tuple[Opportunity, int | None]]:
        """The rows of one technique that no rule silences, each with its first part."""
        pairs = zip(self.opportunities, self.first_parts, strict=True)
        return [(r, first) for r, first in pairs if r.technique == technique and not r.silenced]

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


def inspect_cross(advisor: Advisor, position: Array, face: int) -> Inspection:
    """Look at a fixed-frame position for the cross on ``face``.

    The cross is held down; each row begins with the front that makes it cheapest.
    """
    crosses = advisor.crosses(position, face)
    advice = advisor.advise(position, face)
    rows = tuple(row for row in advice.opportunities if row.technique in IN_INSPECTION)
    best = [next((r for r in rows if r.technique == name), None) for name in IN_INSPECTION]
    return Inspection(
        cross=advice.cross,
        cross_turns=crosses[0].turns if crosses else 0,
        crosses=crosses,
        opportunities=rows,
        first_parts=tuple(
            first_part(position, face, row) if len(row.slots) == 2 else None for row in rows
        ),
        tracks=tuple(track(position, face, row) for row in best if row is not None),
    )
