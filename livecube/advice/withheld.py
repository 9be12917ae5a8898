"""What is kept back while a solver wants silence, and which of it was worth most."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.advice.said import Spoken, Unsaid

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.advice.opportunity import Opportunity

__all__ = ["Withheld", "best_chances"]

_ORDINARY: Final = ("plain", "made-pair", "shortest")
"""Techniques that nobody needs to be told of afterwards."""
_MOST: Final = 3


class Withheld:
    """Keeps hints of one solve until it is over."""

    def __init__(self) -> None:
        self._hints: list[Spoken] = []

    def keep(self, hints: Iterable[Spoken]) -> None:
        """Keep back what would be said now."""
        self._hints += hints

    def forget(self) -> None:
        """Another solve."""
        self._hints = []

    def release(self, t: float) -> Unsaid:
        """The solve is over: all that was kept back."""
        hints, self._hints = tuple(self._hints), []
        return Unsaid(t, hints)


def best_chances(hints: Sequence[Spoken]) -> list[Spoken]:
    """The few that were worth most: no ordinary insertions, each chance once, in their order.

    Those that save most seconds against the plain way, then the quickest.
    """
    chances: dict[tuple[str, tuple[str, ...]], Spoken] = {}
    for hint in hints:
        row = hint.opportunity
        if row.technique not in _ORDINARY:
            chances.setdefault((row.technique, row.slots), hint)
    ranked = sorted(chances.values(), key=lambda hint: _worth(hint.opportunity))
    return sorted(ranked[:_MOST], key=lambda hint: hint.t)


def _worth(row: Opportunity) -> tuple[float, float]:
    plain = row.plain
    saved = plain.seconds + plain.looking - row.seconds - row.looking if plain else 0.0
    return -saved, row.seconds
