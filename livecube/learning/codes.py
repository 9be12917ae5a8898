"""The field that carries the turn, its table of codes, and the turns before it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.profiles.fields import Entries
from livecube.profiles.values import TurnList

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.learning.bits import Bits, Ints
    from livecube.profiles.fields import Field

__all__ = ["FoundTurns", "find_elapsed", "find_list", "find_turns", "turn_bits"]

_MOST_BITS: Final = 16
_MOST_STRIDE: Final = 48
_MOST_TURNS: Final = 16
_LEAST_CHECKS: Final = 20
_NO_TURN: Final = -2
_ELAPSED_BITS: Final = range(6, 17)


@dataclass(frozen=True)
class FoundTurns:
    """A field that says which turn was made."""

    row: TurnList
    codes: dict[int, int]
    """Code → turn."""


def turn_bits(bits: Bits, turns: Ints) -> tuple[Ints, Ints]:
    """For each bit: whether it is always the same for the same turn; whether it also varies.

    ``turns``: the newest turn of each packet, −1 where it is not known.
    """
    table = bits.table[turns >= 0]
    known = turns[turns >= 0]
    same = np.ones(bits.size, dtype=np.int64)
    for turn in set(known.tolist()):
        rows = table[known == turn]
        same &= rows.min(axis=0) == rows.max(axis=0)
    varies = table.min(axis=0) != table.max(axis=0)
    return same, same & varies


def find_turns(bits: Bits, turns: Ints) -> list[FoundTurns]:
    """All fields that tell which turn was made: each turn has one code, no two have the same."""
    same, varies = turn_bits(bits, turns)
    found = []
    for start, end in _runs(same, varies):
        if end - start > _MOST_BITS:
            continue
        values = bits.read(start, end - start)
        codes = {int(v): int(t) for v, t in zip(values, turns, strict=True) if t >= 0}
        if len(codes) == len(set(turns[turns >= 0].tolist())):
            row = Entries(bits.field(start, end - start), 1, end - start)
            found.append(FoundTurns(TurnList(row), codes))
    return found


def _runs(same: Ints, varies: Ints) -> list[tuple[int, int]]:
    """Rows of bits that the turn decides, without the constant ones at both ends."""
    runs = []
    at = 0
    while at < len(same):
        end = at
        while end < len(same) and same[end]:
            end += 1
        moving = np.flatnonzero(varies[at:end])
        if len(moving):
            runs.append((at + int(moving[0]), at + int(moving[-1]) + 1))
        at = end + 1
    return runs


def find_list(bits: Bits, found: FoundTurns, turns: Ints, index: Ints) -> FoundTurns:
    """The same with the earlier turns that stand beside the newest, if they do.

    ``turns``: all turns that were made, −1 where it is not known which; ``index``: which of
    them is each packet's newest.
    """
    first = found.row.codes.first
    best = found
    for stride in (s for s in range(-_MOST_STRIDE, _MOST_STRIDE + 1) if abs(s) >= first.bits):
        count, none = _lags(bits, found, first, stride, turns, index)
        if count > best.row.codes.count:
            row = TurnList(Entries(first, count, stride), none)
            best = replace(found, row=row)
    return best


def _lags(
    bits: Bits, found: FoundTurns, first: Field, stride: int, turns: Ints, index: Ints
) -> tuple[int, int | None]:
    """How many turns are listed, and the code where there was none yet."""
    empty: set[int] = set()
    for lag in range(1, _MOST_TURNS):
        start = first.start + lag * stride
        if start < 0 or start + first.bits > bits.size:
            break
        values = bits.read(start, first.bits)
        told = np.array([found.codes.get(int(value), _NO_TURN) for value in values])
        none = {int(value) for value in values[told == _NO_TURN]}
        checked = (index >= lag) & (told != _NO_TURN)
        before = turns[np.maximum(index - lag, 0)]
        checked &= before >= 0
        if checked.sum() < _LEAST_CHECKS or len(empty | none) > 1:
            break
        if (told[checked] != before[checked]).any():
            break
        empty |= none
    else:
        lag = _MOST_TURNS
    return lag, empty.pop() if len(empty) == 1 else None


def find_elapsed(
    bits: Bits, row: Entries, ticks: Sequence[int] | Ints, wrap: int
) -> Entries | None:
    """The field that says how many ticks went by since the turn before.

    ``ticks``: the clock at each packet's turn, packets of turns one after the other.
    """
    steps = np.diff(np.asarray(ticks)) % wrap
    best: Field | None = None
    for width in _ELAPSED_BITS:
        fitting = steps < (1 << width)
        if fitting.sum() < _LEAST_CHECKS:
            continue
        for start in range(bits.size - width + 1):
            values = bits.read(start, width)[1:]
            if (values[fitting] == steps[fitting]).all() and len(set(values[fitting].tolist())) > 4:
                best = bits.field(start, width)
    if best is None:
        return None
    entries = Entries(best, row.count, row.stride if row.count > 1 else best.bits)
    last = entries.fields[-1]
    inside = last.start >= 0 and last.end <= bits.size
    return entries if inside else None
