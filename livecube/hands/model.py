"""Predicted seconds of moves: a cost for each move and for what it follows.

The values come from a table that a user may replace (``default.toml`` beside this module
shows the form and says what the numbers mean).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube.cube.geometry import FACES
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from livecube.cube.holding import Move

__all__ = ["Hands", "parse_hands"]

_SECTIONS: Final = {"turn": FACES, "wide": FACES, "rotation": "xyz"}


@dataclass(frozen=True)
class Hands:
    """Seconds for a solver's moves."""

    moves: Mapping[tuple[str, int], float]
    """Seconds of each move by itself: (symbol, quarters), symbols as in notation."""
    follow: Mapping[tuple[str, str], float]
    """Extra seconds for a move of the second face after one of the first."""

    def seconds(self, moves: Iterable[Move]) -> float:
        """Predicted seconds of a sequence (slices, which people use in last layers, apart)."""
        total, before = 0.0, ""
        for move in moves:
            total += self.moves[move.symbol, move.quarters]
            total += self.follow.get((before, move.symbol[0]), 0.0)
            before = move.symbol[0]
        return total


def parse_hands(table: Mapping[str, Any], source: str) -> Hands:
    """Check a table of seconds.

    Raises :class:`~livecube.errors.UsageError` that names ``source`` and the entry.
    """
    moves: dict[tuple[str, int], float] = {}
    for section, symbols in _SECTIONS.items():
        for symbol in symbols:
            values = table.get(section, {}).get(symbol)
            where = f"{source}: [{section}] {symbol}"
            if not isinstance(values, list) or len(values) != 3:
                raise UsageError(f"{where} must be three numbers of seconds, like [0.1, 0.15, 0.1]")
            name = symbol + ("w" if section == "wide" else "")
            for quarters, value in enumerate(values, start=1):
                moves[name, quarters] = _seconds(value, where, least=0.001)
    follow: dict[tuple[str, str], float] = {}
    for pair, value in table.get("follow", {}).items():
        faces = tuple(str(pair).split())
        where = f"{source}: [follow] {pair!r}"
        if len(faces) != 2 or not set(faces) <= set(FACES + "xyz"):
            raise UsageError(f'{where} must be two faces with a blank between, like "R U"')
        follow[faces[0], faces[1]] = _seconds(value, where, least=-0.05)
    return Hands(moves, follow)


def _seconds(value: object, where: str, least: float) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        if least <= value <= 10:
            return float(value)
        raise UsageError(f"{where}: {value} is not between {least} and 10 seconds")
    raise UsageError(f"{where}: {value!r} is not a number of seconds")
