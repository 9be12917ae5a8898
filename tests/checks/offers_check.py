"""Hostile offers at a student's desk: what they cost its turns, and that they change nothing.

``python tests/checks/offers_check.py --turns 3000`` prints the figures. A real broker without an
access list lets another process offer whatever it likes: too large, without form, with escapes,
and whole offers, 1,000 a second. Turns come at a steady rate, as in ``dashboard_turns.py``. The
same messages for another desk show what the broker and the other process cost this machine anyway.
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import os
import random
import secrets
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

import beside  # noqa: F401 - before helpers are imported
import aiomqtt
import numpy as np
from broker import Broker
from dashboard_turns import BLOCK, block, turns

from livecube.composition.following import SWITCH_S
from livecube.dashboard.offers import MOST_BYTES, offers_topic
from livecube.history.folder import data_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.dashboard.offers import Offer

_RATE = 1000.0
_AT_ONCE = 20
_CONDITIONS = ("quiet", "for another desk", "for this desk")
_DESKS = dict(zip(_CONDITIONS, (None, "another", "bench"), strict=True))


def _hostile() -> Iterator[bytes]:
    """Offers without end: every second one is as it should be; garbage, escapes, too much."""
    rng = random.Random(1)
    for number in itertools.count():
        parts = [{"codes": ["3KYP-SG2S-WBJX-U8TB"] * rng.choice((3, 50))}] * 20
        whole = [{"codes": ["3KYP-SG2S-WBJX-U8TB"] * 3}] * 20
        task: dict[str, object] = {
            "livecube_task": 1,
            "task": f"{number:016x}",
            "title": rng.choice(("Good", "Better", "\x1b[2J\x1b]0;x\x07", "a\nb", "x" * 5000)),
            "given": "2026-05-25T17:00:00Z",
            "by": None,
            "parts": rng.choice((parts, parts, [{"lesson": "x", "text": "\x1b" * 9000}], {}, None)),
        }
        if number % 2 == 0:
            task |= {"title": "Good", "parts": whole}
        body = json.dumps({"livecube_offer": 1, "id": "x", "at": "", "task": task}).encode()
        if number % 2 == 0:
            yield body
        else:
            yield rng.choice((body, body[:-3], b"\xff" * 900, b"[" * 9000, b" " * MOST_BYTES))


async def _flood(port: int, desk: str) -> None:
    """Offer without end, 1,000 times a second."""
    topic, offers = offers_topic("livecube", "bo", desk), _hostile()
    made = [next(offers) for _ in range(500)]
    async with aiomqtt.Client("127.0.0.1", port) as client:
        began = time.monotonic()
        for number in itertools.count():
            if number % _AT_ONCE == 0:
                await asyncio.sleep(max(0.0, began + number / _RATE - time.monotonic()))
            await client.publish(topic, made[number % len(made)])


def main() -> None:
    """Measure and print; or be the process that offers."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--turns", type=int, default=3000, help="for each condition")
    arguments.add_argument("--flood", nargs=2)
    given = arguments.parse_args()
    if given.flood:
        asyncio.run(_flood(int(given.flood[0]), given.flood[1]))
        return
    events, position = turns(given.turns)
    sys.setswitchinterval(SWITCH_S)
    ways: dict[str, list[float]] = {name: [] for name in _CONDITIONS}
    heard: list[Offer] = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        broker = Broker(folder / "broker").start()
        data = {"LIVECUBE_DATA": str(folder / "data")}
        try:
            for number in range(max(1, given.turns // BLOCK)):
                for name in _CONDITIONS[number % 3 :] + _CONDITIONS[: number % 3]:
                    with patch.dict(os.environ, data), _offering(broker.port, _DESKS[name]):
                        file = folder / f"{secrets.token_hex(4)}.sqlite"
                        work = block(events, position, broker.port, file, "bo", heard.append)
                        ways[name] += asyncio.run(work)[0]
                        assert not data_folder().exists(), "something was kept"
        finally:
            broker.stop()
    most = 5 * max(1, given.turns // BLOCK)
    assert len(heard) <= most, f"{len(heard)} offers were heard, more than {most}"
    assert heard, "no whole offer was heard"
    assert all(one.sentence.isprintable() for one in heard)
    print("in ms              mean    p50    p99")
    for name in _CONDITIONS:
        half, late = np.percentile(ways[name], [50, 99])
        print(f"{name:16} {np.mean(ways[name]):6.3f} {half:6.3f} {late:6.3f}")
    there, here = (ways[name] for name in _CONDITIONS[1:])
    slower = 100 * (np.mean(here) / np.mean(there) - 1)
    print(
        f"{len(here)} turns each; hostile offers for this desk slow them by {slower:.1f} % on"
        f" average ({100 * (np.median(here) / np.median(there) - 1):.1f} % at the median);"
        f" {len(heard)} offers were heard"
    )


class _offering:  # noqa: N801 - a context
    """Another process offers while this context lasts; ``desk``: None: nobody does."""

    def __init__(self, port: int, desk: str | None) -> None:
        self._command = [sys.executable, __file__, "--flood", str(port), str(desk)]
        self._process: subprocess.Popen[bytes] | None = None
        self._is_wanted = desk is not None

    def __enter__(self) -> None:
        if self._is_wanted:
            environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
            self._process = subprocess.Popen(self._command, env=environment)

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()


if __name__ == "__main__":
    main()
