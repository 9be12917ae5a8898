"""Measures the way by radio: bleak, a real GATT exchange, the decoder, and the first advice.

A virtual cube is turned at a steady rate through whole solves, one after the other; the host
follows it as ``livecube live`` does, with the refining thread beside it.
"""

from __future__ import annotations

import asyncio
import sys
import time
from collections import deque
from contextlib import aclosing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

import numpy as np

from livecube.composition.assembly import find_decoder
from livecube.composition.following import CubeFollower, Hub
from livecube.composition.pipeline import Pipeline
from livecube.composition.reception import decoded
from livecube.cube.geometry import FACES
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.link import Notification
from livecube.edges.radio_link import RadioLink
from livecube.edges.virtual_radio.cube import GattCube
from livecube.edges.virtual_radio.radio import VirtualRadio
from livecube.errors import UsageError
from livecube.stages.tracker import Tracker
from livecube.virtual.cube import simulated_cube
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Iterator

    from livecube.advice.advisor import Advisor
    from livecube.decoding import Write
    from livecube.edges.link import LinkItem

__all__ = ["RadioFigures", "measure_radio", "radio_json", "radio_lines"]

_PROTOCOL: Final = "turnwire"
_SEED: Final = 11
_SOLVES: Final = 40
_FEWEST_TURNS: Final = 50
"""Every solve has more turns than this, with its scramble."""
_SWITCH_S: Final = 0.0005
_SETTLED: Final = 0.1
"""Part of the run after which memory is measured for the first time."""
_PATIENCE_S: Final = 30.0
"""Seconds for the last notifications to arrive."""


@dataclass(frozen=True, slots=True)
class RadioFigures:
    """The measured figures."""

    sent: int
    """Notifications."""
    lost: int
    reordered: int
    seconds: float
    turns: int
    """Turns that the tracker saw."""
    solves: int
    advice: int
    """How often advice was begun."""
    heard_ms: tuple[float, float, float]
    """From bleak's callback to the start of advice: median, 99th percentile, most."""
    whole_ms: tuple[float, float, float]
    """The same from the cube's sending, so with the virtual radio."""
    settled_mb: float
    """Memory after a tenth of the run."""
    end_mb: float


class _Checked:
    """A link that compares arrivals with the packets sent, and knows the time of the latest."""

    def __init__(self, link: RadioLink, now: Callable[[], float]) -> None:
        self.sent: deque[tuple[float, bytes]] = deque()
        self.count = self.lost = self.reordered = 0
        self.heard_s = self.sent_s = 0.0
        self._link = link
        self._now = now

    def note(self, data: bytes) -> None:
        """Note a packet that the cube sends."""
        self.count += 1
        self.sent.append((self._now(), data))

    def write(self, write: Write) -> None:
        self._link.write(write)

    async def items(self) -> AsyncGenerator[LinkItem, None]:
        async with aclosing(self._link.items()) as items:
            async for item in items:
                if isinstance(item, Notification):
                    self._compare(item)
                yield item

    def _compare(self, item: Notification) -> None:
        self.heard_s = item.host_s
        missing = next((n for n, (_, data) in enumerate(self.sent) if data == item.data), None)
        if missing is None:
            self.reordered += 1
            return
        self.lost += missing  # if it arrives later, it counts as reordered too
        for _ in range(missing + 1):
            self.sent_s = self.sent.popleft()[0]


class _Clocked:
    """An advisor that notes the times of questions; the rest is the real advisor."""

    def __init__(self, advisor: Advisor, link: _Checked, now: Callable[[], float]) -> None:
        self._advisor = advisor
        self._link = link
        self._now = now
        self.heard_ms: list[float] = []
        self.whole_ms: list[float] = []

    def at_beginning(self, *arguments: Any, **options: Any) -> Any:
        now = self._now()
        self.heard_ms.append((now - self._link.heard_s) * 1000)
        self.whole_ms.append((now - self._link.sent_s) * 1000)
        return self._advisor.at_beginning(*arguments, **options)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._advisor, name)


