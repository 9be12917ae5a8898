"""Changes the pure rooms in small ways and checks that the tests of the room notice.

``python tests/checks/mutation_check.py --mutants 150`` draws 150 mutants (see ``mutants.py``), runs
each against the tests of its room in a copy of the tree, and prints those that survive. First the
tests of each room run once, which shows the blocks of code that each of them runs. A mutant is
tried with the tests that run the changed block, quick ones first.

``mutation_equivalent.toml`` lists mutants that do the same as the program, with the reason; they
are not drawn. The exit status is 1 if more than 8 % of at least fifty survive; fewer than fifty
prove nothing.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from mutant_tests import TESTS, TOO_LONG, Copy, Observed, chosen
from mutants import Mutant, mutants_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_HERE: Final = Path(__file__).resolve().parent
_ROOT: Final = _HERE.parent.parent
_EQUIVALENT: Final = _HERE / "mutation_equivalent.toml"
_COPIED: Final = ("livecube", "protocols", "tests", "fixtures")
_MOST_ALIVE: Final = 0.08
_ENOUGH: Final = 50


def _pure() -> set[str]:
    """Rooms and modules that are pure: what stands below ``views`` in the contract of imports."""
    linter = tomllib.loads((_ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]
    layers: list[str] = linter["contracts"][0]["layers"]
    below = layers[layers.index("views") + 1 :]
    return {name.replace(".", "/") for layer in below for name in layer.split() if name not in ":|"}


def _all_mutants(rooms: Sequence[str]) -> Iterator[Mutant]:
    pure = _pure()
    for room in rooms:
        if "/" in room:
            continue  # it belongs to its room
        place = _ROOT / "livecube" / room
        files = sorted(place.glob("*.py")) if place.is_dir() else [place.with_suffix(".py")]
        for file in files:
            if not {room, f"{room}/{file.stem}"} & pure:
                continue  # an edge or a screen of a feature: it is tested with whole commands
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
    return module if module in TESTS else module.split("/")[0]


def _copied(folder: Path) -> Copy:
    tree, cache = folder / "tree", folder / "cache"
    tree.mkdir()
    for name in _COPIED:
        shutil.copytree(_ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
    for file in _ROOT.glob("*.*"):
        if file.is_file():
            shutil.copy2(file, tree)
    (tree / "livecube_protocols").symlink_to("protocols")
    cache.mkdir()
    return Copy(tree, cache, folder)


def main() -> int:
    """Draw, run, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--mutants", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--minutes", type=float, default=30.0, help="draw no more after this many minutes"
    )
    parser.add_argument("--rooms", nargs="*", choices=list(TESTS), default=list(TESTS))
    parser.add_argument("--only", help="mutants with this text in their name")
    options = parser.parse_args()
    equal = {one["mutant"] for one in tomllib.loads(_EQUIVALENT.read_text("utf-8"))["same"]}
    mutants = list(_all_mutants(options.rooms))
    known = {mutant.name for mutant in mutants}
    for name in sorted(equal):
        if not any(name.startswith(f"livecube/{room}") for room in options.rooms):
            continue
        if name not in known:
            print(f"listed as equivalent, but no longer a mutant: {name}")
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


def _judge(copy: Copy, drawn: list[Mutant], workers: int, minutes: float) -> int:
    begun = time.monotonic()
    tests: dict[str, list[Observed]] = {}
    wrong: list[str] = []

    def observe(room: str) -> None:
        since = time.monotonic()
        said, tests[room] = copy.observed(room)
        if said is not None:
            wrong.append(f"the tests of {room} fail without any change: {said}")
        print(f"{room}: {time.monotonic() - since:.1f} s", flush=True)

    if len(drawn) >= _ENOUGH:  # for a few it takes longer than it saves
        copy.warm()
        print(f"warm: {time.monotonic() - begun:.1f} s", flush=True)
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(observe, sorted({_room(mutant) for mutant in drawn})))
    if wrong:
        print("\n".join(wrong))
        return 2
    alive: list[Mutant] = []
    tried = late = 0

    def judged(at: int) -> None:
        nonlocal tried, late
        if time.monotonic() - begun > 60 * minutes:
            return
        mutant = drawn[at]
        its = chosen(mutant, tests[_room(mutant)])
        since = time.monotonic()
        said = copy.run(mutant, its, at) if its else None
        tried += 1
        late += said == TOO_LONG
        if said is None:
            alive.append(mutant)
        took_s = time.monotonic() - since
        verdict = "LIVES" if said is None else f"killed by {said[:100]}"
        print(f"{took_s:5.1f} s  line {mutant.line}  {mutant.name}: {verdict}", flush=True)

    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(judged, range(len(drawn))))
    share = len(alive) / max(1, tried)
    print(f"{tried} tried in {time.monotonic() - begun:.0f} s, {len(alive)} live: {share:.1%}")
    if late:
        print(f"{late} ended at the time limit; on a busy machine they may live, too")
    for mutant in sorted(alive, key=lambda one: one.name):
        print(f"  {mutant.name}  (line {mutant.line})")
    return int((tried >= _ENOUGH and share > _MOST_ALIVE) or tried < len(drawn))


if __name__ == "__main__":
    sys.exit(main())
