"""A day of practice without a broker: waiting and dropped messages, and memory.

``python tests/checks/dashboard_day.py --solves 2880`` (one every half minute) prints the figures.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import uuid
from pathlib import Path

from dashboard_chaos import happenings

from livecube.composition.dashboard import time_now
from livecube.dashboard.messages import Cube, Messenger
from livecube.dashboard.outbox import Outbox

_DIFFERENT = 12


def _memory_mb() -> float:
    """Peak memory of this process."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    """Keep the messages of the solves, and print how many wait or were dropped."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--solves", type=int, default=2880)
    given = arguments.parse_args()
    different = happenings(3, _DIFFERENT)
    with tempfile.TemporaryDirectory() as folder:
        outbox = Outbox(Path(folder) / "outbox.sqlite", print)
        messenger = Messenger("d", Cube("c", "c"), time_now, lambda: str(uuid.uuid4()))
        outbox.add(messenger.begin())
        before = _memory_mb()
        for number in range(given.solves):
            for item in different[number % _DIFFERENT]:
                outbox.add(messenger.take(item))
        size = sum(file.stat().st_size for file in Path(folder).iterdir()) / 2**20
        details, others = outbox.dropped
        print(f"{given.solves} solves: {outbox.waiting} messages wait, {size:.0f} MB on disk;")
        print(f"dropped: {details} stages, {others} solves;")
        print(f"memory at the beginning {before:.0f} MB, at most {_memory_mb():.0f} MB")
        outbox.close()


if __name__ == "__main__":
    main()
