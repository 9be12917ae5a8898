"""Is a finished solve ever lost? Practice is killed at random moments. Not part of the suite.

``python tests/checks/kill_check.py --kills 500`` starts practice with a virtual solver 500 times
and kills each at a random moment (SIGKILL). After each it checks that every solve with a shown
result is in the history when the next start has recovered the rest.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from livecube.history.importing import recover
from livecube.history.store import DATABASE, History
from livecube.solves.records import Wanted

LONGEST_S = 6.0
SPEED = "150"


@dataclass
class Account:
    kills: int = 0
    told: int = 0
    """Results that practice showed before it was killed."""
    recovered: int = 0
    """Solves that the next start found and reported."""
    set_aside: int = 0
    """Attempts that were under way."""
    lost: int = 0


def run(folder: Path, kills: int, seed: int, processes: int = 2) -> Account:
    rng = random.Random(seed)
    account = Account()
    while account.kills < kills:
        several = [
            _start(folder / str(number), rng.randrange(10**6)) for number in range(processes)
        ]
        for number, (process, told) in enumerate(several):
            _kill_at(process, told, rng)
            _look(folder / str(number), told, account)
        account.kills += processes
    return account


def _start(folder: Path, seed: int) -> tuple[subprocess.Popen[bytes], Path]:
    folder.mkdir(parents=True, exist_ok=True)
    told = folder / "told.jsonl"
    with told.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "livecube", "practice", "--simulated", "--no-hints", "--json",
             "--seed", str(seed), "--speed", SPEED, "--solves", "1000", "--person", "ada"],
            stdout=out, stderr=subprocess.DEVNULL,
            env={**os.environ, "LIVECUBE_DATA": str(folder / "data")},
        )  # fmt: skip
    return process, told


def _kill_at(process: subprocess.Popen[bytes], told: Path, rng: random.Random) -> None:
    """Kill at any moment after the start; half of the kills come only after practice has begun."""
    began = time.monotonic()
    if rng.random() < 0.5:
        while not told.stat().st_size and time.monotonic() < began + LONGEST_S:
            time.sleep(0.005)
    time.sleep(rng.uniform(0, LONGEST_S / 2))
    process.send_signal(signal.SIGKILL)
    process.wait()


def _look(folder: Path, told: Path, account: Account) -> None:
    results = [one for one in _objects(told) if one["event"] == "result"]
    with History(folder / "data") as history:
        found = recover(history)
        # By number, since at this speed the clocks of several starts overlap.
        every = sorted(history.list(Wanted()), key=lambda one: one.number)
        kept = [one.ms for one in every]
        before = _before(folder)

        latest = kept[before:]
        account.lost += max(0, len(results) - len(latest))
        account.lost += sum(result["ms"] != ms for result, ms in zip(results, latest, strict=False))
        (folder / "seen").write_text(str(len(kept)))
    _check_database(folder / "data" / DATABASE)
    account.told += len(results)
    account.recovered += len(found.solves)
    account.set_aside += len(found.unfinished)


def _before(folder: Path) -> int:
    seen = folder / "seen"
    return int(seen.read_text()) if seen.exists() else 0


def _objects(told: Path) -> list[dict[str, Any]]:
    lines = told.read_text(encoding="utf-8").splitlines()
    whole = []
    for line in lines:
        try:
            whole.append(json.loads(line))
        except ValueError:  # cut off by the kill
            break
    return whole


def _check_database(path: Path) -> None:
    database = sqlite3.connect(path)
    try:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    finally:
        database.close()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--seed", type=int, default=2026)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        account = run(Path(folder), arguments.kills, arguments.seed)
    print(account)
    sys.exit(account.lost > 0)


if __name__ == "__main__":
    main()
