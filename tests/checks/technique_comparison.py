"""The program's techniques against the referee, position by position.

``python tests/checks/technique_comparison.py --positions 100`` compares more than the test does.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING, Final

import beside  # noqa: F401 - before helpers are imported
from referee import LIMITS, Answer, Answers, answers
from referee_positions import Place, places_for
from referee_search import canonical

from livecube.cube.position import SOLVED, apply_turns, parse_turn, turn_name
from livecube.search.situation import Situation
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from livecube.search.engine import Engine
    from livecube.search.task import Task

__all__ = [
    "COMPARED",
    "Tally",
    "compare_technique",
    "differences",
    "load_engines",
    "main",
]

COMPARED: Final = [technique.id for technique in TECHNIQUES]
"""Every technique of the program; for one in two parts, only the first part."""

KINDS_FOR: Final = {
    "shortest": ("inserted", "interrupted", "scrambled", "far"),
    "x-cross": ("interrupted", "scrambled", "far"),
    "pseudo-x-cross": ("interrupted", "scrambled", "far"),
}
"""Kinds of position other than ``inserted`` in which some techniques are possible most often."""


@dataclass
class Tally:
    """Compared lengths by technique, and every disagreement in words."""

    lengths: dict[str, Counter[int | None]] = field(default_factory=dict)
    """By technique, the number of targets with each length; None: beyond the limit."""
    sequences: Counter[str] = field(default_factory=Counter)
    crosses: set[str] = field(default_factory=set)
    offsets: set[int | None] = field(default_factory=set)
    disagreements: list[str] = field(default_factory=list)

    def compared(self, technique: str) -> int:
        """Targets whose whole answer the referee knew."""
        return sum(n for length, n in self._of(technique).items() if length is not None)

    def _of(self, technique: str) -> Counter[int | None]:
        return self.lengths.setdefault(technique, Counter())

    def add(self, technique: str, answer: Answer) -> None:
        """Count one target."""
        self._of(technique)[answer.length] += 1
        self.sequences[technique] += len(answer.sequences)

    def lines(self) -> list[str]:
        """The figures, a line for each technique."""
        result = []
        for technique, lengths in self.lengths.items():
            known = sorted(length for length in lengths if length is not None)
            shown = " ".join(f"{length}:{lengths[length]}" for length in known)
            result.append(
                f"{technique}: {self.compared(technique)} targets,"
                f" {self.sequences[technique]} sequences, lengths {shown};"
                f" {lengths[None]} deeper"
            )
        return result


def _situation(place: Place) -> Situation:
    position = apply_turns(SOLVED, map(parse_turn, place.turns.split()))
    return Situation.of(position, "ULFRBD".index(place.down))


def _tasks(situation: Situation, technique: str) -> list[tuple[tuple[int, ...], Task]]:
    """Slots and task of every question of the program for a technique."""
    by_id = {t.id: t for t in TECHNIQUES}
    return [(c.slots, c.task) for c in by_id[technique].chances(situation)]


def _program_answers(
    engine: Engine, place: Place, technique: str
) -> dict[tuple[str, ...], list[str]]:
    """The program's sequences by target, in the fixed frame and in the referee's order."""
    situation = _situation(place)
    tasks = _tasks(situation, technique)
    result: dict[tuple[str, ...], list[str]] = {}
    answered = engine.solve(situation, [task for _, task in tasks])
    for (slots, _), found in zip(tasks, answered, strict=True):
        rows = result.setdefault(situation.slot_names(slots), [])
        rows += [canonical(turn_name(t) for t in situation.fixed(turns)) for turns in found]
    return result


def compare(engines: Mapping[str, Engine], place: Place, technique: str, tally: Tally) -> None:
    """Compare all targets of one position, and note the differences of each engine."""
    expected = answers(place.turns, place.down, technique, slack=0)
    for name, engine in engines.items():
        found = _program_answers(engine, place, technique)
        tally.disagreements += [
            f"{name}: {technique} after {place.turns} (cross on {place.down}): {text}"
            for text in differences(expected, found, LIMITS[technique])
        ]
    tally.crosses.add(place.down)
    tally.offsets.add(place.view.offset)
    for answer in expected.values():
        tally.add(technique, answer)


def differences(
    expected: Answers, found: dict[tuple[str, ...], list[str]], limit: int
) -> Iterable[str]:
    """The differences; the referee has tried at most ``limit`` turns."""
    if expected.keys() != found.keys():
        yield f"targets {sorted(expected)} for the referee, {sorted(found)} for the program"
    for target in expected.keys() & found.keys():
        answer, rows = expected[target], found[target]
        length = min((len(row.split()) for row in rows), default=None)
        if answer.length is None:
            if length is None or length <= limit:
                yield f"{target}: nothing up to {limit} turns, but the program has {length}"
        elif length != answer.length:
            yield f"{target}: {answer.length} turns, but the program has {length}"
        elif sorted(rows) != sorted(answer.sequences):
            lacks, extra = answer.sequences - set(rows), set(rows) - answer.sequences
            twice = [row for row, n in Counter(rows).items() if n > 1]
            yield f"{target}: lacks {sorted(lacks)}, has {sorted(extra)} too, twice {twice}"


def compare_technique(
    engines: Mapping[str, Engine], technique: str, count: int, seed: str, tally: Tally
) -> None:
    """Compare ``count`` seeded positions in which the technique is possible."""
    kinds = KINDS_FOR.get(technique, ("inserted",))
    for index, kind in enumerate(kinds):
        share = count // len(kinds) + (index < count % len(kinds))
        for place in islice(places_for(technique, seed, kind), share):
            compare(engines, place, technique, tally)


def load_engines() -> dict[str, Engine]:
    """The engine without and with the pair table."""
    from livecube.edges.apart import pair_table_made_apart
    from livecube.edges.cache import kept_pair_table, load_tables
    from livecube.search.engine import Engine

    tables = load_tables()
    first, later = Engine(tables), Engine(tables)
    kept = kept_pair_table()
    pairs = pair_table_made_apart() if kept is None else kept
    assert pairs is not None
    later.pairs = pairs
    return {"without pair table": first, "with pair table": later}


def main() -> None:
    """The longer run."""
    parser = argparse.ArgumentParser(description="Compare the program with the referee.")
    parser.add_argument("--positions", type=int, default=100, help="for each technique")
    parser.add_argument("--seed", default="1")
    chosen = parser.parse_args()
    engines = load_engines()
    for technique in COMPARED:
        started, tally = time.perf_counter(), Tally()
        compare_technique(engines, technique, chosen.positions, chosen.seed, tally)
        lines = [*tally.lines(), *(f"DIFFERS: {text}" for text in tally.disagreements)]
        print(*lines, f"  {time.perf_counter() - started:.1f} s", sep="\n", flush=True)


if __name__ == "__main__":
    main()
