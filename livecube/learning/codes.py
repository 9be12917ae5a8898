"""The field of the newest turn, its codes, and the fields of the turns before it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.profiles.fields import Entries
from livecube.profiles.values import TurnList

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from livecube.learning.bits import Bits, Ints

__all__ = [
    "FoundTurns",
    "find_elapsed",
    "find_list",
    "find_turns",
    "labellings",
    "lengthened",
    "turn_bits",
]

_MOST_BITS: Final = 16
_MOST_STRIDE: Final = 48
_MOST_TURNS: Final = 16
_LEAST_CHECKS: Final = 20
_NO_TURN: Final = -2
_ELAPSED_BITS: Final = range(6, 17)
_OFTEN: Final = 3
"""A turn that was made at least this often outvotes a wrong label."""
_SLIPS: Final = 5
_SLIP_SHARE: Final = 1 / 12
"""Share of the labels that may be wrong."""


@dataclass(frozen=True)
class FoundTurns:
    """A field that holds the newest turn, perhaps with earlier turns beside it."""

    row: TurnList
    codes: dict[int, int]
    """Code → turn."""
    masks: tuple[int, ...] = ()
    """For each listed turn, what its code is combined with by exclusive or; empty: nothing."""


def turn_bits(bits: Bits, turns: Ints) -> tuple[Ints, Ints]:
    """For each bit: whether it is always the same for the same turn; whether it also varies.

    Both of shape (bits,). ``turns`` (packets,): the newest turn of each packet, −1 if unknown.
    """
    table = bits.table[turns >= 0]
    known = turns[turns >= 0]
    same = np.ones(bits.size, dtype=np.int64)
    for turn in set(known.tolist()):
        rows = table[known == turn]
        same &= rows.min(axis=0) == rows.max(axis=0)
    varies = table.min(axis=0) != table.max(axis=0)
    return same, same & varies


def labellings(bits: Bits, turns: Ints) -> list[Ints]:
    """The turns, and versions of them without labels that may be wrong: −1 in their place.

    If bits match the turns except in a few packets, the labels of these packets may be wrong.
    Later a decoder that gets the whole recording decides.
    """
    often = [t for t in set(turns[turns >= 0].tolist()) if (turns == t).sum() >= _OFTEN]
    if not often:
        return [turns]
    known = np.isin(turns, often)
    few = max(_SLIPS, round(known.sum() * _SLIP_SHARE))
    usual = np.zeros_like(bits.table)
    for turn in often:
        usual[turns == turn] = 2 * bits.table[turns == turn].sum(axis=0) > (turns == turn).sum()
    odd = (bits.table != usual) & known[:, None]
    same = (odd.sum(axis=0) <= few).astype(np.int64)
    varies = same & (usual[known].min(axis=0) != usual[known].max(axis=0))
    found = {turns.tobytes(): turns}
    for start, end in _runs(same, varies):
        strange = odd[:, start:end][:, varies[start:end].astype(bool)].any(axis=1)
        if strange.sum() <= few:
            without = np.where(strange, -1, turns)
            found.setdefault(without.tobytes(), without)
    return list(found.values())


def find_turns(bits: Bits, turns: Ints) -> list[FoundTurns]:
    """All fields that hold the newest turn: no turn has two codes, no code two turns.

    If a code comes with two turns, one of them only once or twice, the rare one is left out: the
    owner slipped and made the other turn.
    """
    same, varies = turn_bits(bits, turns)
    found = []
    for start, end in _runs(same, varies):
        pieces = [piece for piece in _bytes(start, end) if varies[slice(*piece)].any()]
        fields = [
            one
            for one in (_told(bits, *piece, turns, strict=True) for piece in pieces)
            if one is not None
        ]
        whole = _told(bits, start, end, turns) if end - start <= _MOST_BITS else None
        found += fields or ([] if whole is None else [whole])
    return found


def _bytes(start: int, end: int) -> list[tuple[int, int]]:
    """A run cut at the ends of bytes: a check value of the code may follow in the next byte."""
    edges = [start, *range(start - start % 8 + 8, end, 8), end]
    return list(pairwise(edges))


def _told(
    bits: Bits, start: int, end: int, turns: Ints, *, strict: bool = False
) -> FoundTurns | None:
    codes = _codes(bits.read(start, end - start), turns)
    if codes is None or (strict and len(codes) < len(set(turns[turns >= 0].tolist()))):
        return None
    return FoundTurns(TurnList(Entries(bits.field(start, end - start), 1, end - start)), codes)


def _codes(values: Ints, turns: Ints) -> dict[int, int] | None:
    made: dict[int, dict[int, int]] = {}
    for value, turn in zip(values.tolist(), turns.tolist(), strict=True):
        if turn >= 0:
            counts = made.setdefault(value, {})
            counts[turn] = counts.get(turn, 0) + 1
    codes = {}
    for value, counts in made.items():
        turn, *others = sorted(counts, key=lambda turn: -counts[turn])
        if any(counts[other] >= _OFTEN for other in others):
            return None
        codes[value] = turn
    return codes if len(codes) == len(set(codes.values())) else None


def _runs(same: Ints, varies: Ints) -> list[tuple[int, int]]:
    """Runs of bits that depend on the turn alone, without constant bits at both ends."""
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
    """The same with the fields of earlier turns beside the newest, if there are any.

    ``turns``: all turns that were made, −1 if unknown; ``index`` (packets,): the index in
    ``turns`` of each packet's newest turn. Only if no list is found, codes may be masked.
    """
    first = found.row.codes.first
    best = found
    for masked in (False, True):
        for stride in (s for s in range(-_MOST_STRIDE, _MOST_STRIDE + 1) if abs(s) >= first.bits):
            count, none, masks = _lags(bits, found, stride, turns, index, masked=masked)
            if count > best.row.codes.count:
                row = TurnList(Entries(first, count, stride), none)
                best = replace(found, row=row, masks=masks if masked else ())
        if best is not found:
            break
    return best


def _lags(
    bits: Bits, found: FoundTurns, stride: int, turns: Ints, index: Ints, *, masked: bool
) -> tuple[int, int | None, tuple[int, ...]]:
    """The number of listed turns, the code of an entry without a turn (None: not seen), masks."""
    first = found.row.codes.first
    newest = set(bits.read(first.start, first.bits).tolist())
    codes = {turn: code for code, turn in found.codes.items()}
    earlier = np.concatenate([np.full(_MOST_TURNS, -1), turns])
    empty: set[int] = set()
    masks = [0]
    for lag in range(1, _MOST_TURNS):
        start = first.start + lag * stride
        if start < 0 or start + first.bits > bits.size:
            break
        values, before = bits.read(start, first.bits), earlier[_MOST_TURNS + index - lag]
        if masked:
            masks.append(_mask(values, codes, before))
            values = values ^ masks[-1]
        checked, unknown = _compared(values, before, found.codes)
        # A code that some packet has as its newest turn is a turn, even if it was never asked for.
        none = unknown - newest
        if checked < _LEAST_CHECKS or len(empty | none) > 1:
            break
        empty |= none
    else:
        lag = _MOST_TURNS
    return lag, empty.pop() if len(empty) == 1 else None, tuple(masks[:lag])


def _compared(values: Ints, turns: Ints, codes: dict[int, int]) -> tuple[int, set[int]]:
    """How many values are the codes of these turns (-1: unknown), and the values without a turn.

    0 as soon as one is another turn's: most places are wrong, and show it in the first packets.
    """
    checked, unknown = 0, set[int]()
    for value, turn in zip(values.tolist(), turns.tolist(), strict=True):
        told = codes.get(value)
        if told is None:
            unknown.add(value)
        elif turn >= 0:
            if told != turn:
                return 0, unknown
            checked += 1
    return checked, unknown


def _mask(values: Ints, codes: dict[int, int], turns: Ints) -> int:
    """By what most values differ from the codes of these turns."""
    pairs = zip(values.tolist(), turns.tolist(), strict=True)
    masks = Counter(value ^ codes[turn] for value, turn in pairs if turn in codes)
    return max(masks, key=masks.__getitem__, default=0)


def lengthened(
    found: FoundTurns, packets: Sequence[bytes], behind: int, turns: Ints, index: Ints
) -> FoundTurns:
    """The same with a list that goes on to the end of each packet, if all packets show that.

    ``packets``: whole ones, of several lengths; ``behind``: bytes of a check value at their end;
    ``turns`` and ``index`` as in :func:`find_list`.
    """
    row = found.row.codes
    stride = row.stride if row.count > 1 else 8 * -(-row.first.bits // 8)
    if stride < row.first.bits:
        return found
    longer, checked = Entries(row.first, _MOST_TURNS, stride), 0
    for data, at in zip(packets, index.tolist(), strict=True):
        codes = longer.read_in(data, len(data) - behind)
        if (
            len(codes) < row.count
            or 8 * (len(data) - behind) - longer.fields[len(codes) - 1].end >= stride
        ):
            return found
        for lag, code in enumerate(codes[row.count : at + 1], start=row.count):
            turn = turns[at - lag]
            if found.codes.get(code, _NO_TURN) != turn >= 0:
                return found
            checked += turn >= 0
    if checked < _LEAST_CHECKS:
        return found
    return replace(found, row=replace(found.row, codes=longer))


def find_elapsed(
    bits: Bits,
    row: Entries,
    ticks: Sequence[int] | Ints,
    wrap: int,
    index: Ints | None = None,
    taken: Collection[int] = (),
) -> Entries | None:
    """The fields that hold the ticks since the turn before, for each turn of ``row``.

    All of them are compared: two bytes' codes may stand at one distance in one order of bits and at
    another in the other, where the ticks of the first turn fit as well.

    ``ticks``: the clock at each packet's turn; ``index``: the number of that turn; None if there is
    one packet for each turn, in order. ``taken``: bits that belong to other fields.
    """
    steps = np.diff(np.asarray(ticks)) % wrap
    index = np.arange(len(steps) + 1) if index is None else index
    unknown = wrap << _MOST_BITS
    steps[np.diff(index) != 1] = unknown
    of_turn = np.full(int(index.max()) + 1, unknown)
    of_turn[index[1:]] = steps
    # Turn 0 stands for those before it, too: none of their ticks are known.
    earlier = [of_turn[np.maximum(index - lag, 0)] for lag in range(1, row.count)]
    best: Entries | None = None
    for width in _ELAPSED_BITS:
        fitting = np.flatnonzero(steps < (1 << width))
        wanted = steps[fitting]
        if len(fitting) < _LEAST_CHECKS or len(np.unique(wanted)) <= 4:
            continue
        # The first one is compared alone, since most places differ there already.
        for start in np.flatnonzero(bits.in_packet(1 + fitting[0], width) == wanted[0]).tolist():
            if (bits.read(start, width)[1:][fitting] == wanted).all():
                entries = Entries(
                    bits.field(start, width), row.count, row.stride if row.count > 1 else width
                )
                if _is_free(entries, bits.size, taken) and _go_on(bits, entries, earlier):
                    best = entries
    return best


def _go_on(bits: Bits, entries: Entries, earlier: Sequence[Ints]) -> bool:
    """Whether the fields of earlier turns hold their ticks, too, where these are known."""
    first = entries.first
    for lag, ticks in enumerate(earlier, start=1):
        known = ticks < (1 << first.bits)
        values = bits.read(first.start + lag * entries.stride, first.bits)
        if (values[known] != ticks[known]).any():
            return False
    return True


def _is_free(entries: Entries, size: int, taken: Collection[int]) -> bool:
    """Whether all fields lie in the packet, and in no other field."""
    fields = entries.fields
    inside = all(field.start >= 0 and field.end <= size for field in fields)
    return inside and not any(bit in taken for f in fields for bit in range(f.start, f.end))
