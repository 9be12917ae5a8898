"""What one kind of packets may mean: candidates for a layout, each a whole one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from livecube.learning.checksums import find_check
from livecube.learning.clocks import find_clock
from livecube.learning.codes import find_elapsed, find_list, find_turns
from livecube.learning.pieces import find_pieces
from livecube.learning.samples import samples_of, states_of
from livecube.learning.stickers import find_stickers
from livecube.profiles.values import Layout, TurnList

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.learning.clocks import FoundClock
    from livecube.learning.codes import FoundTurns
    from livecube.learning.kinds import Kind
    from livecube.learning.samples import Samples, Steps
    from livecube.profiles.checks import Check
    from livecube.profiles.fields import Order
    from livecube.profiles.states import PieceCode, StickerCode

__all__ = ["Candidate", "candidates"]


@dataclass(frozen=True)
class Candidate:
    """A layout and what it needs beside it."""

    layout: Layout
    order: Order
    codes: dict[int, int]
    """Code → turn; empty if positions are sent."""
    state: PieceCode | StickerCode | None = None
    per_second: int = 1000


def candidates(kind: Kind, steps: Steps, order: Order) -> list[Candidate]:
    """All that the packets of a kind may mean; ``steps`` holds no others."""
    packets = [packet.data for _, packets in steps for packet in packets]
    found = [*_by_turns(kind, steps, order), *_by_states(kind, steps, order)]
    if not found:
        return []
    check = find_check(packets, order)
    return [_checked(one, check) for one in found] if check is not None else found


def _checked(candidate: Candidate, check: Check) -> Candidate:
    return replace(candidate, layout=replace(candidate.layout, check=check))


def _by_turns(kind: Kind, steps: Steps, order: Order) -> Iterator[Candidate]:
    for split in (False, True):
        samples = samples_of(steps, order, split=split)
        if samples is None:
            continue
        for found in find_turns(samples.bits, samples.turns):
            yield _with_the_rest(kind, samples, found)


def _with_the_rest(kind: Kind, samples: Samples, found: FoundTurns) -> Candidate:
    """The candidate of a field that tells the turn: earlier turns and the clock added."""
    bits = samples.bits
    if samples.counter is not None:
        made = np.array(samples.made, dtype=np.int64)
        found = find_list(bits, found, made, samples.index)
    clock = find_clock(bits, samples.host_s)
    row = found.row
    if clock is not None and (np.diff(samples.index) == 1).all():
        ticks = bits.read(clock.field.start, clock.field.bits)
        elapsed = find_elapsed(bits, row.codes, ticks, clock.field.values)
        row = TurnList(row.codes, row.none, elapsed)
    layout = Layout(
        kind.characteristic,
        kind.length,
        kind.length,
        kind.match,
        counter=samples.counter,
        clock=None if clock is None else clock.field,
        turns=row,
    )
    return Candidate(layout, bits.order, found.codes, per_second=_rate(clock))


def _by_states(kind: Kind, steps: Steps, order: Order) -> Iterator[Candidate]:
    states = states_of(steps, order)
    if states is None:
        return
    bits, positions = states.bits, states.positions
    found = find_stickers(bits, positions) or find_pieces(bits, positions)
    if found is None:
        return
    clock = find_clock(bits, states.host_s)
    layout = Layout(
        kind.characteristic,
        kind.length,
        kind.length,
        kind.match,
        counter=states.counter,
        clock=None if clock is None else clock.field,
        state=found.rows,
    )
    yield Candidate(layout, bits.order, {}, found.code, _rate(clock))


def _rate(clock: FoundClock | None) -> int:
    return 1000 if clock is None else clock.per_second
