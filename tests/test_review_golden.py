"""What reviews say of virtual solves, and what the usual hands cost, as it was before.

Whether it is right is judged in ``test_review.py`` and ``test_automaton.py``; here nothing changes
without being seen. ``python tests/test_review_golden.py`` writes the golden file anew; read the
difference before you commit it.
"""

from __future__ import annotations

import json
import random
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from advising import advisor_at
from review_check import one_review

from livecube.advice.rules import Level
from livecube.cube.notation import parse_moves
from livecube.edges.automaton_file import load_hands
from livecube.hands.automaton import looking_ms
from livecube.views.review_machine import review_json
from livecube.views.review_text import review_lines

if TYPE_CHECKING:
    from livecube.review.values import Review

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "reviews.golden.txt"
SEEDS: Final = range(20, 25)
HANDS: Final = ("right", "left")
MOVES: Final = "U U' U2 R R' R2 L L' F F' B D D' Rw Rw' Uw y y' x M M'".split()


@cache
def reviewed(seed: int) -> Review:
    return one_review(seed, advisor_at(Level.BOLD))[2]


def of_review(seed: int) -> str:
    told = json.dumps(review_json(reviewed(seed)), sort_keys=True)
    findings = "\n".join(f"  {finding.sentence}" for finding in reviewed(seed).findings)
    return f"review {seed} {sha256(told.encode()).hexdigest()[:12]}\n{findings}"


def of_text(seed: int) -> str:
    """All lines, which hold more than the object does."""
    review = reviewed(seed)
    whole = "\n".join([*review_lines(review, "a solve"), repr(review.sides), repr(review.stages)])
    return f"text {seed} {sha256(whole.encode()).hexdigest()[:12]}"


def of_hands(name: str) -> str:
    """The tables, and the prices of random sequences."""
    hands, rng = load_hands(name), random.Random(1)
    table = sha256(json.dumps(hands.to_json(), sort_keys=True).encode()).hexdigest()[:12]
    rotations = sha256(hands.rotation_ms.tobytes() + repr(hands.rotation_moves).encode())
    lines = [f"hands {name} {table} {hands.fingerprint} {rotations.hexdigest()[:12]}"]
    for _ in range(40):
        text = " ".join(rng.choice(MOVES) for _ in range(rng.randrange(1, 9)))
        moves = parse_moves(text)
        alone = None if "M" in text else hands.sequence_ms(moves)
        lines.append(f"  {text}: {alone} {hands.done_ms(moves)} {hands.regrips_ms(moves)}")
    for technique in ("plain", "keyhole-corner", "keyhole-edge", "x-cross", "another"):
        each = [
            [int(looking_ms(hands.looking, technique, [(place, moved)])) for place in range(24)]
            + [
                int(looking_ms(hands.looking, technique, (), [(place, moved)]))
                for place in range(24)
            ]
            for moved in (0, 1)
        ]
        lines.append(f"  {technique} {int(looking_ms(hands.looking, technique))} {each}")
    return "\n".join(lines)


@pytest.mark.parametrize("name", HANDS)
def test_hands_cost_what_they_cost(name: str) -> None:
    assert of_hands(name) in GOLDEN.read_text(encoding="utf-8").split("\n\n")


@pytest.mark.parametrize("seed", SEEDS)
def test_reviews_say_what_they_said(seed: int) -> None:
    parts = GOLDEN.read_text(encoding="utf-8").split("\n\n")
    assert of_review(seed) in parts
    assert of_text(seed) in parts[-1].splitlines()


if __name__ == "__main__":
    parts = [*map(of_hands, HANDS), *map(of_review, SEEDS), "\n".join(map(of_text, SEEDS)) + "\n"]
    GOLDEN.write_text("\n\n".join(parts), encoding="utf-8")
