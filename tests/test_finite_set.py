"""With the cross whole at offset 0 the questions are finitely many: all of them are asked.

For every technique that is possible then and every key (:mod:`finite_keys`): all shortest
sequences and those one turn longer, in one of the four slots, which takes turns with the keys;
from an engine without the pair table, from one with it, and from one that looks everything up
in the book. From the book the shortest ones in the other slots too. They are compared as whole
lists with :mod:`finite_set`, which meets in the middle. No key is left out and no length cut off.

What a key is: S and the places of the two pieces for ``shortest`` and ``plain`` (asked at once,
as the program does) and, where they form a block, for ``made-pair``; for ``keyhole-corner`` S
and the place of the corner; for ``keyhole-edge`` and ``keyhole-flip`` S, the place of the edge
and which other free slots are doors, since only those with an unsolved corner are; for
``pseudo-pair`` S, the other slot and the places of the two pieces that are missing. Keys are
counted once for each technique, so a place where several are possible counts several times.
The totals are printed (``pytest -s``).
"""

from __future__ import annotations

import os
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from multiprocessing import get_context
from typing import TYPE_CHECKING, Final

import pytest
import referee
from finite_keys import Key, asked, keys
from finite_positions import letters, view_of
from finite_set import answer
from referee_cube import FACES
from referee_search import canonical
from technique_comparison import load_engines

from livecube.cube.facelets import parse_facelets
from livecube.cube.position import rotated, rotation_taking
from livecube.cube.turns import turn_name
from livecube.search.situation import Situation
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from livecube.cube.geometry import Array
    from livecube.search.engine import Engine

LONGEST: Final = {
    "shortest": 9,
    "plain": 9,
    "made-pair": 6,
    "keyhole-corner": 9,
    "keyhole-edge": 9,
    "keyhole-flip": 8,
    "pseudo-pair": 11,
}
"""Turns; that no key needs more is asserted, and follows from lists that are all complete."""

BY_ID: Final = {technique.id: technique for technique in TECHNIQUES}
CHUNK: Final = 200
"""Keys that a process gets at once; neighbours share much of what is worked out for them."""
MOST_WORKERS: Final = 4
"""Each takes some 600 MB."""
SIDES: Final = "FRBL"
DOWN: Final = FACES.index("D")

Answers = list[list[list[str]]]
"""By technique, then by how many turns longer than the shortest."""


@pytest.fixture(scope="module")
def engines() -> dict[str, Engine]:
    return load_engines()


def answers(key: Key) -> Answers:
    return [answer(asked(key, technique)) for technique in key.techniques]


def in_slot(slot: int, turns: str) -> str:
    """Turns for slot 0 as they are after rotating the cube so that it becomes ``slot``."""
    there = {side: SIDES[(i + slot) % 4] for i, side in enumerate(SIDES)}
    return canonical(there.get(name[0], name[0]) + name[1:] for name in turns.split())


def live(engine: Engine, position: Array, key: Key, slot: int, extra: int) -> list[list[str]]:
    """What the program answers for each technique of a key, slot 0 having become ``slot``."""
    situation = Situation.of_down(position, DOWN)
    tasks = [
        chance.task._replace(extra=extra)
        for technique in key.techniques
        for chance in BY_ID[technique].chances(situation)
        if chance.slots == tuple((one + slot) % 4 for one in key.slots)
    ]
    if engine.book:
        assert None not in engine.book.entries(situation, tasks)
    found = engine.solve(situation, tasks)
    return [[canonical(map(turn_name, turns)) for turns in rows] for rows in found]


def differences(engines: dict[str, Engine], key: Key, expected: Answers) -> Iterator[str]:
    """Where the program's answers for a key are not the expected lists, in any order."""
    facelets = letters(view_of(key))
    position = parse_facelets(facelets)
    alone = number_of(key) % 4
    for slot in range(4):
        rotation = rotation_taking(DOWN, DOWN, FACES.index("F"), FACES.index(SIDES[slot]))
        turned = rotated(position, rotation)
        extra = int(slot == alone)
        rows = [
            sorted(in_slot(slot, each) for part in parts[: extra + 1] for each in part)
            for parts in expected
        ]
        for name, engine in engines.items():
            if slot != alone and not engine.book:
                continue  # every slot has its turn, and searching takes time
            found = [sorted(some) for some in live(engine, turned, key, slot, extra)]
            if found != rows:
                yield f"{key} {facelets} {slot=} {extra=} {name}: {rows} but {found}"


def number_of(key: Key) -> int:
    """A number that is the same in every run."""
    return len(key.kept) + key.corner + 3 * key.edge


