"""The virtual solver's pairs: how many use common sequences, and their lengths.

``python tests/checks/pairs_check.py --solves 300`` takes some seconds. Judged by the reported turns
and the true stages alone: a pair is *usual* if its turns, without one of the upper layer that
comes first, are those of a sequence of ``livecube/virtual/usual_cases.toml`` or of its mirror image
for its slot.
"""

from __future__ import annotations

import argparse
import tomllib
from collections import Counter
from importlib.resources import files
from typing import TYPE_CHECKING

import beside  # noqa: F401 - before helpers are imported
from holding_truth import virtual_solves

from livecube.cube.holding import COLOURS, HOLDINGS, Holding, fixed_turns
from livecube.cube.notation import parse_moves
from livecube.cube.position import make_turn, merge, turn_face, turn_quarters, turns_text
from livecube.virtual.habits import (
    LEFT_HANDED,
    OTHERWISE,
    RIGHT_HANDED,
    SHORT_SIGHTED,
    UNPLANNED,
    Habits,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.virtual.records import VirtualSolve

Turns = tuple[int, ...]
PLAIN = ("plain", "made-pair")
_MIRRORED = (0, 4, 3, 2, 1, 5)
"""Faces seen in the plane through the front right slot: L with B, F with R."""


def stripped(turns: list[int]) -> Turns:
    """Merged turns, without a turn of U at the beginning."""
    kept = [m.turn for m in merge(turns)]
    return tuple(kept[1:] if kept and turn_face(kept[0]) == 0 else kept)


def in_use() -> set[Turns]:
    """Common sequences as turns for the front right slot, the cross down."""
    text = (files("livecube.virtual") / "usual_cases.toml").read_text(encoding="utf-8")
    found = set()
    for written in (w for case in tomllib.loads(text)["case"] for w in case["sequences"]):
        turns = fixed_turns(parse_moves(written))[0]
        mirror = [make_turn(_MIRRORED[turn_face(t)], 4 - turn_quarters(t)) for t in turns]
        found |= {stripped(turns), stripped(mirror)}
    return found


def held_for(cross: int, slot: str) -> Holding:
    """The holding with the cross down and the slot at the front right."""
    sides = {COLOURS.index(colour) for colour in slot.split("-")}
    return next(h for h in HOLDINGS if h.faces[5] == cross and {h.faces[2], h.faces[3]} == sides)


def pairs(done: VirtualSolve) -> Iterator[tuple[str, Turns, int]]:
    """For each pair done alone: technique, turns as seen from its slot, their number."""
    before = done.start_turn - 1
    for stage in done.stages:
        if stage.stage == "pair" and not stage.shared and stage.technique is not None:
            lines = range(before - done.first_line + 1, stage.end_turn - done.first_line + 1)
            turns = [done.turns[i].turn for i in lines]
            held = held_for(done.cross, stage.slots[0])
            seen = [make_turn(held.hand_face(turn_face(t)), turn_quarters(t)) for t in turns]
            yield stage.technique, stripped(seen), len(merge(turns))
        before = stage.end_turn


def is_behind(turns: Turns, known: set[Turns]) -> bool:
    """Whether a piece was taken out of another slot first, or the like."""
    tails = (stripped(list(turns[at:])) for at in range(3, len(turns)))
    return turns not in known and any(tail in known for tail in tails)


def report(habits: Habits, solves: int, known: set[Turns]) -> None:
    done = list(virtual_solves(range(solves), habits))
    found = [pair for one in done for pair in pairs(one)]
    usual = [turns in known for _, turns, _ in found]
    plain = [ok for (name, *_), ok in zip(found, usual, strict=True) if name in PLAIN]
    behind = [name in PLAIN and is_behind(turns, known) for name, turns, _ in found]
    lengths = [number for *_, number in found]
    moves = [m.move for one in done for m in one.moves]
    print(
        f"{habits.name}: {len(found)} pairs in {len(done)} solves, "
        f"{sum(usual) / len(found):.1%} by sequences in use "
        f"({sum(plain) / len(plain):.1%} of the plain ones), "
        f"{sum(behind) / len(found):.1%} plain ones that end with one; "
        f"{sum(lengths) / len(lengths):.2f} turns a pair; "
        f"{sum(m.is_rotation for m in moves) / len(done):.1f} rotations a solve; "
        f"{sum(one.seconds for one in done) / len(done):.1f} s a solve"
    )
    others = Counter(
        turns_text(turns) for (_, turns, _), ok in zip(found, usual, strict=True) if not ok
    )
    common = ", ".join(f"{text} ({n})" for text, n in others.most_common(5))
    print(f"   not in use: {len(others)} different ones, most often {common}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solves", type=int, default=300, help="of each solver")
    asked = parser.parse_args()
    known = in_use()
    for habits in (RIGHT_HANDED, UNPLANNED, LEFT_HANDED, OTHERWISE, SHORT_SIGHTED):
        report(habits, asked.solves, known)


if __name__ == "__main__":
    main()
