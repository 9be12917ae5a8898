"""Changes the pure rooms in small ways and looks whether the tests of the room notice.

``python tests/checks/mutation_check.py --mutants 150`` draws so many mutants (``mutants.py`` says
which there are), runs each against the tests of its room in a copy of the tree, and prints those
that live. ``mutation_equivalent.toml`` lists mutants that do the same as the program, with the
reason; they are not drawn. The exit status is 1 if more than 8 % of at least fifty live: fewer are
too few to say.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from mutants import Mutant, mutants_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_HERE: Final = Path(__file__).resolve().parent
_ROOT: Final = _HERE.parent.parent
_EQUIVALENT: Final = _HERE / "mutation_equivalent.toml"
_COPIED: Final = ("livecube", "protocols", "tests", "fixtures")
_MOST_ALIVE: Final = 0.08
_ENOUGH: Final = 50
_LEAST_LIMIT_S: Final = 60.0
_SLOWER: Final = 5.0
"""A mutant may take so many times as long as the program; one that takes longer never ends."""

_TESTS: Final[dict[str, str]] = {
    "advice": "speaker plan advice saying explain inspection manner advice_rows",
    "clock": "clock turnwire",
    "clock_fit": "clock turnwire",
    "conformance": "conformance decoders_hostile",
    "cube": "cube notation facelets published_group",
    "dashboard": "dashboard outbox monthly",
    "decoding": "clock conformance profiles",
    "drills": "drill_rounds drills",
    "entries": "mqtt_commands",
    "events": "clock logs mending",
    "hands": "automaton advice",
    "holding": "holding acquaintance",
    "holding/written": "write",
    "learning": "learning",
    "logs": "logs logs_refused",
    "mending": "mending",
    "practice": "gestures practice",
    "profiles": "profiles profile_files",
    "review": "review again",
    "scrambling": "scrambles",
    "search": "techniques fastest plan published_cube finite_set",
    "solves": "history practice",
    "stages": "stages following mending golden",
    "techniques": "advice techniques explain",
    "timing": "timing",
    "trends": "trends monthly",
    "virtual": "virtual_solver stages",
    "virtual/profile_cube": "profiles learning",
}
"""The tests of each room, and of modules with tests elsewhere; the likeliest to notice first."""
_MADE_ONCE: Final = ("scrambling/", "search/")
"""Where the cache would give the program's tables to a mutant that builds others."""


@dataclass(frozen=True, slots=True)
class _Copy:
    """A tree that nobody changes, and what the program has kept in its cache."""

    tree: Path
    cache: Path
    folder: Path

    def run(self, room: str, limit_s: float, mutant: Mutant | None, at: int) -> str | None:
        """What the tests of a room say first; None if all pass."""
        own = self.folder / f"run-{at}"
        own.mkdir()
        try:
            return _pytest(self, own, room, limit_s, mutant)
        finally:
            shutil.rmtree(own, ignore_errors=True)


