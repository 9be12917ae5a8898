"""Predicted seconds of moves: a cost for each move and for what it follows.

The values come from a table that a user may replace (``default.toml`` beside this module
shows the form and says what the numbers mean).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from livecube.cube.geometry import FACES
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from livecube.cube.holding import Move

__all__ = ["REGRIP_S", "Hands", "parse_hands"]

REGRIP_S: Final = 0.04
"""A move that costs so much more behind another is made with a new grip."""

_SECTIONS: Final = {"turn": FACES, "wide": FACES, "rotation": "xyz"}
_FOLLOW: Final = "follow"
_FOLLOWERS: Final = tuple(FACES + "xyz")
_LEAST_S: Final = 0.001
_LEAST_EXTRA_S: Final = -0.05
_MOST_S: Final = 10


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

    def regrips(self, moves: Iterable[Move]) -> list[float]:
        """Extra seconds of each regrip: a move for which the one before left the grip wrong.

        Those are the followers that cost at least ``REGRIP_S`` more than the move by itself
        (predicted; common practice, no published source).
        """
        symbols = [move.symbol[0] for move in moves]
        extras = [self.follow.get(pair, 0.0) for pair in pairwise(symbols)]
        return [extra for extra in extras if extra >= REGRIP_S]


def parse_hands(table: Mapping[str, Any], source: str) -> Hands:
    """Check a table of seconds, as ``hands.schema.json`` beside this module describes it.

    Raises :class:`~livecube.errors.UsageError` that names ``source`` and the entry.
    """
    for section in table:
        if section not in (*_SECTIONS, _FOLLOW):
            known = ", ".join(f"[{name}]" for name in (*_SECTIONS, _FOLLOW))
            raise UsageError(f"{source}: {section!r} is unknown; the sections are {known}")
    moves: dict[tuple[str, int], float] = {}
    for section, symbols in _SECTIONS.items():
        for symbol, values in _section(table, section, symbols, source).items():
            name = symbol + ("w" if section == "wide" else "")
            for quarters, value in enumerate(values, start=1):
                where = f"{source}: [{section}] {symbol}"
                moves[name, quarters] = _seconds(value, where, _LEAST_S)
    return Hands(moves, _following(table.get(_FOLLOW, {}), source))


def _section(
    table: Mapping[str, Any], section: str, symbols: str, source: str
) -> dict[str, list[object]]:
    """The entries of a section: every symbol, three values each, nothing else."""
    entries = _as_table(table.get(section, {}), section, source)
    for symbol in entries:
        if symbol not in list(symbols):
            known = ", ".join(symbols)
            raise UsageError(f"{source}: [{section}] {symbol!r} is unknown; it has {known}")
    for symbol in symbols:
        values = entries.get(symbol)
        if not isinstance(values, list) or len(values) != 3:
            raise UsageError(
                f"{source}: [{section}] {symbol} must be three numbers of seconds, "
                "like [0.1, 0.15, 0.1]"
            )
    return entries


def _following(table: object, source: str) -> dict[tuple[str, str], float]:
    follow: dict[tuple[str, str], float] = {}
    for pair, value in _as_table(table, _FOLLOW, source).items():
        first, _, second = pair.partition(" ")
        where = f"{source}: [{_FOLLOW}] {pair!r}"
        if first not in _FOLLOWERS or second not in _FOLLOWERS:
            raise UsageError(f'{where} must be two faces with a blank between, like "R U"')
        follow[first, second] = _seconds(value, where, _LEAST_EXTRA_S)
    return follow


def _as_table(value: object, section: str, source: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise UsageError(f"{source}: [{section}] must be a section with entries below it")
    return value


def _seconds(value: object, where: str, least: float) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise UsageError(f"{where}: {value!r} is not a number of seconds")
    if not least <= value <= _MOST_S:  # false for nan, too
        raise UsageError(f"{where}: {value} is not between {least} and {_MOST_S} seconds")
    return float(value)
