"""With the cross whole at offset 0 the questions are finitely many: all of them are asked.

For every S, every place of the target's two pieces, ``shortest`` and ``plain`` (both asked at
once, as the program does): all shortest sequences, in each of the four slots, and those one
turn longer, in one slot, from an engine with and from one without the pair table. They are
compared as whole lists with :mod:`finite_set`, which meets in the middle. No key is left out
and no length cut off. The totals are printed (``pytest -s``).
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import pytest
from finite_set import SLOTS, Key, keys, question
from referee_cube import FACES, View, facelet
from referee_search import canonical

from livecube.cube.position import SOLVED, apply_turns, rotated, rotation_taking
from livecube.cube.turns import parse_turn, turn_name
from livecube.edges.cache import kept_pair_table, pair_table_built_apart
from livecube.search.situation import Situation
from livecube.techniques.plain import Plain
from livecube.techniques.shortest import Shortest

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.cube.geometry import Array
    from livecube.search.engine import Engine
    from livecube.search.tables import Tables
    from livecube.techniques.base import Technique

SHORTEST_AT_MOST: Final = 9
"""Turns; that nothing is longer is asserted, and follows from lists that are all complete."""

ASKED: Final[tuple[tuple[Technique, str], ...]] = (
    (Shortest(), FACES),
    (Plain(), FACES.replace("D", "")),
)
TAKEN_OUT: Final = {"BR": "R' {} R", "BL": "L {} L'", "FL": "L' {} L"}
SIDES: Final = "FRBL"


@pytest.fixture(scope="module")
def engines(tables: Tables) -> list[Engine]:
    from livecube.search.engine import Engine

    first, later = Engine(tables), Engine(tables)
    kept = kept_pair_table()
    pairs = pair_table_built_apart() if kept is None else kept
    assert pairs is not None
    later.pairs = pairs
    return [first, later]


def solved_at(view: View) -> set[str]:
    """Slots that are solved, as two side faces."""
    return {
        slot for slot in SLOTS
        if view.now(pieces := [facelet("D" + slot), facelet(slot)]) == bytes(pieces)
    }  # fmt: skip


def turns_to(key: Key, solution: Iterable[str]) -> str:
    """Turns from solved to a key's position, in which just S is solved.

    The other slots are taken out in any way and order; then a solution is undone.
    """
    chance = random.Random(repr(key))
    kept = {SLOTS[slot] for slot in key.kept}
    free = sorted(TAKEN_OUT.keys() - kept)
    undone = [turn_name(t // 3 * 3 + 2 - t % 3) for t in map(parse_turn, solution)][::-1]
    while True:
        out = [TAKEN_OUT[slot].format(chance.choice(("U", "U2", "U'"))) for slot in free]
        chance.shuffle(out)
        between = [chance.choice(("U", "U2", "U'")) for _ in out]
        turns = " ".join([*(f"{a} {b}" for a, b in zip(out, between, strict=True)), *undone])
        view = View.after(turns, "D")
        if solved_at(view) == kept:
            assert view.offset == 0
            there = bytes([key.corner, key.edge])
            assert view.now([facelet("D" + SLOTS[0]), facelet(SLOTS[0])]) == there
            return turns


def in_slot(slot: int, turns: Iterable[str]) -> str:
    """Turns for slot 0 as they are after rotating the cube so that it becomes ``slot``."""
    there = {side: SIDES[(i + slot) % 4] for i, side in enumerate(SIDES)}
    return canonical(there.get(name[0], name[0]) + name[1:] for name in turns)


def live(engine: Engine, position: Array, slot: int, extra: int) -> list[list[str]]:
    """What the program answers for one slot: for ``shortest`` and for ``plain``."""
    situation = Situation.of_down(position, FACES.index("D"))
    tasks = [
        replace(chance.task, extra=extra)
        for technique, _ in ASKED
        for chance in technique.chances(situation)
        if chance.slots == (slot,)
    ]
    found = engine.solve(situation, tasks)
    return [[canonical(map(turn_name, turns)) for turns in rows] for rows in found]


def differences(
    engines: list[Engine], key: Key, turns: str, expected: list[list[list[tuple[str, ...]]]]
) -> Iterable[str]:
    """Where the program's answers for a key are not the expected lists, in any order."""
    position = apply_turns(SOLVED, map(parse_turn, turns.split()))
    alone = hash_of(key) % 4
    down, front = FACES.index("D"), FACES.index("F")
    for slot in range(4):
        rotation = rotation_taking(down, down, front, FACES.index(SIDES[slot]))
        for extra in (0, 1) if slot == alone else (0,):
            rows = [
                sorted(in_slot(slot, each) for part in answer[: extra + 1] for each in part)
                for answer in expected
            ]
            for pairs, engine in zip(("no pairs", "pairs"), engines, strict=True):
                found = [sorted(r) for r in live(engine, rotated(position, rotation), slot, extra)]
                if found != rows:
                    yield f"{key} after {turns}, {slot=} {extra=} {pairs}: {rows} but {found}"


def hash_of(key: Key) -> int:
    """A number that is the same in every run."""
    return len(key.kept) + key.corner + 3 * key.edge


def test_every_key_is_there_once() -> None:
    # The cross and n kept slots leave 8 − n corner and 8 − n edge cubicles; home is no question.
    count = Counter(len(key.kept) for key in keys())
    ways = (1, 3, 3, 1)
    assert count == {n: ways[n] * (3 * (8 - n) * 2 * (8 - n) - 1) for n in range(4)}
    assert len(set(keys())) == count.total()


def test_comparison_sees_a_sequence_too_few_or_too_many(engines: list[Engine]) -> None:
    key = next(keys())
    expected = [list(question(key.kept, faces).answer(key)) for _, faces in ASKED]
    turns = turns_to(key, expected[0][0][0])
    assert not list(differences(engines, key, turns, expected))
    for answer in expected:
        for part in answer:
            last = part.pop()
            assert list(differences(engines, key, turns, expected))
            part += [last, last]
            assert list(differences(engines, key, turns, expected))
            part.pop()


@pytest.mark.timeout(900)  # a minute of one core, several on a slow or busy machine
def test_all_shortest_and_plain_answers_at_offset_0(engines: list[Engine]) -> None:
    lengths = [Counter[int](), Counter[int]()]
    sequences = [[0, 0], [0, 0]]
    wrong: list[str] = []
    for key in keys():
        expected = []
        for i, (_, faces) in enumerate(ASKED):
            answer = list(question(key.kept, faces).answer(key))
            assert answer[0], f"{key}: nothing within reach"
            lengths[i][len(answer[0][0])] += 1
            sequences[i] = [n + len(rows) for n, rows in zip(sequences[i], answer, strict=True)]
            expected.append(answer)
        wrong += differences(engines, key, turns_to(key, expected[0][0][0]), expected)
    for (technique, _), counts, (shortest, longer) in zip(ASKED, lengths, sequences, strict=True):
        shown = " ".join(f"{n}:{counts[n]}" for n in sorted(counts))
        print(f"{technique.id}: {counts.total()} keys by length {shown};")
        print(f"  {shortest} shortest sequences, {longer} one turn longer")
    assert not wrong, f"{len(wrong)}, the first: " + "\n".join(wrong[:5])
    assert max(lengths[0]) == SHORTEST_AT_MOST
