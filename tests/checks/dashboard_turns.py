"""The cost of publishing for a turn: without a dashboard, with a fast, a slow and a missing broker.

``python tests/checks/dashboard_turns.py --turns 12000`` prints the figures. Turns come at a
steady rate, without a pause between solves, and go through pipeline and hub. It measures the time
from a turn's arrival until a sink after the dashboard's has taken it, and until all its events are
out.
"""

from __future__ import annotations

import argparse
import asyncio
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import beside  # before helpers are imported
import numpy as np
from broker import Broker, free_port

from livecube.composition.dashboard import Dashboard, time_now
from livecube.composition.following import SWITCH_S, Hub
from livecube.composition.pipeline import Pipeline
from livecube.cube.position import SOLVED, apply_turns
from livecube.dashboard.broker import Access
from livecube.dashboard.messages import Cube
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.sending import Plan
from livecube.dashboard.settings import parse_address
from livecube.dashboard.sink import DashboardSink
from livecube.events import Turn
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.dashboard.offers import Offer
    from livecube.edges.sinks import Item
    from livecube.events import CubeEvent

__all__ = ["BLOCK", "block", "turns"]

_RATE = 50.0
BLOCK = 500
"""Turns in a row under one condition; conditions alternate, to share the machine's load."""
_CONDITIONS = ("no dashboard", "fast", "slow by 1 s", "gone", "silent")


class _Last:
    """The last sink: when it has taken an item, the turn is done."""

    name = "last"

    def __init__(self) -> None:
        self.at = 0.0

    async def take(self, item: Item) -> None:
        self.at = time.perf_counter()

    async def close(self) -> None:
        pass


def turns(count: int) -> tuple[list[CubeEvent], bytes]:
    """At most a block of turns, and the position (20 facelets) in which they begin."""
    done = session(5, min(BLOCK, count) // 60 + 4, on_cube=False)
    events = [event for event in done.events(marks=False) if isinstance(event, Turn)]
    return [*events[: min(BLOCK, count)]], bytes(apply_turns(SOLVED, done.scramble).tolist())


async def block(
    events: Sequence[CubeEvent],
    position: bytes,
    port: int | None,
    file: Path,
    coach: str | None = None,
    hears: Callable[[Offer], None] = lambda offer: None,
) -> tuple[list[float], list[float]]:
    """Milliseconds of each turn: its processing, and its delay before that.

    ``hears`` gets the offers of the coach.
    """
    sinks: list[DashboardSink] = []
    if port is not None:
        access = Access(parse_address(f"mqtt://127.0.0.1:{port}"), keepalive_s=10)
        outbox = Outbox(file, print)
        plan = Plan(access, "bench", coach=coach)
        dashboard = Dashboard(plan, outbox, Cube("c", "c"), time_now, _silent)
        dashboard.hear_offers(hears)
        dashboard.start()
        sinks.append(DashboardSink(dashboard))
    last, pipeline = _Last(), Pipeline(Tracker(position), time.perf_counter)
    ways, late = [], []
    async with Hub([*sinks, last]) as hub:
        await asyncio.sleep(0.5)
        begin = time.perf_counter()
        for number, event in enumerate(events):
            due = begin + number / _RATE
            await asyncio.sleep(due - time.perf_counter())
            start = time.perf_counter()
            hub.publish(event)
            for happening in pipeline.feed(event):
                hub.publish(happening)
            while last.at < start or any(map(_waits, hub._lanes)):  # noqa: ASYNC110 - one round of the loop, no time
                await asyncio.sleep(0)
            ways.append((time.perf_counter() - start) * 1000)
            late.append((start - due) * 1000)
    return ways, late


def _waits(lane: Any) -> bool:
    return bool(lane.queue.qsize())


def _silent(_: str) -> None:
    pass


def _wire(to: int, slow_s: float, *, silent: bool = False) -> tuple[subprocess.Popen[str], int]:
    command = [sys.executable, str(beside.TESTS / "wire.py"), str(to), str(slow_s)]
    process = subprocess.Popen(
        command + (["silent"] if silent else []), stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    return process, int(process.stdout.readline())


def main() -> None:
    """Measure and print."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--turns", type=int, default=6000, help="for each condition")
    given = arguments.parse_args()
    events, position = turns(given.turns)
    sys.setswitchinterval(SWITCH_S)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        broker = Broker(folder / "broker").start()
        slow, slow_port = _wire(broker.port, 1.0)
        silent, silent_port = _wire(broker.port, 0.0, silent=True)
        ports = dict(
            zip(_CONDITIONS, (None, broker.port, slow_port, free_port(), silent_port), strict=True)
        )
        ways: dict[str, list[float]] = {name: [] for name in _CONDITIONS}
        late: dict[str, list[float]] = {name: [] for name in _CONDITIONS}
        try:
            for number in range(max(1, given.turns // BLOCK)):
                for name in _CONDITIONS[number % 2 :: 1] + _CONDITIONS[: number % 2]:
                    file = folder / f"{name}.sqlite"
                    way, delay = asyncio.run(block(events, position, ports[name], file))
                    ways[name] += way
                    late[name] += delay
        finally:
            for process in (slow, silent):
                with process:
                    process.kill()
            broker.stop()
    _print(ways, late)


def _print(ways: dict[str, list[float]], late: dict[str, list[float]]) -> None:
    none = np.percentile(ways[_CONDITIONS[0]], 99)
    print("in ms             way p50   p99   p99 more   delay before p99")
    for name in _CONDITIONS:
        half, most = np.percentile(ways[name], [50, 99])
        tardy = np.percentile(late[name], 99)
        print(f"{name:16} {half:8.3f} {most:6.3f} {most - none:8.3f} {tardy:12.3f}")
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{len(ways[_CONDITIONS[0]])} turns each, {_RATE:g} a second; memory {memory:.0f} MB")


if __name__ == "__main__":
    main()
