"""Brokers killed, networks cut and livecubes killed at random, while solves are published.

``python tests/checks/dashboard_chaos.py --solves 2000 --faults 200`` prints the outcome; a small
version is in the suite. The real livecube parts from the hub to the broker run in a process of
their own (``--worker``), which is killed without warning and started again. It goes on after the
last solve that its outbox has kept. Here the number of turns of a solve identifies it.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import os
import random
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import beside  # noqa: F401 - before helpers are imported
from broker import Broker
from consumer import Consumer
from wire import Wire

from livecube.composition.dashboard import Dashboard, time_now
from livecube.composition.following import Hub
from livecube.cube.position import SOLVED, apply_turns
from livecube.dashboard.broker import Access
from livecube.dashboard.messages import Cube
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.sending import Plan
from livecube.dashboard.settings import parse_address
from livecube.dashboard.sink import DashboardSink
from livecube.dashboard.topics import LATEST
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session

if TYPE_CHECKING:
    from livecube.stages.progress import Progress

__all__ = ["Outcome", "happenings", "numbered", "run"]

_DESK = "chaos"
_DIFFERENT = 8
"""Number of different solves that are published repeatedly."""
_PATIENCE_S = 60.0


@cache
def happenings(seed: int, solves: int) -> list[list[Progress]]:
    """The tracker's events of some virtual solves, one list for each."""
    done = session(seed, solves, on_cube=False)
    tracker = Tracker(bytes(apply_turns(SOLVED, done.scramble).tolist()))
    told: list[list[Progress]] = [[]]
    for event in done.events():
        for one in tracker.feed(event):
            told[-1].append(one)
            if isinstance(one, SolveOver):
                told.append([])
    return [one for one in told if any(isinstance(item, SolveOver) for item in one)]


def numbered(items: list[Progress], number: int) -> list[Progress]:
    """The same solve, with another number of turns."""
    return [
        replace(item, solve=replace(item.solve, turns=number))
        if isinstance(item, SolveOver)
        else item
        for item in items
    ]


async def work(port: int, file: Path, solves: int, pace_s: float) -> None:
    """Publish the solves that are not kept yet, one every ``pace_s`` seconds."""
    plan = Plan(Access(parse_address(f"mqtt://127.0.0.1:{port}"), keepalive_s=5), _DESK)
    outbox = Outbox(file, _say)
    first = ((outbox.state(LATEST) or {}).get("turns") or 0) + 1
    dashboard = Dashboard(plan, outbox, Cube("cube-0", "virtual"), time_now, _say)
    dashboard.start()
    different = happenings(1, _DIFFERENT)
    async with Hub([DashboardSink(dashboard)]) as hub:
        for number in range(first, solves + 1):
            for item in numbered(different[number % _DIFFERENT], number):
                hub.publish(item)
            await asyncio.sleep(pace_s)


def _say(sentence: str) -> None:
    print("worker:", sentence, file=sys.stderr)


@dataclass
class Outcome:
    """The final state of a consumer that remembers ids."""

    missing: list[int]
    twice: list[int]
    in_order: bool
    repeated: int
    """Messages dropped because of repeated ids."""
    faults: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0


async def run(
    folder: Path, seed: int, solves: int, faults: int, pace_s: float = 0.1, *, loud: bool = False
) -> Outcome:
    """One storm."""
    rng, began = random.Random(seed), time.perf_counter()
    broker = Broker(folder / "broker").start()
    storm = _Storm(broker, folder / "outbox.sqlite", solves, pace_s, loud)
    try:
        async with (
            Wire(broker.port) as storm.near,
            Wire(broker.port) as far,
            Consumer(far.port) as consumer,
        ):
            for number in range(faults):
                await storm.work()
                await asyncio.sleep(rng.uniform(0.5, 1.5) * solves * pace_s / faults)
                await storm.strike(rng, consumer, far)
                if loud:
                    print(f"\r{number + 1} faults, solves heard:", _number(consumer), end=" ")
            await storm.calm(consumer)
            numbers = [solve["turns"] for solve in consumer.solves.get(_DESK, [])]
            counted = Counter(numbers)
            return Outcome(
                [n for n in range(1, solves + 1) if n not in counted],
                [n for n, times in counted.items() if times > 1],
                numbers == sorted(numbers),
                consumer.repeated,
                storm.faults,
                time.perf_counter() - began,
            )
    finally:
        await storm.end()


