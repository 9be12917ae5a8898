"""From packets in steps to samples: packets labelled with the newest turn made before them.

Owners slip and packets are lost, so a step's label counts only if as many turns were reported in
it as were asked for. Codes that contradict the labels reveal the remaining wrong labels.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.cube.position import SOLVED, TURN_BYTES
from livecube.learning.bits import Bits
from livecube.learning.counters import find_counters

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

    from livecube.cube.geometry import Array
    from livecube.events import Packet
    from livecube.learning.bits import Ints
    from livecube.learning.counters import FoundCounter
    from livecube.profiles.fields import Order

__all__ = ["ORDERS", "Samples", "States", "Steps", "asked_positions", "samples_of", "states_of"]

ORDERS: Final[tuple[Order, Order]] = ("little", "big")
_LABELLED: Final = 0.7
"""Least share of the steps in which as many turns are reported as were asked for."""


@dataclass(frozen=True)
class Samples:
    """Packets, each with the newest turn that was made before it."""

    packets: list[Packet]
    made: Ints
    """All turns, −1 where the turn is unknown: half turns sent as two quarters may have gone
    either way, and in some steps the owner made other turns than were asked for."""
    index: Ints
    """For each packet, the index in ``made`` of its newest turn."""
    counter: FoundCounter | None

    @property
    def turns(self) -> Ints:
        """The newest turn of each packet."""
        return self.made[self.index]

    @cached_property
    def host_s(self) -> npt.NDArray[np.float64]:
        """When each packet arrived."""
        return np.array([packet.t for packet in self.packets])

    @cached_property
    def tables(self) -> dict[Order, Bits]:
        """The packets' bits in both orders."""
        return {order: Bits([p.data for p in self.packets], order) for order in ORDERS}


@dataclass(frozen=True)
class States:
    """The last packet of each step, with the cube's position."""

    packets: list[Packet]
    positions: Array
    counters: list[FoundCounter]

    @property
    def host_s(self) -> npt.NDArray[np.float64]:
        """When each packet arrived."""
        return np.array([packet.t for packet in self.packets])


Steps: TypeAlias = "Sequence[tuple[tuple[int, ...], list[Packet]]]"
"""Asked turns of each step, and the packets of one kind that came in it."""


_Sent: TypeAlias = "Sequence[tuple[list[int], list[Packet]]]"
"""The same with the turns as the cube sends them."""


def samples_of(steps: Steps, *, split: bool, later: Sequence[Packet] = ()) -> Iterator[Samples]:
    """The samples of packets of one kind; ``split``: whether half turns come as two quarters.

    Yields samples for each possible counter; if no counter fits, samples in which each new packet
    reports one turn; nothing if that does not fit either. ``later``: more packets, whose turns are
    unknown.
    """
    asked = [(_as_sent(turns, split=split), packets) for turns, packets in steps]
    counted = [(len(sent), packets) for sent, packets in asked]
    for masked in (False, True):
        numbered = [_by_number(asked, one) for one in _counters(counted, later, masked=masked)]
        if any(numbered):
            yield from filter(None, numbered)
            return
    samples = _by_packet(asked)
    if samples is not None:
        yield samples


def _as_sent(turns: tuple[int, ...], *, split: bool) -> list[int]:
    if not split:
        return list(turns)
    return [t for turn in turns for t in ((-1, -1) if turn % 3 == 1 else (turn,))]


def _counters(
    steps: Sequence[tuple[int, list[Packet]]], later: Sequence[Packet], *, masked: bool = False
) -> list[FoundCounter]:
    """The counters, in either byte order, that match the number of turns of each step."""
    made = np.cumsum([count for count, _ in steps])
    ends = [(packets[-1], int(at)) for (_, packets), at in zip(steps, made, strict=True) if packets]
    if not ends:
        return []
    whole = [packet.data for _, packets in steps for packet in packets]
    whole += [packet.data for packet in later]
    last, counts = zip(*((packet.data, at) for packet, at in ends), strict=True)
    return [*_counters_in(last, counts, tuple(whole), masked=masked)]


