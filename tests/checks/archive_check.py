"""An archive made by many workers: its speed, its files, what kills do to it. Not in the suite.

``python tests/checks/archive_check.py --solves 2000`` reviews virtual solves with one worker and
with two, and compares all files. ``--kills 50`` then kills workers at random while two work, and
``--scheduler`` a scheduler of its own, once; the files must be the same again. ``--rows 1000000``
draws a data set of so many solves at random and times ``livecube trends`` and its memory.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import psutil
import pyarrow as pa

from livecube.archive.folder import Making, write_making, write_parts
from livecube.archive.schema import TABLES
from livecube.edges.log_files import LogWriter
from livecube.logs.lines import Header
from livecube.virtual.session import session

EACH = 5
"""Solves in a log."""
PEOPLE = ("ada", "bo", "cy")
SLOTS = ("green-red", "green-orange", "blue-red", "blue-orange")


def write_logs(folder: Path, solves: int, seed: int) -> None:
    """Logs of virtual solves, two a day, of three people."""
    for number in range(0, solves, EACH):
        started = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(hours=6 * number / EACH)
        path = folder / PEOPLE[number // EACH % len(PEOPLE)] / f"{number}.jsonl"
        path.parent.mkdir(parents=True, exist_ok=True)
        with LogWriter(path, Header(started.isoformat(), "virtual", "cube")) as writer:
            for event in session(seed + number, min(EACH, solves - number)).events():
                writer.write(event)


def begun(logs: Path, to: Path, *options: str) -> subprocess.Popen[str]:
    """A review under way."""
    command = ["archive", "review", str(logs), "--by-folder", "--to", str(to), *options]
    return subprocess.Popen(
        [sys.executable, "-m", "livecube", *command], stdout=subprocess.PIPE, text=True
    )


def review(logs: Path, to: Path, *options: str) -> float:
    """Review all logs; returns the seconds."""
    start = time.perf_counter()
    process = begun(logs, to, *options)
    said, _ = process.communicate()
    if process.returncode:
        sys.exit(f"the review ended with status {process.returncode}: {said}")
    return time.perf_counter() - start


def content(folder: Path) -> dict[str, bytes]:
    """All files of a data set."""
    files = [path for path in folder.rglob("*") if path.is_file()]
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(files)}


def workers_of(process: psutil.Process) -> list[psutil.Process]:
    """The workers below a process: those that Dask has started by spawning."""
    below = process.children(recursive=True)
    return [one for one in below if "spawn_main" in " ".join(_command(one))]


def _command(process: psutil.Process) -> list[str]:
    with suppress(psutil.Error):
        return list(process.cmdline())
    return []


def review_and_kill(logs: Path, to: Path, kills: int, every_s: float, seed: int) -> int:
    """Kill workers at random until the review has ended; returns how many were killed."""
    rng, killed = random.Random(seed), 0
    process = begun(logs, to, "--workers", "2")
    while process.poll() is None:
        time.sleep(every_s * rng.uniform(0.5, 1.5))
        with suppress(psutil.Error):
            its = workers_of(psutil.Process(process.pid))
            if its and killed < kills:
                rng.choice(its).kill()
                killed += 1
    if process.returncode:
        sys.exit(f"the review with kills ended with status {process.returncode}")
    return killed


def review_and_lose_the_scheduler(logs: Path, to: Path, after_s: float) -> None:
    """Review by a scheduler that is killed once; then again by another one."""
    for kills in (True, False):
        with tempfile.TemporaryDirectory() as folder:
            said = Path(folder) / "scheduler.json"
            scheduler = subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
                 "--port", "0", "--no-dashboard", "--scheduler-file", str(said)],
                stderr=subprocess.DEVNULL,
            )  # fmt: skip
            while not said.exists():
                time.sleep(0.1)
            worker = subprocess.Popen(
                [sys.executable, "-m", "distributed.cli.dask_worker", "--scheduler-file", str(said),
                 "--nworkers", "2", "--nthreads", "1", "--no-dashboard", "--death-timeout", "5"],
                stderr=subprocess.DEVNULL, cwd=folder,
            )  # fmt: skip
            address = said.read_text().split('"address": "')[1].split('"')[0]
            time.sleep(4)
            process = begun(logs, to, "--scheduler", address)
            try:
                if kills:
                    with suppress(subprocess.TimeoutExpired):
                        process.wait(after_s)
                    scheduler.kill()
                which = "a killed" if kills else "another"
                print(f"  with {which} scheduler: status {process.wait()}")
            finally:
                for one in (scheduler, worker):
                    one.terminate()
                    one.wait()


def draw(folder: Path, rows: int, seed: int) -> None:
    """A data set whose review columns are drawn at random: 50 people, five years."""
    rng, each = np.random.default_rng(seed), max(1, rows // (50 * 60))
    for place, first in enumerate(range(0, rows, each)):
        month = np.datetime64("2020-01", "M") + place % 60
        where = {"person": f"person {place // 60}", "month": str(month)}
        drawn = _drawn(rng, np.arange(first, min(first + each, rows)), month)
        tables = {name: _table(name, drawn.get(name, {"solve": ()}), where) for name in TABLES}
        write_parts(folder, tables)
    write_making(folder, Making("calm", "drawn", "drawn"))


def _drawn(
    rng: np.random.Generator, solve: npt.NDArray[np.int64], month: np.datetime64
) -> dict[str, dict[str, Any]]:
    """Some columns of some tables: solves of a month, a chance of three techniques in each pair."""
    size = len(solve)
    start = np.sort(month.astype("datetime64[s]") + rng.integers(28 * 86_400, size=size))
    ms = rng.normal(15_000, 2_000, size).astype(np.int64)
    solves = {
        "solve": solve, "identity": solve.astype(str), "started": start,
        "session": start.astype("datetime64[D]").astype(str), "cross": "white", "ms": ms,
        "plus": 0, "is_dnf": False, "turns": 60, "solved": True, "gap": False, "cross_ms": 1500,
        "pairs_ms": ms - 6500, "orient_ms": 2000, "permute_ms": 3000, "pause_ms": 4000,
        "whole": True,
    }  # fmt: skip
    saved_ms = rng.integers(900, size=4 * size)
    pairs = {
        "solve": np.repeat(solve, 4), "stage": np.tile(np.arange(1, 5), size),
        "technique": rng.choice(["plain", "keyhole-corner", "keyhole-edge"], 4 * size),
        "taken": rng.integers(2, size=4 * size).astype(bool), "saved_ms": saved_ms,
        "price_ms": saved_ms, "slot": np.tile(SLOTS, size),
    }  # fmt: skip
    return {"solves": solves, "chances": pairs, "prices": pairs}


def _table(name: str, columns: dict[str, Any], where: dict[str, str]) -> pa.Table:
    size, arrays = len(columns["solve"]), []
    for field in TABLES[name]:
        given = columns.get(field.name)
        if given is None:
            arrays.append(pa.nulls(size, field.type))
        else:
            arrays.append(pa.array(np.full(size, given)).cast(field.type))
    table = pa.Table.from_arrays(arrays, schema=TABLES[name])
    for column, text in where.items() if name == "solves" else ():
        table = table.append_column(column, pa.array([text] * size, pa.string()))
    return table


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solves", type=int, default=500)
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--every", type=float, default=2.0, help="seconds between kills")
    parser.add_argument("--scheduler", type=float, default=0, help="kill one after these seconds")
    parser.add_argument("--rows", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_logs(folder / "logs", asked.solves, asked.seed)
        took: dict[int, float] = {}
        first = None
        for workers in asked.workers:
            to = folder / f"by {workers}"
            took[workers] = review(folder / "logs", to, "--workers", str(workers))
            print(f"{asked.solves} solves, {workers} workers: {took[workers]:.1f} s", flush=True)
            first = first or content(to)
            print(f"  the same files: {content(to) == first}")
        if len(took) > 1:
            print(f"  {max(took.values()) / min(took.values()):.2f} times the work")
        if asked.kills:
            killed = review_and_kill(
                folder / "logs", folder / "killed", asked.kills, asked.every, asked.seed
            )
            print(f"{killed} workers killed; the same files: {content(folder / 'killed') == first}")
        if asked.scheduler:
            review_and_lose_the_scheduler(folder / "logs", folder / "lost", asked.scheduler)
            print(f"  the same files: {content(folder / 'lost') == first}")
        if asked.rows:
            draw(folder / "drawn", asked.rows, asked.seed)
            time_trends(folder / "drawn", asked.rows)


def time_trends(folder: Path, rows: int) -> None:
    """Time ``livecube trends`` with a data set, and its memory."""
    command = ["trends", "--archive", str(folder), "--person", "any", "--focus", "keyhole-corner"]
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "livecube", *command], stdout=subprocess.DEVNULL
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    took = time.perf_counter() - start
    print(
        f"trends of {rows} solves: status {process.returncode}, {took:.1f} s, "
        f"{used.ru_utime + used.ru_stime:.1f} s of processor time, {used.ru_maxrss / 1024:.0f} MB"
    )


if __name__ == "__main__":
    main()
