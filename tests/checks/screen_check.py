"""The live screen on a terminal, repeatedly: it must never end with an error.

``python tests/checks/screen_check.py --count 100`` follows that many virtual solves at speeds from
1 to 100 (evenly by their logarithm; the slow ones are cut short after some seconds, as by Ctrl-C)
and tells whether each ended in order, and whether a hint was drawn in its first solve. With
``--bare`` each begins with an empty cache, as on a machine that has never seen livecube.
"""

from __future__ import annotations

import argparse
import os
import pty
import random
import re
import select
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass

_CUT_S = 15.0
"""Longest seconds of drawing before a run is interrupted; it only has to draw."""
_HINT = re.compile(rb"\[(white|yellow|red|orange|green|blue) up, ")
_PREPARING = b"Hints are being prepared"


@dataclass(frozen=True, slots=True)
class Run:
    """The result of one run."""

    speed: float
    status: int
    hinted: bool
    frames: int
    """Times that the terminal was written to."""
    troubles: tuple[str, ...]


def run(seed: int, speed: float, cut_s: float, *, bare: bool = False) -> Run:
    """Follow one solve on a terminal of 80 columns and 34 lines; ``bare``: with an empty cache."""
    with tempfile.TemporaryDirectory() as folder:
        return _run(seed, speed, cut_s, {"LIVECUBE_CACHE": folder} if bare else {})


def _run(seed: int, speed: float, cut_s: float, environment: dict[str, str]) -> Run:
    ours, theirs = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "livecube", "live", "--simulated", "--seed", str(seed),
         "--speed", f"{speed:.2f}"],
        stdin=theirs, stdout=theirs, stderr=subprocess.PIPE, start_new_session=True,
        env={**os.environ, **environment, "COLUMNS": "80", "LINES": "34", "TERM": "xterm-256color"},
    )  # fmt: skip
    os.close(theirs)
    drawn, frames = bytearray(), 0
    began: float | None = None
    cut = False
    while True:
        if select.select([ours], [], [], 0.2)[0]:
            try:
                chunk = os.read(ours, 65536)
            except OSError:
                break
            if not chunk:
                break
            drawn += chunk
            frames += 1
        if began is None and _HINT.search(drawn):
            began = time.monotonic()
        if began is not None and not cut and time.monotonic() - began > cut_s:
            child.send_signal(signal.SIGINT)
            cut = True
    assert child.stderr is not None
    said = child.stderr.read().decode()
    child.stderr.close()
    status = child.wait(60)
    os.close(ours)
    troubles = [line for line in said.splitlines() if line.strip()]
    troubles += ["a traceback was drawn"] if b"Traceback" in drawn else []
    # A run that is just ending when it is interrupted may end in order, or by the signal.
    if status not in ({130, 0, -signal.SIGINT} if cut else {0}):
        troubles.append(f"exit status {status}")
    if _HINT.search(drawn) is None:
        troubles.append("no hint was drawn")
    return Run(speed, status, _HINT.search(drawn) is not None, frames, tuple(troubles))


def main() -> None:
    """Run them, print, and end with status 1 if one of them failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--slowest", type=float, default=1.0)
    parser.add_argument("--fastest", type=float, default=100.0)
    parser.add_argument("--cut", type=float, default=_CUT_S, help="seconds of a slow run")
    parser.add_argument("--bare", action="store_true", help="each with an empty cache")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    runs = []
    for number in range(asked.count):
        share = number / max(1, asked.count - 1)
        speed = asked.slowest * (asked.fastest / asked.slowest) ** share
        one = run(rng.randrange(10_000), speed, asked.cut, bare=asked.bare)
        runs.append(one)
        for trouble in one.troubles:
            print(f"run {number + 1}, speed {speed:.1f}: {trouble}", flush=True)
    wrong = sum(bool(one.troubles) for one in runs)
    hinted = sum(one.hinted for one in runs)
    print(
        f"{len(runs)} runs at speeds {asked.slowest:g} to {asked.fastest:g}, "
        f"{sum(one.frames for one in runs):,} writes to the terminal: "
        f"{wrong} failed, a hint was drawn in {hinted}"
    )
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