def _pytest(copy: _Copy, own: Path, room: str, limit_s: float, mutant: Mutant | None) -> str | None:
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(copy.tree / "tests/checks/mutated"), str(copy.tree)]),
        "PYTHONDONTWRITEBYTECODE": "1",
        "NUMBA_CACHE_DIR": str(copy.cache / "compiled"),
        "LIVECUBE_TESTS_CACHE": str(copy.cache),
        **{f"LIVECUBE_{name}": str(own / name) for name in ("STATE", "DATA", "CONFIG")},
    }
    if mutant is not None:
        file = copy.tree / mutant.file
        changed = own / "mutant.py"
        changed.write_text(mutant.source(file.read_text(encoding="utf-8")), encoding="utf-8")
        environment |= {
            "LIVECUBE_MUTANT_MODULE": mutant.file.removesuffix(".py").replace("/", "."),
            "LIVECUBE_MUTANT_FILE": str(file),
            "LIVECUBE_MUTANT_SOURCE": str(changed),
        }
        if mutant.file.removeprefix("livecube/").startswith(_MADE_ONCE):
            fresh = own / "cache"
            (fresh / "compiled").parent.mkdir(parents=True)
            environment["LIVECUBE_TESTS_CACHE"] = str(fresh)
    command = [sys.executable, "-m", "pytest", "-x", "-q", "--no-header", "--tb=line",
               "-p", "no:cacheprovider", f"--basetemp={own / 'tmp'}", "--hypothesis-seed=0",
               *(f"tests/test_{name}.py" for name in _TESTS[room].split())]  # fmt: skip
    process = subprocess.Popen(
        command, cwd=copy.tree, env=environment, text=True, start_new_session=True,
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        # In the background a shell has it ignored, and tests interrupt what they start.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    try:
        out, _ = process.communicate(timeout=limit_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        return "it took too long"
    if process.returncode == 0:
        return None
    failed = [line for line in out.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return failed[0] if failed else f"status {process.returncode}: {out[-300:]}"


def _all_mutants(rooms: Sequence[str]) -> Iterator[Mutant]:
    for room in rooms:
        if "/" in room:
            continue  # it comes with its room
        place = _ROOT / "livecube" / room
        files = sorted(place.glob("*.py")) if place.is_dir() else [place.with_suffix(".py")]
        for file in files:
            name = file.relative_to(_ROOT).as_posix()
            source = file.read_text(encoding="utf-8")
            yield from mutants_of(name, source)


def _compiles(mutant: Mutant) -> bool:
    source = mutant.source((_ROOT / mutant.file).read_text(encoding="utf-8"))
    try:
        compile(source, "mutant", "exec", dont_inherit=True)
    except SyntaxError:
        return False
    return True


def _room(mutant: Mutant) -> str:
    module = mutant.file.removeprefix("livecube/").removesuffix(".py")
    return module if module in _TESTS else module.split("/")[0]


def _copied(folder: Path) -> _Copy:
    tree, cache = folder / "tree", folder / "cache"
    tree.mkdir()
    for name in _COPIED:
        shutil.copytree(_ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
    for file in _ROOT.glob("*.*"):
        if file.is_file():
            shutil.copy2(file, tree)
    (tree / "livecube_protocols").symlink_to("protocols")
    cache.mkdir()
    return _Copy(tree, cache, folder)


def main() -> int:
    """Draw, run, tell."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--mutants", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=30.0, help="draw no more after so long")
    parser.add_argument("--rooms", nargs="*", choices=list(_TESTS), default=list(_TESTS))
    parser.add_argument("--only", help="mutants whose name holds this text")
    options = parser.parse_args()
    equal = {one["mutant"] for one in tomllib.loads(_EQUIVALENT.read_text("utf-8"))["same"]}
    mutants = list(_all_mutants(options.rooms))
    known = {mutant.name for mutant in mutants}
    for name in sorted(equal):
        if not any(name.startswith(f"livecube/{room}") for room in options.rooms):
            continue
        if name not in known:
            print(f"listed as equivalent, and there is no such mutant any more: {name}")
    wanted = [
        mutant
        for mutant in mutants
        if mutant.name not in equal and (not options.only or options.only in mutant.name)
    ]
    random.Random(options.seed).shuffle(wanted)
    drawn = list(islice(filter(_compiles, wanted), options.mutants))
    print(
        f"{len(mutants)} mutants, {len(equal)} listed as equivalent, {len(drawn)} drawn", flush=True
    )
    with tempfile.TemporaryDirectory() as folder:
        return _judge(_copied(Path(folder)), drawn, options.workers, options.minutes)


def _judge(copy: _Copy, drawn: list[Mutant], workers: int, minutes: float) -> int:
    begun = time.monotonic()
    limits = {}
    for room in sorted({_room(mutant) for mutant in drawn}):
        since = time.monotonic()
        # Compiling counts: the limit is wide, and a second run would cost as much as ten mutants.
        if (said := copy.run(room, 3600, None, -1)) is not None:
            print(f"the tests of {room} fail without any change: {said}")
            return 2
        took = time.monotonic() - since
        limits[room] = max(_LEAST_LIMIT_S, _SLOWER * took)
        print(f"{room}: {took:.1f} s", flush=True)
    alive: list[Mutant] = []
    tried = 0

    def judged(at: int) -> None:
        nonlocal tried
        if time.monotonic() - begun > 60 * minutes:
            return
        mutant = drawn[at]
        said = copy.run(_room(mutant), limits[_room(mutant)], mutant, at)
        tried += 1
        if said is None:
            alive.append(mutant)
        print(f"{'LIVES' if said is None else 'killed'}  line {mutant.line}  {mutant.name}"
              f"{'' if said is None else f'   by {said[:110]}'}", flush=True)  # fmt: skip

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(judged, range(len(drawn))))
    share = len(alive) / max(1, tried)
    print(f"{tried} tried in {time.monotonic() - begun:.0f} s, {len(alive)} live: {share:.1%}")
    for mutant in sorted(alive, key=lambda one: one.name):
        print(f"  {mutant.name}  (line {mutant.line})")
    return int((tried >= _ENOUGH and share > _MOST_ALIVE) or tried < len(drawn))


if __name__ == "__main__":
    sys.exit(main())