def _number(consumer: Consumer) -> int:
    return len(consumer.solves.get(_DESK, []))


class _Storm:
    def __init__(self, broker: Broker, file: Path, solves: int, pace_s: float, loud: bool) -> None:
        self.near: Any = None
        self.faults: Counter[str] = Counter()
        self._broker = broker
        self._file = file
        self._solves = solves
        self._pace_s = pace_s
        self._loud = loud
        self._worker: asyncio.subprocess.Process | None = None

    async def work(self) -> None:
        """Keep a worker running."""
        if self._worker is not None and self._worker.returncode is None:
            return
        self._worker = await asyncio.create_subprocess_exec(
            *(sys.executable, __file__, "--worker", str(self.near.port), str(self._file)),
            *("--solves", str(self._solves), "--pace", str(self._pace_s)),
            stderr=None if self._loud else asyncio.subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )

    async def strike(self, rng: random.Random, consumer: Consumer, far: Wire) -> None:
        """One fault."""
        fault = rng.choice(("broker", "livecube", "cut", "cut at the consumer", "silence"))
        self.faults[fault] += 1
        match fault:
            case "broker":
                self._broker.kill()
                await asyncio.sleep(rng.uniform(0.0, 0.5))
                self._broker.start()
            case "livecube" if self._worker is not None and self._worker.returncode is None:
                self._worker.kill()
                await self._worker.wait()
            case "cut":
                self.near.cut()
            case "cut at the consumer":
                far.cut()
            case "silence":
                self.near.silent = True
                await asyncio.sleep(rng.uniform(0.0, 0.5))
                self.near.silent = False
                self.near.cut()

    async def calm(self, consumer: Consumer) -> None:
        """End the faults, and wait until everything has arrived."""
        end = time.monotonic() + self._solves * self._pace_s + _PATIENCE_S
        while time.monotonic() < end:
            await self.work()
            assert self._worker is not None
            await asyncio.wait_for(self._worker.wait(), end - time.monotonic())
            if _waits(self._file) and not self._is_heard(consumer):
                continue
            # The broker's messages are on their way; the consumer may be disconnected just now.
            with contextlib.suppress(TimeoutError):
                left = end - time.monotonic()
                await consumer.until(lambda: self._is_heard(consumer), limit_s=left)
            return

    def _is_heard(self, consumer: Consumer) -> bool:
        """Whether the consumer has every solve."""
        known = {solve["turns"] for solve in consumer.solves.get(_DESK, [])}
        return len(known) >= self._solves

    async def end(self) -> None:
        """Leave nothing running."""
        if self._worker is not None and self._worker.returncode is None:
            self._worker.kill()
            await self._worker.wait()
        self._broker.kill()


def _waits(file: Path) -> int:
    outbox = Outbox(file, print)
    try:
        return outbox.waiting
    finally:
        outbox.close()


def main() -> None:
    """One storm with its outcome; or the worker in it."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--solves", type=int, default=2000)
    arguments.add_argument("--faults", type=int, default=200)
    arguments.add_argument("--seed", type=int, default=0)
    arguments.add_argument("--pace", type=float, default=0.1, help="seconds for a solve")
    arguments.add_argument("--worker", nargs=2, metavar=("PORT", "FILE"))
    given = arguments.parse_args()
    if given.worker:
        port, file = given.worker
        asyncio.run(work(int(port), Path(file), given.solves, given.pace))
        return
    with tempfile.TemporaryDirectory() as folder:
        outcome = asyncio.run(
            run(Path(folder), given.seed, given.solves, given.faults, given.pace, loud=True)
        )
    print()
    print(outcome)
    sys.exit(bool(outcome.missing or outcome.twice or not outcome.in_order))


if __name__ == "__main__":
    main()
