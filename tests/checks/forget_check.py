"""Is anybody ever half forgotten? The deletion of a person is killed at random moments.

``python tests/checks/forget_check.py --kills 60`` forgets a person with many solves 60 times, and
kills each deletion (SIGKILL). Afterwards the person must be there with all solves, and can be
forgotten again, or be gone. Then nothing of them may be left in any file, and another person has
lost nothing.
"""

from __future__ import annotations

import argparse
import random
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from livecube.edges.log_files import LogWriter
from livecube.history.forgetting import forget_person
from livecube.history.importing import import_log
from livecube.history.people import HABITS, HANDS, People
from livecube.history.store import History
from livecube.lessons.keeping import LessonBook
from livecube.lessons.news import StepDone
from livecube.logs.lines import Header
from livecube.solves.records import Wanted
from livecube.virtual.session import session

LONGEST_S: Final = 0.06
NAME: Final = "Quillon"
"""It stands in no other bytes of a history."""
OTHER: Final = "Bo"
FORGET: Final = """
import sys
from pathlib import Path
from livecube.history.forgetting import forget_person
from livecube.history.store import History
with History(Path(sys.argv[1])) as history:
    print("now", flush=True)
    forget_person(history, sys.argv[2])
"""


@dataclass
class Account:
    there: int = 0
    """How often the person was still there, with all solves."""
    part: int = 0
    """How often of these some logs had gone already."""
    gone: int = 0


def made(folder: Path, solves: int) -> None:
    """A history of two people."""
    with History(folder) as history:
        for name, seed, count in ((NAME, 3, solves), (OTHER, 4, 5)):
            log = folder.parent / f"{name}.jsonl"
            with LogWriter(log, Header("2026-03-01T18:20:00Z", "simulation", "cube")) as writer:
                for event in session(seed, count).events():
                    writer.write(event)
            history.take = lambda _, whose=name: f'"{whose}"'
            import_log(history, log, name)
        for name in (NAME, OTHER):
            book = LessonBook.of(history, name)
            book.take(name, f'"{name}"')
            book.keep_step(name, StepDone(0.0, 1, "try", True, 1, 1), "2026-03-01T18:20:00Z")
            book.keep_stop(name, 2, 3)
        People(history).note_learned(NAME, HABITS, "x" * 200_000, solves)
        People(history).note_learned(NAME, HANDS, f'"{NAME}"', solves)


def killed(folder: Path, after_s: float) -> None:
    """Begin to forget, and kill that."""
    command = [sys.executable, "-c", FORGET, str(folder), NAME]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(after_s)
        process.kill()


def look(folder: Path, account: Account) -> None:
    """What is there now, and after it is done once more."""
    with History(folder) as history:
        assert history.database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert not history.database.execute("PRAGMA foreign_key_check").fetchall()
        theirs = history.list(Wanted(person=NAME))
        if NAME in history.people():
            logs = [(folder / history.solve(one.number).log).exists() for one in theirs]
            account.there += 1
            account.part += not all(logs)
            assert forget_person(history, NAME).solves == len(theirs) > 0
        else:
            account.gone += 1
            assert not theirs
        kept = history.solves(Wanted())
        assert {one.listed.person for one in kept} == {OTHER}
        book = LessonBook.of(history, OTHER)
        assert (book.tasks(), book.stops()) == ([f'"{OTHER}"'], {OTHER: (2, 3)})
        assert {*folder.glob("solves/*/*")} == {folder / one.log for one in kept}
    for path in folder.rglob("*"):
        assert not path.is_file() or NAME.encode() not in path.read_bytes(), path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=60)
    parser.add_argument("--solves", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    rng, account = random.Random(asked.seed), Account()
    with tempfile.TemporaryDirectory() as name:
        made(Path(name) / "whole", asked.solves)
        for _ in range(asked.kills):
            folder = Path(name) / "now"
            shutil.copytree(Path(name) / "whole", folder)
            killed(folder, rng.random() * LONGEST_S)
            look(folder, account)
            shutil.rmtree(folder)
    print(
        f"{asked.kills} kills: still there {account.there} times (some logs gone: {account.part}), "
        f"gone {account.gone} times; nothing was left of them, nothing of others was lost"
    )


if __name__ == "__main__":
    main()
