"""In what manner a solver wants to be advised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["WHEN", "Manner"]

WHEN: Final = ("solving", "inspection", "after")
"""When to speak: in inspection and while solving; in inspection only; when a solve is over."""


@dataclass(frozen=True, slots=True)
class Manner:
    """What a solver asked for; the default is to be told everything at once."""

    when: str = WHEN[0]
    """One of :data:`WHEN`."""
    crosses: tuple[int, ...] = (0,)
    """Faces of the crosses with which a solve may begin."""
    by_degrees: bool = False
    """Whether each hint is told little by little."""

    @property
    def in_inspection(self) -> bool:
        """Whether anything is said before a solve."""
        return self.when != "after"

    @property
    def in_solve(self) -> bool:
        """Whether chances are looked for in a solve, to be said at once or when it is over."""
        return self.when != "inspection"