def measure_radio(
    advisor: Advisor, count: int, rate: float, step: Callable[[float], None] = lambda part: None
) -> RadioFigures:
    """Send ``count`` notifications, ``rate`` a second; ``step`` gets the part that is done."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_S)
    try:
        return asyncio.run(_measure(advisor, count, rate, step))
    finally:
        sys.setswitchinterval(before)


class _Turned:
    """A virtual cube that is turned on demand, some ``count`` times.

    ``sent`` gets each of its packets.
    """

    def __init__(self, radio: VirtualRadio, count: int) -> None:
        self.sent: Callable[[bytes], None] = lambda data: None
        self._firmware = simulated_cube(_PROTOCOL)()
        self._turns = _endless_turns(count)
        self._ms = 0
        firmware = self._firmware
        self.cube = GattCube(
            radio.link, firmware.advertisement, firmware.events, firmware.control, self._written
        )

    def turn(self) -> None:
        """Make the next turn."""
        turn, self._ms = next(self._turns)
        self._send(self._firmware.turn(turn, self._ms))

    def _written(self, data: bytes) -> None:
        self._send(self._firmware.written(data, self._ms))

    def _send(self, packets: tuple[bytes, ...]) -> None:
        for packet in packets:
            self.sent(packet)
            self.cube.send(packet)


async def _measure(
    advisor: Advisor, count: int, rate: float, step: Callable[[float], None]
) -> RadioFigures:
    now = time.perf_counter
    radio = VirtualRadio()
    await radio.start()
    turned = _Turned(radio, count)
    await turned.cube.start()
    sighting = (await radio.scan(5, lambda sighting: True))[0]
    decoder = find_decoder(_PROTOCOL)
    link = _Checked(RadioLink(radio, sighting, decoder.notify, now), now)
    turned.sent = link.note
    pipeline = Pipeline(Tracker(), now)
    clocked = _Clocked(advisor, link, now)
    pipeline.advisor = cast("Advisor", clocked)
    hub = Hub([])
    follower = CubeFollower(pipeline, hub)
    twin = advisor.twin()
    # Compiling and loading do not count: they happen once on a machine.
    twin.at_beginning(apply_turns(SOLVED, parse_turns("R U R'")), FACES.index("D"))
    follower.refiner.begin(twin)
    async with hub, asyncio.TaskGroup() as tasks:
        refining = tasks.create_task(follower.refiner.run())
        following = tasks.create_task(follower.follow(decoded(link, decoder())))
        await turned.cube.subscribed.wait()
        began = now()
        settled_mb = await _turn_steadily(turned, count, rate, now, step)
        seconds = now() - began
        with suppress(TimeoutError):
            async with asyncio.timeout(_PATIENCE_S):
                while link.sent:  # noqa: ASYNC110 - others empty it
                    await asyncio.sleep(0.01)
        following.cancel()
        refining.cancel()
    await turned.cube.stop()
    if not clocked.heard_ms:
        raise UsageError("no advice was begun in so few notifications; give a greater --count")
    return RadioFigures(
        sent=link.count,
        lost=link.lost + len(link.sent),
        reordered=link.reordered,
        seconds=seconds,
        turns=pipeline.tracker.line,
        solves=pipeline.solves,
        advice=len(clocked.heard_ms),
        heard_ms=_spread(clocked.heard_ms),
        whole_ms=_spread(clocked.whole_ms),
        settled_mb=settled_mb,
        end_mb=_memory_mb(),
    )


async def _turn_steadily(
    turned: _Turned,
    count: int,
    rate: float,
    now: Callable[[], float],
    step: Callable[[float], None],
) -> float:
    """Make all turns; returns the memory after a tenth of them."""
    settled_mb = 0.0
    began = now()
    for made in range(count):
        await asyncio.sleep(max(0.0, began + made / rate - now()))
        turned.turn()
        if made == int(count * _SETTLED):
            settled_mb = _memory_mb()
        if made % 100 == 0:
            step(made / count)
    return settled_mb


def _endless_turns(count: int) -> Iterator[tuple[int, int]]:
    """Turns of whole solves with the times of hands, round and round; the cube ends solved.

    For a small ``count`` only as many solves are drawn as it takes.
    """
    done = session(_SEED, min(_SOLVES, 1 + count // _FEWEST_TURNS))
    start_ms = 0
    while True:
        for turn in done.turns:
            yield turn.turn, start_ms + round(turn.t * 1000)
        start_ms += round(done.turns[-1].t * 1000) + 10_000


def _spread(values: list[float]) -> tuple[float, float, float]:
    p50, p99, most = np.percentile(values, [50, 99, 100])
    return float(p50), float(p99), float(most)


def _memory_mb() -> float:
    """Memory in use; where the system does not report it, the peak."""
    statm = Path("/proc/self/statm")
    if statm.exists():
        return int(statm.read_text().split()[1]) * 4096 / 2**20
    import resource

    unit = 2**20 if sys.platform == "darwin" else 2**10
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / unit


def radio_lines(figures: RadioFigures) -> Iterator[str]:
    """The figures for people."""
    rate = figures.sent / figures.seconds
    yield (
        f"sent          {figures.sent:,} notifications in {figures.seconds:.1f} s, "
        f"{rate:,.0f} a second"
    )
    yield f"lost          {figures.lost}"
    yield f"reordered     {figures.reordered}"
    yield f"followed      {figures.turns:,} turns, {figures.solves} solves"
    p50, p99, most = figures.heard_ms
    yield (
        f"to advice     p50 {p50:.2f}  p99 {p99:.2f}  max {most:.2f} ms from bleak's callback, "
        f"{figures.advice:,} times (promised: p99 ≤ 2 ms)"
    )
    p50, p99, most = figures.whole_ms
    yield (
        f"              p50 {p50:.2f}  p99 {p99:.2f}  max {most:.2f} ms from the virtual cube's "
        "sending; without the virtual radio only the part above is left"
    )
    yield (
        f"memory        {figures.settled_mb:.0f} MB after a tenth, "
        f"{figures.end_mb:.0f} MB at the end"
    )


def radio_json(figures: RadioFigures) -> dict[str, Any]:
    """The figures for programs."""
    return {
        "sent": figures.sent,
        "lost": figures.lost,
        "reordered": figures.reordered,
        "seconds": round(figures.seconds, 3),
        "turns": figures.turns,
        "solves": figures.solves,
        "advice": figures.advice,
        "heard_ms": [round(value, 3) for value in figures.heard_ms],
        "whole_ms": [round(value, 3) for value in figures.whole_ms],
        "settled_mb": round(figures.settled_mb, 1),
        "end_mb": round(figures.end_mb, 1),
    }
