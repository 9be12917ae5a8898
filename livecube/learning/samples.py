"""From packets in steps to samples: packets of which is known which turn was made before them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from livecube.cube.position import SOLVED, TURN_BYTES
from livecube.learning.bits import Bits
from livecube.learning.counters import find_counter

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from livecube.cube.geometry import Array
    from livecube.events import Packet
    from livecube.learning.bits import Ints
    from livecube.profiles.fields import Field, Order

__all__ = ["Samples", "States", "Steps", "samples_of", "states_of"]


@dataclass(frozen=True)
class Samples:
    """Packets, each with the newest turn that was made before it."""

    bits: Bits
    host_s: npt.NDArray[np.float64]
    made: list[int]
    """All turns, −1 where the quarters of a half turn may have gone either way."""
    index: Ints
    """Which of ``made`` is the newest turn of each packet."""
    counter: Field | None

    @property
    def turns(self) -> Ints:
        """The newest turn of each packet."""
        return np.array(self.made, dtype=np.int64)[self.index]


@dataclass(frozen=True)
class States:
    """Packets, each with the position in which the cube stood."""

    bits: Bits
    host_s: npt.NDArray[np.float64]
    positions: Array
    counter: Field | None


Steps: TypeAlias = "Sequence[tuple[tuple[int, ...], list[Packet]]]"
"""Asked turns, and the packets of one kind that came meanwhile."""


def samples_of(steps: Steps, order: Order, *, split: bool) -> Samples | None:
    """The samples of packets of one kind; ``split``: whether half turns come as two quarters.

    None if the packets do not go with the turns in this way.
    """
    made: list[int] = []
    ends: list[Packet] = []
    counts: list[int] = []
    for turns, packets in steps:
        made += _as_sent(turns, split=split)
        if packets:
            ends.append(packets[-1])
            counts.append(len(made))
    if not ends:
        return None
    counter = find_counter(Bits([p.data for p in ends], order), np.array(counts, dtype=np.int64))
    if counter is not None:
        return _by_number(steps, order, made, counter, (ends[0], counts[0], counts[-1]))
    return _by_packet(steps, order, split=split)


def _as_sent(turns: tuple[int, ...], *, split: bool) -> list[int]:
    if not split:
        return list(turns)
    return [t for turn in turns for t in ((-1, -1) if turn % 3 == 1 else (turn,))]


def _by_number(
    steps: Steps,
    order: Order,
    made: list[int],
    counter: Field,
    known: tuple[Packet, int, int],
) -> Samples | None:
    """The first packet of each number that the counter shows.

    ``known``: a packet that ends a step, how many turns there were by then, and by the last one.
    """
    packets = [packet for _, packets in steps for packet in packets]
    first = known[1] - 1
    number = counter.read(known[0].data)
    at = {first: known[0]}
    latest = first
    for packet in packets[packets.index(known[0]) + 1 :]:
        step = (counter.read(packet.data) - number) % counter.values
        if step > counter.values // 2:
            return None
        number, latest = counter.read(packet.data), latest + step
        at.setdefault(latest, packet)
    if latest != known[2] - 1:
        return None  # it went on by a whole round more
    chosen = list(at.values())
    return Samples(
        Bits([p.data for p in chosen], order),
        np.array([p.t for p in chosen]),
        made,
        np.array(list(at), dtype=np.int64),
        counter,
    )


def _by_packet(steps: Steps, order: Order, *, split: bool) -> Samples | None:
    """One packet a turn, without a number; the same bytes once more are the same packet."""
    made: list[int] = []
    chosen: list[Packet] = []
    latest = b""
    for turns, packets in steps:
        sent = _as_sent(turns, split=split)
        different = []
        for packet in packets:
            if packet.data != latest or len(packets) == len(sent):
                different.append(packet)
            latest = packet.data
        if len(different) != len(sent):
            return None
        made += sent
        chosen += different
    index = np.arange(len(made), dtype=np.int64)
    times = np.array([p.t for p in chosen])
    return Samples(Bits([p.data for p in chosen], order), times, made, index, None)


def states_of(steps: Steps, order: Order) -> States | None:
    """The last packet of each step, in which the position is known."""
    position = SOLVED.tobytes()
    positions: list[bytes] = []
    ends: list[Packet] = []
    made: list[tuple[int, int]] = []
    whole = quarters = 0
    for turns, packets in steps:
        for turn in turns:
            position = position.translate(TURN_BYTES[turn])
        whole += len(turns)
        quarters += sum(2 if turn % 3 == 1 else 1 for turn in turns)
        if packets:
            positions.append(position)
            ends.append(packets[-1])
            made.append((whole, quarters))
    if not ends:
        return None
    array = np.frombuffer(b"".join(positions), dtype=np.uint8).reshape(-1, 20)
    bits = Bits([p.data for p in ends], order)
    counts = np.array(made, dtype=np.int64)
    counter = find_counter(bits, counts[:, 0]) or find_counter(bits, counts[:, 1])
    return States(bits, np.array([p.t for p in ends]), array, counter)
