"""From packets in steps to samples: packets of which is known which turn was made before them.

Owners slip and packets are lost, so a step's label counts only if as many turns were told in it
as were asked for; what is left of wrong labels is found where codes contradict them.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property
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
"""In so many of the steps as many turns have to be told as were asked for."""


@dataclass(frozen=True)
class Samples:
    """Packets, each with the newest turn that was made before it."""

    packets: list[Packet]
    made: Ints
    """All turns, −1 where it is not known which: half turns that come as two quarters may have
    gone either way, and in some steps others were made than were asked for."""
    index: Ints
    """Which of ``made`` is the newest turn of each packet."""
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
    """The last packet of each step, with the position in which the cube stood."""

    packets: list[Packet]
    positions: Array
    counters: list[FoundCounter]

    @property
    def host_s(self) -> npt.NDArray[np.float64]:
        """When each packet arrived."""
        return np.array([packet.t for packet in self.packets])


Steps: TypeAlias = "Sequence[tuple[tuple[int, ...], list[Packet]]]"
"""Asked turns, and the packets of one kind that came meanwhile."""


_Sent: TypeAlias = "Sequence[tuple[list[int], list[Packet]]]"
"""The same with the turns as the cube sends them."""


def samples_of(steps: Steps, *, split: bool, later: Sequence[Packet] = ()) -> Iterator[Samples]:
    """The samples of packets of one kind; ``split``: whether half turns come as two quarters.

    One for each counter that there may be; without one, each packet that is new tells a turn.
    ``later``: more packets, of which no turns are known. None if the packets do not go with the
    turns in this way.
    """
    asked = [(_as_sent(turns, split=split), packets) for turns, packets in steps]
    numbered = False
    for counter in _counters([(len(sent), packets) for sent, packets in asked], later):
        samples = _by_number(asked, counter)
        if samples is not None:
            numbered = True
            yield samples
    if not numbered:
        samples = _by_packet(asked)
        if samples is not None:
            yield samples


def _as_sent(turns: tuple[int, ...], *, split: bool) -> list[int]:
    if not split:
        return list(turns)
    return [t for turn in turns for t in ((-1, -1) if turn % 3 == 1 else (turn,))]


def _counters(
    steps: Sequence[tuple[int, list[Packet]]], later: Sequence[Packet]
) -> list[FoundCounter]:
    """The counters that go with so many turns in each step, in either order of bytes."""
    made = np.cumsum([count for count, _ in steps])
    ends = [(packets[-1], int(at)) for (_, packets), at in zip(steps, made, strict=True) if packets]
    if not ends:
        return []
    last, counts = [packet.data for packet, _ in ends], np.array([at for _, at in ends])
    whole = [packet.data for _, packets in steps for packet in packets]
    whole += [packet.data for packet in later]
    found = [
        counter
        for order in ORDERS
        for counter in find_counters(Bits(last, order), counts, Bits(whole, order))
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
            if step <= counter.wrap // 2:  # else it was overtaken
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
    """One packet a turn, without a number; the same bytes once more are the same packet."""
    copies = Counter(
        len(packets) // len(sent) for sent, packets in steps if packets and sent
    ).most_common(1)
    if not copies:
        return None
    made: list[int] = []
    chosen: list[Packet] = []
    waiting: list[int] = []
    labelled, latest = 0, b""
    for sent, packets in steps:
        waiting += sent
        if not packets:
            continue
        new = _new(packets, len(waiting), copies[0][0], latest)
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
    """The packets of a step that are no copies, so that there are ``count``, if that can be."""
    if len(packets) == count:
        return packets
    before = [latest, *(packet.data for packet in packets)]
    changed = [packet for packet, data in zip(packets, before, strict=False) if packet.data != data]
    if len(changed) != count and copies > 1 and len(packets) == copies * count:
        return packets[::copies]
    return changed


def asked_positions(turns: Sequence[tuple[int, ...]]) -> list[bytes]:
    """How the cube stands after each step, solved at first."""
    position, positions = SOLVED.tobytes(), []
    for step in turns:
        for turn in step:
            position = position.translate(TURN_BYTES[turn])
        positions.append(position)
    return positions


def states_of(steps: Steps, later: Sequence[Packet] = ()) -> States | None:
    """The last packet of each step, in which the position is known."""
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
