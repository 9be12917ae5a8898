"""Many desks at once on one broker: the delay of a message from the turn to a listener.

``python tests/checks/dashboard_load.py --desks 500 --seconds 60`` prints the figures. Each desk
has the program's own parts after the pipeline: sink, outbox on disk, connection. A virtual solver
at ordinary speed makes one solve after another. The listener is that of ``livecube mqtt listen``.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import beside  # noqa: F401 - before helpers are imported
import numpy as np
from broker import Broker
from dashboard_chaos import happenings

from livecube.composition.dashboard import Dashboard
from livecube.dashboard.broker import Access
from livecube.dashboard.messages import Cube
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.sending import Plan
from livecube.dashboard.settings import parse_address
from livecube.dashboard.sink import DashboardSink
from livecube.dashboard.tools import listen_to_desks
from livecube.dashboard.topics import SOLVE, STAGE

if TYPE_CHECKING:
    from livecube.dashboard.desks import Arrived, Desks
    from livecube.stages.progress import Progress

__all__ = ["Figures", "measure"]

_PROCESSES = 4
_DIFFERENT = 6
_REST_S = 5.0
_SETTLING_S = 4.0
"""Seconds after the last desk has connected for which delays are not counted."""


async def _work(port: int, folder: Path, first: int, desks: int, end: float) -> None:
    """Run ``desks`` desks in this process until the system's monotonic clock shows ``end``."""
    different = happenings(2, _DIFFERENT)
    desks_at_work = [_desk(port, folder, first + n, different, end) for n in range(desks)]
    await asyncio.gather(*desks_at_work)


async def _desk(
    port: int, folder: Path, number: int, different: list[list[Progress]], end: float
) -> None:
    rng = random.Random(number)
    plan = Plan(Access(parse_address(f"mqtt://127.0.0.1:{port}")), f"desk {number}", "off")
    outbox = Outbox(folder / f"{number}.sqlite", print)
    cube = Cube(f"cube-{number}", "virtual")
    await asyncio.sleep(rng.uniform(0, 5))  # not all connect at the same moment
    dashboard = Dashboard(plan, outbox, cube, repr, print)
    dashboard.start()
    sink = DashboardSink(dashboard)
    await asyncio.sleep(rng.uniform(0, 10))
    while time.monotonic() < end:
        items = rng.choice(different)
        began = time.monotonic() - items[0].t
        for item in items:
            await asyncio.sleep(max(0.0, began + item.t - time.monotonic()))
            if time.monotonic() >= end:
                break
            await sink.take(replace(item, t=time.monotonic()))
        await asyncio.sleep(rng.uniform(0.5, 1.5) * _REST_S)
    await sink.close()


@dataclass(frozen=True)
class Figures:
    """The measured figures."""

    desks: int
    messages: int
    """Stages and solves that were counted."""
    a_second: float
    """All messages that the listener heard."""
    median_ms: float
    p99_ms: float
    most_ms: float


async def measure(folder: Path, desks: int, seconds: float, processes: int) -> Figures:
    """Let them work, and listen."""
    broker = Broker(folder / "broker").start()
    delays: list[float] = []
    heard = 0
    start = time.monotonic() + 15 + _SETTLING_S
    end = start + seconds

    def hear(_: Desks, arrived: Arrived | None) -> None:
        nonlocal heard
        now = time.monotonic()
        if arrived is not None and start < now < end:
            heard += 1
            if arrived.name in (STAGE, SOLVE):
                delays.append(now - float(arrived.body["at"]))

    plan = Plan(Access(parse_address(broker.url)), "listener")
    listening = asyncio.create_task(listen_to_desks(plan, hear, print))
    workers = _workers(broker.port, folder, desks, end, processes)
    try:
        await asyncio.sleep(end - time.monotonic())
    finally:
        listening.cancel()
        for worker in workers:
            await asyncio.to_thread(worker.wait, 60)
        broker.stop()
    median, p99, most = (float(v) * 1000 for v in np.percentile(delays, [50, 99, 100]))
    return Figures(desks, len(delays), heard / seconds, median, p99, most)


def _workers(
    port: int, folder: Path, desks: int, end: float, processes: int
) -> list[subprocess.Popen[bytes]]:
    shares = [desks // processes + (n < desks % processes) for n in range(processes)]
    return [
        subprocess.Popen(
            [sys.executable, __file__, "--worker", str(port), str(folder),
             str(sum(shares[:n])), str(share), str(end)],
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )
        for n, share in enumerate(shares)
        if share
    ]  # fmt: skip


def main() -> None:
    """Measure and print; or be one of the processes with desks."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--desks", type=int, default=500)
    arguments.add_argument("--seconds", type=float, default=60.0)
    arguments.add_argument("--processes", type=int, default=_PROCESSES)
    arguments.add_argument("--worker", nargs=5)
    given = arguments.parse_args()
    if given.worker:
        port, folder, first, desks, end = given.worker
        asyncio.run(_work(int(port), Path(folder), int(first), int(desks), float(end)))
        return
    with tempfile.TemporaryDirectory() as place:
        print(asyncio.run(measure(Path(place), given.desks, given.seconds, given.processes)))


if __name__ == "__main__":
    main()
