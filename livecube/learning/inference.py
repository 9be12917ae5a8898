"""Candidates: possible whole layouts of one kind of packet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Final

from livecube.learning.bits import Bits
from livecube.learning.checksums import find_check
from livecube.learning.clocks import RATES, find_clock, find_wrapped_clock
from livecube.learning.codes import (
    find_elapsed,
    find_list,
    find_turns,
    labellings,
    lengthened,
)
from livecube.learning.masked_clocks import find_masked_clock
from livecube.learning.pieces import find_pieces
from livecube.learning.samples import ORDERS, samples_of, states_of
from livecube.learning.slips import without_slips
from livecube.learning.stickers import find_stickers
from livecube.profiles.fields import Field
from livecube.profiles.values import Layout, TurnList

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    import numpy as np
    import numpy.typing as npt

    from livecube.events import Packet
    from livecube.learning.bits import Ints
    from livecube.learning.checksums import FoundCheck
    from livecube.learning.clocks import FoundClock
    from livecube.learning.codes import FoundTurns
    from livecube.learning.counters import FoundCounter
    from livecube.learning.kinds import Kind
    from livecube.learning.samples import Samples, States, Steps
    from livecube.profiles.fields import Entries, Order
    from livecube.profiles.states import PieceCode, StickerCode

__all__ = ["Candidate", "candidates", "raw_bits"]


_STATE_BYTES: Final = 13
"""A position has 100 bits or more."""


@dataclass(frozen=True)
class Candidate:
    """A layout and the other parts of a profile that go with it."""

    layout: Layout
    order: Order
    codes: dict[int, int]
    """Code → turn; empty if positions are sent."""
    state: PieceCode | StickerCode | None = None
    per_second: int = 1000
    wrap_seen: bool = True
    """Whether the counter was seen to wrap."""
    odds: int = 0
    """Odds of the check value; see :class:`~livecube.learning.checksums.FoundCheck`."""
    coarse: int = 0
    """Ticks a second of a clock that is left out, since several turns may have the same tick."""
    hidden: int = 0
    """Lower bits of the clock that are left out; see ``FoundClock``."""
    finer: bool = False
    """Whether the clock may have lower bits than those of its field."""
    beyond: bool = False
    """Whether the counter is the lower part of a wider one; see ``FoundCounter``."""


def candidates(
    kind: Kind,
    steps: Steps,
    order: Order,
    later: Sequence[Packet] = (),
    *,
    slipped: bool = False,
) -> list[Candidate]:
    """All candidates of a kind; ``steps`` and ``later`` hold only packets of this kind.

    ``later``: more packets, whose turns are unknown. ``slipped``: instead, those whose packets send
    positions that differ from the asked ones by a few slips.
    """
    if slipped and kind.length < _STATE_BYTES:
        return []
    packets = [p.data for p in [*(p for _, packets in steps for p in packets), *later]]
    check = find_check(packets, order) if kind.longest else None
    whole = _Whole(check.check.behind if check is not None else 0)
    if kind.longest:
        cut = partial(whole.cut, length=kind.length - whole.behind)
        steps = [(turns, [*map(cut, packets)]) for turns, packets in steps]
        later = [*map(cut, later)]
    if slipped:
        found = [*_by_slipped_states(kind, steps, order, later)]
    else:
        found = [*_by_turns(kind, steps, order, later, whole)]
        found += _by_states(kind, steps, order, later)
    if not found:
        return found
    if kind.longest:
        return [_checked(one, check) for one in found]
    masked = {one.layout.mask: one.layout for one in found}
    checks = {
        mask: find_check([*map(layout.plain, packets)], order) for mask, layout in masked.items()
    }
    return [_checked(one, checks[one.layout.mask]) for one in found]


def _checked(candidate: Candidate, check: FoundCheck | None) -> Candidate:
    if check is None:
        return candidate
    return replace(candidate, layout=replace(candidate.layout, check=check.check), odds=check.odds)


class _Whole:
    """Packets of several lengths, cut to one, and as they were."""

    def __init__(self, behind: int) -> None:
        self.behind = behind
        """Bytes of a check value at their end."""
        self._data: dict[tuple[float, bytes], bytes] = {}

    def cut(self, packet: Packet, length: int) -> Packet:
        """The packet's beginning."""
        cut = replace(packet, data=packet.data[:length])
        self._data[cut.t, cut.data] = packet.data
        return cut

    def lengthened(self, found: FoundTurns, samples: Samples, made: Ints) -> FoundTurns:
        """The same with a list that goes on to the end of each packet, if it does."""
        if not self._data:
            return found
        data = [self._data[packet.t, packet.data] for packet in samples.packets]
        return lengthened(found, data, self.behind, made, samples.index)