@lru_cache(maxsize=8)
def _counters_in(
    last: tuple[bytes, ...], counts: tuple[int, ...], whole: tuple[bytes, ...], *, masked: bool
) -> list[FoundCounter]:
    """The same, remembered: each kind of packet is searched once for each byte order of its codes.

    ``last``: the last packet of each step, with the turns made by then in ``counts``.
    """
    found = [
        counter
        for order in ORDERS
        for counter in find_counters(
            Bits(last, order), np.array(counts), Bits(whole, order), masked=masked
        )
    ]
    # Within one byte both orders have the same numbers.
    different = {tuple(map(one.number, whole)): one for one in reversed(found)}
    return sorted(different.values(), key=found.index)


def _by_number(steps: _Sent, counter: FoundCounter) -> Samples | None:
    """The first packet of each number that the counter shows."""
    at: dict[int, Packet] = {}
    known: dict[int, int] = {}
    waiting: list[int] = []
    number, latest, labelled = None, -1, 0
    for sent, packets in steps:
        waiting += sent
        before = latest
        for packet in packets:
            step = 1 if number is None else (counter.number(packet.data) - number) % counter.wrap
            if step <= counter.wrap // 2:  # else a newer packet overtook this one
                number, latest = counter.number(packet.data), latest + step
                at.setdefault(latest, packet)
        if packets:
            if latest - before == len(waiting):
                known |= dict(enumerate(waiting, start=before + 1))
                labelled += 1
            waiting = []
    heard = sum(bool(packets) for _, packets in steps)
    if labelled < _LABELLED * heard:
        return None
    made = np.array([known.get(index, -1) for index in range(latest + 1)], dtype=np.int64)
    return Samples(list(at.values()), made, np.array(list(at), dtype=np.int64), counter)


def _by_packet(steps: _Sent) -> Samples | None:
    """Samples with one packet for each turn, without a counter; repeated bytes are copies."""
    counts = Counter(len(packets) // len(sent) for sent, packets in steps if packets and sent)
    if not counts:
        return None
    [(copies, _)] = counts.most_common(1)
    made: list[int] = []
    chosen: list[Packet] = []
    waiting: list[int] = []
    labelled, latest = 0, b""
    for sent, packets in steps:
        waiting += sent
        if not packets:
            continue
        new = _new(packets, len(waiting), copies, latest)
        latest = packets[-1].data
        labelled += len(new) == len(waiting)
        made += waiting if len(new) == len(waiting) else [-1] * len(new)
        chosen += new
        waiting = []
    heard = sum(bool(packets) for _, packets in steps)
    if labelled < _LABELLED * heard:
        return None
    index = np.arange(len(made), dtype=np.int64)
    return Samples(chosen, np.array(made, dtype=np.int64), index, None)


def _new(packets: list[Packet], count: int, copies: int, latest: bytes) -> list[Packet]:
    """The packets of a step without copies: ``count`` of them if possible."""
    if len(packets) == count:
        return packets
    before = [latest, *(packet.data for packet in packets)]
    changed = [packet for packet, data in zip(packets, before, strict=False) if packet.data != data]
    if len(changed) != count and len(packets) == copies * count:
        return packets[::copies]
    return changed


def asked_positions(turns: Sequence[tuple[int, ...]]) -> list[bytes]:
    """The cube's position after each step; it is solved before the first."""
    position, positions = SOLVED.tobytes(), []
    for step in turns:
        for turn in step:
            position = position.translate(TURN_BYTES[turn])
        positions.append(position)
    return positions


def states_of(steps: Steps, later: Sequence[Packet] = ()) -> States | None:
    """The last packet of each step, after which the position is known; None without packets."""
    positions = asked_positions([turns for turns, _ in steps])
    known = [
        (packets[-1], position)
        for (_, packets), position in zip(steps, positions, strict=True)
        if packets
    ]
    if not known:
        return None
    array = np.frombuffer(b"".join(position for _, position in known), dtype=np.uint8)
    whole = [(len(turns), packets) for turns, packets in steps]
    split = [(len(_as_sent(turns, split=True)), packets) for turns, packets in steps]
    counters = _counters(whole, later) or _counters(split, later)
    return States([packet for packet, _ in known], array.reshape(-1, 20), counters)