def test_every_key_is_there_once() -> None:
    # The cross and n kept slots leave 8 − n corner and 8 − n edge cubicles. Home is no question,
    # and a flipped edge is one of its own; a pseudo pair's good pieces take one place more each.
    # A block can stand in 14 places, of which each kept slot takes 2; any doors but none.
    every = list(keys())
    assert len(set(every)) == len(every)
    count = Counter((technique, len(key.kept)) for key in every for technique in key.techniques)
    for n, sets in enumerate((1, 3, 3, 1)):
        assert count["shortest", n] == count["plain", n] == sets * (6 * (8 - n) ** 2 - 1)
        assert count["made-pair", n] == sets * (14 - 2 * n)
        doors = 2 ** (3 - n) - 1
        assert count["keyhole-corner", n] == sets * (n < 3) * (3 * (8 - n) - 1)
        assert count["keyhole-edge", n] == sets * doors * (2 * (8 - n) - 2)
        assert count["keyhole-flip", n] == sets * doors
        strangers = (3 * (7 - n) - 1) * (2 * (7 - n) - 1)
        assert count["pseudo-pair", n] == sets * (3 - n) * strangers


def test_targets_of_every_key_are_those_of_the_referee() -> None:
    # All techniques at all keys: none is offered where it is not possible.
    for key in keys():
        view = view_of(key)
        situation = Situation.of(parse_facelets(letters(view)), DOWN)
        assert situation.offset == 0
        for technique in BY_ID.values():
            found = [situation.slot_names(chance.slots) for chance in technique.chances(situation)]
            expected = referee.TECHNIQUES[technique.id](view)
            assert sorted(found) == sorted(expected), (key, technique.id)


@pytest.mark.parametrize("technique", LONGEST)
def test_comparison_sees_a_sequence_too_few_or_too_many(
    engines: dict[str, Engine], technique: str
) -> None:
    key = next(key for key in keys() if technique in key.techniques)
    expected = answers(key)
    assert not list(differences(engines, key, expected))
    for parts in expected:
        for part in parts:
            last = part.pop()
            assert list(differences(engines, key, expected))
            part += [last, last]
            assert list(differences(engines, key, expected))
            part.pop()


def totals(found: Iterable[tuple[str, list[list[str]]]]) -> list[str]:
    """The figures as lines: for each technique keys, lengths and sequences."""
    lengths: dict[str, Counter[int]] = {technique: Counter() for technique in LONGEST}
    sequences = Counter[tuple[str, int]]()
    for technique, parts in found:
        lengths[technique][len(parts[0][0].split())] += 1
        sequences.update({(technique, more): len(part) for more, part in enumerate(parts)})
    lines = []
    for technique, counts in lengths.items():
        shown = " ".join(f"{n}:{counts[n]}" for n in sorted(counts))
        shortest, longer = sequences[technique, 0], sequences[technique, 1]
        lines.append(f"{technique}: {counts.total()} keys by length {shown};")
        lines.append(f"  {shortest} shortest sequences, {longer} one turn longer")
    every = sum(counts.total() for counts in lengths.values())
    return [*lines, f"in all {every} keys, {sequences.total()} sequences"]


def compared(some: list[Key]) -> tuple[list[str], list[tuple[str, list[list[str]]]]]:
    """What is wrong with some keys, and their answers by technique; in a process of its own."""
    engines, wrong, found = _engines(), list[str](), list[tuple[str, list[list[str]]]]()
    for key in some:
        expected = answers(key)
        found += zip(key.techniques, expected, strict=True)
        wrong += differences(engines, key, expected)
    return wrong, found


@cache
def _engines() -> dict[str, Engine]:
    return load_engines()


# The engines are only asked for so that what they need is there before two processes want it.
@pytest.mark.timeout(900)  # nearly two minutes of processor time, more on a slow machine
@pytest.mark.usefixtures("engines")
def test_all_answers_at_offset_0() -> None:
    every = list(keys())
    parts = [every[start : start + CHUNK] for start in range(0, len(every), CHUNK)]
    wrong: list[str] = []
    found: list[tuple[str, list[list[str]]]] = []
    workers = min(os.cpu_count() or 1, MOST_WORKERS)
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        for some_wrong, some_found in pool.map(compared, parts):
            wrong += some_wrong
            found += some_found
    print("", *totals(found), sep="\n")
    assert len(found) == sum(len(key.techniques) for key in every)
    assert not wrong, f"{len(wrong)}, the first: " + "\n".join(wrong[:5])
    for technique, longest in LONGEST.items():
        assert longest == max(len(p[0][0].split()) for name, p in found if name == technique)
