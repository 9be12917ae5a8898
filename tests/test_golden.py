"""Golden files of the whole pipeline: the exact output of a replay of each fixture.

``python tests/test_golden.py`` rewrites them; read the difference before you commit it.
"""

from __future__ import annotations

import asyncio
import io
import json
import time
from pathlib import Path

import pytest

from livecube.composition.following import Hub, follow_log
from livecube.composition.items import item_json
from livecube.composition.pipeline import Pipeline
from livecube.edges.log_files import LogReader
from livecube.edges.sinks import JsonSink
from livecube.stages.tracker import Tracker

FIXTURES = Path(__file__).parent.parent / "fixtures"
# Captures hold only packets; tests of profiles decode them.
LOGS = sorted(
    p for p in FIXTURES.glob("*.jsonl") if not p.name.endswith((".golden.jsonl", ".capture.jsonl"))
)


def replayed(log: Path) -> str:
    out = io.StringIO()

    async def run() -> None:
        with LogReader(log) as reader:
            pipeline = Pipeline(Tracker(reader.header.position), time.perf_counter)
            async with Hub([JsonSink(out, item_json)]) as hub:
                await follow_log(reader, pipeline, hub, None, time.monotonic)

    asyncio.run(run())
    # Turns are in the log already; the golden file holds everything that follows from them.
    kept = [line for line in out.getvalue().splitlines() if json.loads(line)["event"] != "turn"]
    return "\n".join(kept) + "\n"


def golden(log: Path) -> Path:
    return log.with_suffix(".golden.jsonl")


@pytest.mark.parametrize("log", LOGS, ids=lambda p: p.stem)
def test_replay_prints_what_it_printed(log: Path) -> None:
    assert replayed(log) == golden(log).read_text(encoding="utf-8")


def test_there_are_fixtures() -> None:
    assert len(LOGS) >= 3


if __name__ == "__main__":
    for fixture in LOGS:
        golden(fixture).write_text(replayed(fixture), encoding="utf-8")
