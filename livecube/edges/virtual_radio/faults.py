"""Faults of a disturbed radio on packets under way, on demand and repeatable."""

from __future__ import annotations

import asyncio
import random
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Faults", "Path"]


@dataclass(frozen=True, slots=True)
class Faults:
    """Probabilities for each packet, and its delay. The same seed gives the same faults."""

    drop: float = 0.0
    repeat: float = 0.0
    swap: float = 0.0
    """Delivered after the packet that follows it."""
    spoil: float = 0.0
    """A byte is changed."""
    garbage: float = 0.0
    """Random bytes come before it."""
    delay_s: float = 0.0
    """Delay of each packet; packets queue and never overtake."""
    seed: int = 0


class Path:
    """The way from the cube to the host: first in, first out, except for the faults."""

    def __init__(self, faults: Faults, deliver: Callable[[bytes], None]) -> None:
        self._faults = faults
        self._deliver = deliver
        self._rng = random.Random(faults.seed)
        self._late: bytes | None = None
        """Waits for the packet after it."""
        self._queue: deque[tuple[float, bytes]] = deque()
        self._timer: asyncio.TimerHandle | None = None

    def send(self, data: bytes) -> None:
        """Send a packet on its way; never waits."""
        for packet in self._spoiled(data):
            if self._faults.delay_s:
                self._enqueue(packet)
            else:
                self._deliver(packet)

    def forget(self) -> None:
        """Drop all packets under way: the connection is gone."""
        self._late = None
        self._queue.clear()

    def close(self) -> None:
        """Stop sending."""
        self.forget()
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _spoiled(self, data: bytes) -> list[bytes]:
        faults, chance = self._faults, self._rng.random
        packets: list[bytes] = []
        if chance() < faults.garbage:
            packets.append(self._rng.randbytes(self._rng.randrange(21)))
        if chance() < faults.spoil and data:
            data = self._changed(data)
        if chance() >= faults.drop:
            packets += [data] * (2 if chance() < faults.repeat else 1)
        late, self._late = self._late, None
        if packets and late is None and chance() < faults.swap:
            self._late = packets.pop()
        return packets if late is None else [*packets, late]

    def _changed(self, data: bytes) -> bytes:
        at = self._rng.randrange(len(data))
        return data[:at] + bytes([data[at] ^ self._rng.randrange(1, 256)]) + data[at + 1 :]

    def _enqueue(self, packet: bytes) -> None:
        # One queue and one timer: timers of equal deadlines do not keep their order.
        loop = asyncio.get_running_loop()
        self._queue.append((loop.time() + self._faults.delay_s, packet))
        if self._timer is None:
            self._timer = loop.call_later(self._faults.delay_s, self._release)

    def _release(self) -> None:
        loop = asyncio.get_running_loop()
        self._timer = None
        while self._queue and self._queue[0][0] <= loop.time():
            self._deliver(self._queue.popleft()[1])
        if self._queue:
            self._timer = loop.call_at(self._queue[0][0], self._release)
