"""The speed of a long history. Not part of the suite.

``python tests/checks/history_check.py --solves 100000 --logs 10000`` fills a history with reviewed
solves and times the commands of ``livecube history``, then imports the logs twice, the first time
interrupted by a kill.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from livecube.edges.log_files import LogWriter
from livecube.history.rows import insert_solve
from livecube.history.store import History
from livecube.logs.lines import Header
from livecube.solves.reading import solves_in
from livecube.solves.records import Chance, KeptSolve, Price, Wanted
from livecube.timing.results import Penalty
from livecube.virtual.session import session

FIRST = datetime(2020, 1, 1, tzinfo=UTC)
EACH_S = 1_800
_LOGS_A_SECOND = 1_250
"""Sets the time of the kill: ten thousand logs are read for eight seconds."""
SLOTS = ("green-red", "green-orange", "blue-red", "blue-orange")


def fill(history: History, count: int, seed: int = 1) -> None:
    """Solves like those of a virtual solver, each with other times, over some years."""
    rng = np.random.default_rng(seed)
    header = Header("2020-01-01T00:00:00Z", "simulation", "cube")
    models = [found.kept for found in solves_in(header, session(seed, min(60, count)).events())]
    with history.together():
        person = history.person("ada")
        for number in range(count):
            model = models[int(rng.integers(len(models)))]
            solve = _varied(model, number, float(rng.lognormal(0.0, 0.2)), rng.random() < 0.05)
            insert_solve(history._database, solve, person, None)
            history.note_chances(number + 1, _chances(rng), _prices(rng))
    for tag in ("calm", "competition"):
        history.tag([int(n) for n in rng.integers(1, count, 300)], tag)


def _chances(rng: np.random.Generator) -> list[Chance]:
    """As many as a review finds in most solves."""
    return [
        Chance(
            1 + int(rng.integers(4)),
            str(rng.choice(("plain", "keyhole-corner", "keyhole-edge", "made-pair"))),
            str(rng.choice(SLOTS)),
            bool(rng.random() < 0.4),
            int(rng.exponential(400)),
        )
        for _ in range(3)
    ]


def _prices(rng: np.random.Generator) -> list[Price]:
    """Before each pair of a solve, for some techniques."""
    return [
        Price(pair, technique, int(rng.exponential(500)), bool(rng.random() < 0.3))
        for pair in range(1, 5)
        for technique in ("plain", "keyhole-corner", "keyhole-edge")
    ]


def _varied(model: KeptSolve, number: int, pace: float, has_penalty: bool) -> KeptSolve:
    moment = (FIRST + timedelta(seconds=EACH_S * number)).strftime("%Y-%m-%dT%H:%M:%SZ")
    listed = replace(
        model.listed,
        identity=f"{number:032d}",
        started=moment,
        ms=round(model.listed.ms * pace),
        measured=(Penalty("+2", "inspection"),) if has_penalty else (),
    )
    stages = tuple(replace(stage, ms=round(stage.ms * pace)) for stage in model.stages)
    return KeptSolve(listed, stages, f"solves/{number}.jsonl")


def timed(folder: Path, *arguments: str) -> float:
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "livecube", *arguments],
        env={**os.environ, "LIVECUBE_DATA": str(folder)}, check=True, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    return time.perf_counter() - began


def long_history(folder: Path, count: int, most: int | None) -> None:
    began = time.perf_counter()
    with History(folder) as history:
        fill(history, count)
        print(f"{count} solves inserted in {time.perf_counter() - began:.1f} s")
        began = time.perf_counter()
        found = history.list(Wanted())
        print(f"all {len(found)} as values {time.perf_counter() - began:6.2f} s")
    questions = (
        ("history",),
        ("history", "--last", "1000"),
        ("history", "--since", "2000"),
        ("history", "--technique", "keyhole-corner"),
        ("history", "--tag", "calm"),
        ("history", "--cross", "red", "--person", "ada"),
        ("history", "show", str(min(777, count))),
        ("trends",),
        ("trends", "--focus", "keyhole"),
        ("report", str(folder / "page.html")),
    )
    for command in questions[:most]:
        print(f"{' '.join(command):<48}{timed(folder, *command):6.2f} s")


def many_logs(folder: Path, count: int, imports: int) -> None:
    logs = folder / "logs"
    logs.mkdir()
    solves = 0
    for number in range(count):
        done = session(number, 1, on_cube=number % 2 == 0)
        scramble = None
        if done.scramble:
            from livecube.cube.position import turns_text

            scramble = turns_text(done.scramble)
        header = Header("2026-03-01T18:20:00Z", "simulation", "cube", scramble)
        with LogWriter(logs / f"{number}.jsonl", header) as writer:
            for event in done.events(marks=number % 3 == 0):
                writer.write(event)
        solves += done.solves[0].solved
    print(f"{count} logs written, with {solves} finished solves")
    data = folder / "imported"
    command = [sys.executable, "-m", "livecube", "history", "import", str(logs)]
    environment = {**os.environ, "LIVECUBE_DATA": str(data)}
    process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
    alive_s = count / _LOGS_A_SECOND
    time.sleep(alive_s)
    process.send_signal(signal.SIGKILL)
    process.wait()
    with History(data) as history:
        print(f"killed after {alive_s:.0f} s with {len(history.list(Wanted()))} solves kept")
    for _ in range(imports):
        print(f"import {timed(data, 'history', 'import', str(logs)):6.1f} s")
        with History(data) as history:
            kept = history.list(Wanted())
            print(f"kept {len(kept)}, different {len({one.identity for one in kept})}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--solves", type=int, default=100_000)
    parser.add_argument("--logs", type=int, default=10_000)
    parser.add_argument("--questions", type=int, help="only this many questions")
    parser.add_argument("--imports", type=int, default=2, help="after the one that is killed")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        long_history(Path(folder) / "long", arguments.solves, arguments.questions)
        many_logs(Path(folder), arguments.logs, arguments.imports)


if __name__ == "__main__":
    main()