def _layout(
    kind: Kind, order: Order, counter: FoundCounter | None, clock: FoundClock | None
) -> Layout:
    return Layout(
        kind.characteristic,
        kind.length,
        max(kind.length, kind.longest),
        kind.match,
        counter=None if counter is None else _in_order(counter.field, order),
        wrap=None if counter is None or counter.wrap == counter.field.values else counter.wrap,
        clock=None if clock is None else clock.field,
        clock_wrap=None if clock is None else clock.wrap,
    )


def _in_order(field: Field, order: Order) -> Field:
    """The same field in the profile's order, if it lies in one byte."""
    if field.order == order or field.start // 8 != (field.end - 1) // 8:
        return field
    return Field(field.start - field.start % 8 + 8 - (field.end - 1) % 8 - 1, field.bits, order)


def _by_turns(
    kind: Kind, steps: Steps, order: Order, later: Sequence[Packet], whole: _Whole
) -> Iterator[Candidate]:
    seen: set[bytes] = set()
    for split in (False, True):
        for samples in samples_of(steps, split=split, later=later):
            bits = samples.tables[order]
            for turns in labellings(bits, samples.turns):
                for found in find_turns(bits, turns):
                    key = repr((samples.counter, found, turns.tolist())).encode()
                    if key not in seen:
                        seen.add(key)
                        candidate = _with_the_rest(kind, samples, order, found, turns, whole)
                        yield candidate
                        if samples.counter is None and candidate.layout.clock is not None:
                            yield _without_clock(candidate)


def _without_clock(candidate: Candidate) -> Candidate:
    """The same without the clock: two turns with one code and one tick are then told apart.

    With a clock and no counter, the second of them counts as a packet that was sent again.
    """
    layout, turns = candidate.layout, candidate.layout.turns
    assert turns is not None
    layout = replace(layout, clock=None, clock_wrap=None, turns=replace(turns, elapsed=None))
    return replace(candidate, layout=layout, per_second=1000, coarse=candidate.per_second)


def _with_the_rest(
    kind: Kind, samples: Samples, order: Order, found: FoundTurns, turns: Ints, whole: _Whole
) -> Candidate:
    """The candidate of a field that reports the turn: earlier turns and the clock added."""
    bits, counter = samples.tables[order], samples.counter
    if counter is not None:
        made = samples.made.copy()
        made[samples.index[turns < 0]] = -1
        found = find_list(bits, found, made, samples.index)
        found = whole.lengthened(found, samples, made)
    row = found.row
    fields = [field for field in row.codes.fields if field.end <= bits.size]
    taken = {bit for field in fields for bit in raw_bits(field)}
    if counter is not None:
        taken |= raw_bits(counter.field)
    low = row.codes.first if counter is None else counter.field
    is_masked = any(found.masks) or (counter is not None and counter.mask != 0)
    clock = _clock(samples.tables, samples.host_s, taken, _grain(low, row.codes), masked=is_masked)
    for one in () if clock is None else (clock, *clock.finer):
        others = taken | raw_bits(one.field)
        elapsed = _elapsed(samples, order, row.codes, one, others)
        if elapsed is not None:
            row, clock = TurnList(row.codes, row.none, elapsed), one._replace(finer=())
            break
    layout = replace(_layout(kind, order, counter, clock), turns=row)
    layout = replace(layout, mask=_mask(found, counter, clock))
    return Candidate(
        layout,
        order,
        found.codes,
        per_second=_rate(clock),
        wrap_seen=counter is None or counter.seen,
        hidden=0 if clock is None else clock.hidden,
        finer=clock is not None and bool(clock.finer),
        beyond=counter is not None and counter.beyond,
    )


def _elapsed(
    samples: Samples, order: Order, codes: Entries, clock: FoundClock, taken: set[int]
) -> Entries | None:
    """The fields of the ticks between turns; they prove the clock's lowest bits, too."""
    ticks = samples.tables[clock.field.order].read(clock.field.start, clock.field.bits)
    wrap = clock.wrap or clock.field.values
    for other in (order, *ORDERS):
        table = samples.tables[other]
        elapsed = find_elapsed(table, codes, ticks, wrap, samples.index, _own(taken, other))
        if elapsed is not None:
            return elapsed
    return None


