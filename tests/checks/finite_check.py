"""Every question with the cross whole at offset 0: there are finitely many.

``python tests/checks/finite_check.py`` compares the program's answers to every key
(``finite_keys.py``) with ``finite_set.py``, which meets in the middle, and prints the totals; it
takes two minutes of processor time. ``--every 10`` takes every tenth key. The suite does that.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from typing import TYPE_CHECKING, Final

import beside  # noqa: F401 - before helpers are imported
from finite_keys import Key, asked, keys
from finite_positions import letters, view_of
from finite_set import answer
from referee_cube import FACES
from referee_search import canonical
from technique_comparison import load_engines

from livecube.cube.notation import parse_facelets
from livecube.cube.position import rotated, rotation_taking, turn_name
from livecube.search.situation import Situation
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from livecube.cube.geometry import Array
    from livecube.search.engine import Engine

__all__ = [
    "BY_ID", "DOWN", "LONGEST", "Answers", "all_engines", "answers", "compared", "differences",
]  # fmt: skip

LONGEST: Final = {
    "shortest": 9,
    "plain": 9,
    "made-pair": 6,
    "keyhole-corner": 9,
    "keyhole-edge": 9,
    "keyhole-flip": 8,
    "pseudo-pair": 11,
}
"""Most turns of an answer; that no key needs more is asserted, and follows from complete lists."""

BY_ID: Final = {technique.id: technique for technique in TECHNIQUES}
CHUNK: Final = 200
"""Keys that a process gets at once; neighbouring keys share much work."""
MOST_WORKERS: Final = 4
"""Processes; each takes about 600 MB."""
SIDES: Final = "FRBL"
DOWN: Final = FACES.index("D")

Answers = list[list[str]]
"""By technique."""


def answers(key: Key) -> Answers:
    return [answer(asked(key, technique)) for technique in key.techniques]


def in_slot(slot: int, turns: str) -> str:
    """Turns for slot 0, rotated so that slot 0 becomes ``slot``."""
    there = {side: SIDES[(i + slot) % 4] for i, side in enumerate(SIDES)}
    return canonical(there.get(name[0], name[0]) + name[1:] for name in turns.split())


def live(engine: Engine, position: Array, key: Key, slot: int) -> list[list[str]]:
    """The program's answers for each technique of a key, with slot 0 rotated to ``slot``."""
    situation = Situation.of_down(position, DOWN)
    tasks = [
        chance.task
        for technique in key.techniques
        for chance in BY_ID[technique].chances(situation)
        if chance.slots == tuple((one + slot) % 4 for one in key.slots)
    ]
    found = engine.solve(situation, tasks)
    return [[canonical(map(turn_name, turns)) for turns in rows] for rows in found]


def differences(engines: dict[str, Engine], key: Key, expected: Answers) -> Iterator[str]:
    """The program's answers for a key that differ from the expected lists, in any order."""
    facelets = letters(view_of(key))
    position = parse_facelets(facelets)
    slot = number_of(key) % 4  # slots take turns, since searching takes time
    rotation = rotation_taking(DOWN, DOWN, FACES.index("F"), FACES.index(SIDES[slot]))
    turned = rotated(position, rotation)
    rows = [sorted(in_slot(slot, each) for each in part) for part in expected]
    for name, engine in engines.items():
        found = [sorted(some) for some in live(engine, turned, key, slot)]
        if found != rows:
            yield f"{key} {facelets} {slot=} {name}: {rows} but {found}"


def number_of(key: Key) -> int:
    """A number that is the same in every run."""
    return len(key.kept) + key.corner + 3 * key.edge


def totals(found: Iterable[tuple[str, list[str]]]) -> list[str]:
    """The figures as lines: for each technique keys, lengths and sequences."""
    lengths: dict[str, Counter[int]] = {technique: Counter() for technique in LONGEST}
    sequences = Counter[str]()
    for technique, part in found:
        lengths[technique][len(part[0].split())] += 1
        sequences[technique] += len(part)
    lines = []
    for technique, counts in lengths.items():
        shown = " ".join(f"{n}:{counts[n]}" for n in sorted(counts))
        lines.append(f"{technique}: {counts.total()} keys by length {shown};")
        lines.append(f"  {sequences[technique]} shortest sequences")
    every = sum(counts.total() for counts in lengths.values())
    return [*lines, f"in all {every} keys, {sequences.total()} sequences"]


def compared(some: list[Key]) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """The faults of some keys, and their answers by technique; in a process of its own."""
    engines, wrong, found = all_engines(), list[str](), list[tuple[str, list[str]]]()
    for key in some:
        expected = answers(key)
        found += zip(key.techniques, expected, strict=True)
        wrong += differences(engines, key, expected)
    return wrong, found


@cache
def all_engines() -> dict[str, Engine]:
    return load_engines()


def side_by_side(parts: list[list[Key]]) -> Iterator[tuple[list[str], list[tuple[str, list[str]]]]]:
    """The parts compared in some processes."""
    workers = min(os.cpu_count() or 1, MOST_WORKERS)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield from pool.map(compared, parts)


def main() -> None:
    """Compare in some processes, print, and end with status 1 if anything differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="only every n-th key")
    every = list(keys())[:: parser.parse_args().every]
    all_engines()  # so that tables exist before two processes want them
    parts = [every[start : start + CHUNK] for start in range(0, len(every), CHUNK)]
    wrong: list[str] = []
    found: list[tuple[str, list[str]]] = []
    for some_wrong, some_found in side_by_side(parts) if len(parts) > 1 else map(compared, parts):
        wrong += some_wrong
        found += some_found
    print(*totals(found), sep="\n")
    print(*wrong, f"{len(wrong)} differ", sep="\n")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