def _mask(found: FoundTurns, counter: FoundCounter | None, clock: FoundClock | None) -> bytes:
    """The mask of the packet's first bytes, as far as it matters for these fields."""
    masks = [*zip(found.row.codes.fields, found.masks, strict=False)]
    masks += [(one.field, one.mask) for one in (counter, clock) if one is not None]
    mask = bytearray(max(-(-field.end // 8) for field, _ in [*masks, (found.row.codes.first, 0)]))
    for field, value in masks:
        field.write(mask, value)
    return bytes(mask).rstrip(b"\0")


def _grain(field: Field, row: Entries) -> int:
    """The alignment of fields in bits (8, 4 or 1), as far as a known field shows it."""
    if row.count > 1 or (field.start // 8 != (field.end - 1) // 8 and field.bits < 16):
        edges = [row.stride] if row.count > 1 else [1]
    else:
        edges = []
    if row.count > 1 and row.stride % 8:
        edges.append(row.first.start if row.first.order == "little" else row.first.end)
    if field.bits >= 8 or row.count > 1:
        edges.append(field.start if field.order == "little" else field.end)
    return next(grain for grain in (8, 4, 1) if all(edge % grain == 0 for edge in edges))


def _clock(
    tables: Mapping[Order, Bits],
    host_s: npt.NDArray[np.float64],
    taken: set[int],
    grain: int,
    *,
    masked: bool = False,
) -> FoundClock | None:
    """The clock, searched in both orders.

    Of two, it is the one whose lowest bit is restless, then the one whose rate is first in
    ``RATES``.
    Only if none is found, it may start again at a round number, or its bits may be masked.
    ``masked``: other fields are; then a mask comes first: jitter hides it on a clock's fast bits.
    """
    finders = [find_clock, find_wrapped_clock, find_masked_clock]
    for find in reversed(finders) if masked else finders:
        found = []
        for order in ORDERS:
            clock = find(tables[order], host_s, _own(taken, order), grain)
            if clock is not None:
                found.append(clock)
        if found:
            return max(found, key=lambda c: (not c.still, -RATES.index(c.per_second), c.field.bits))
    return None


def _own(raw: set[int], order: Order) -> set[int]:
    """Bits counted in the order ``big``, as an order counts them."""
    return raw if order == "big" else {bit - bit % 8 + 7 - bit % 8 for bit in raw}


def raw_bits(field: Field) -> set[int]:
    """The bits of a field, counted in the order ``big``."""
    bits = range(field.start, field.end)
    if field.order == "big":
        return set(bits)
    return {bit - bit % 8 + 7 - bit % 8 for bit in bits}


def _by_states(
    kind: Kind, steps: Steps, order: Order, later: Sequence[Packet]
) -> Iterator[Candidate]:
    if kind.length < _STATE_BYTES:
        return
    found = _found_states(steps, order, later)
    if found is None:
        return
    states, tables, rows, code = found
    taken = {bit for row in rows for field in row.fields for bit in raw_bits(field)}
    clock = _clock(tables, states.host_s, taken, _grain(rows[0].first, rows[0]))
    for counter in states.counters or (None,):
        yield Candidate(
            replace(_layout(kind, order, counter, clock), state=rows),
            order,
            {},
            code,
            _rate(clock),
            counter is None or counter.seen,
            finer=clock is not None and bool(clock.finer),
        )


def _by_slipped_states(
    kind: Kind, steps: Steps, order: Order, later: Sequence[Packet]
) -> Iterator[Candidate]:
    if _found_states(steps, order, later) is None:
        made = without_slips(steps, order)
        if made is not None:
            yield from _by_states(kind, made, order, later)


def _found_states(
    steps: Steps, order: Order, later: Sequence[Packet]
) -> tuple[States, dict[Order, Bits], tuple[Entries, ...], PieceCode | StickerCode] | None:
    states = states_of(steps, later)
    if states is None:
        return None
    tables = {order: Bits([p.data for p in states.packets], order) for order in ORDERS}
    found = find_stickers(tables[order], states.positions) or find_pieces(
        tables[order], states.positions
    )
    return None if found is None else (states, tables, found.rows, found.code)


def _rate(clock: FoundClock | None) -> int:
    return 1000 if clock is None else clock.per_second
