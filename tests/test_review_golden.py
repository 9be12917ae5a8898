"""Reviews of virtual solves, and the prices of the usual hands.

Other tests judge whether it is right: ``test_review.py``, ``test_automaton.py``. This test only
shows every change. ``python tests/test_review_golden.py`` rewrites the golden file; read the
difference before you commit it.
"""

from __future__ import annotations

import json
import random
import re
import tomllib
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from advising import advisor_at
from examples import part_of
from review_check import one_review

from livecube.advice.words import Level
from livecube.composition.scrambler import Scrambler, load_scrambler
from livecube.cube.notation import parse_moves
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.automaton_file import load_hands, usual_hands_text
from livecube.errors import UsageError
from livecube.events import Reset, State, Turn
from livecube.hands.automaton import looking_ms
from livecube.hands.features import TOKENS, parse_features
from livecube.review.moment import missed_moment
from livecube.review.text import review_json, review_lines
from livecube.review.trying import Place, SetUpAsked, Trying
from livecube.techniques.registry import own_traits
from livecube.virtual.session import session
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.review.reviewed import Review

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "reviews.golden.txt"
SEEDS: Final = range(20, 23)
HANDS: Final = ("right", "left")
MOVES: Final = "U U' U2 R R' R2 L L' F F' B D D' Rw Rw' Uw y y' x M M'".split()


@cache
def scrambler() -> Scrambler:
    return load_scrambler(seed=12)


@cache
def reviewed(seed: int) -> Review:
    return one_review(seed, advisor_at(Level.BOLD))[2]


def moment_of(seed: int, pair: int | None) -> str:
    """The missed moment of a solve."""
    start = apply_turns(SOLVED, session(seed, 1, on_cube=False).scramble).tobytes()
    try:
        return repr(missed_moment(reviewed(seed), start, pair))
    except UsageError as error:
        return str(error)


def of_review(seed: int) -> str:
    told = json.dumps(review_json(reviewed(seed)), sort_keys=True)
    findings = "\n".join(f"  {finding.sentence}" for finding in reviewed(seed).findings)
    return f"review {seed} {sha256(told.encode()).hexdigest()[:12]}\n{findings}"


def of_text(seed: int) -> str:
    """All lines of the text, numbers to six digits: the last ones are the processor's."""
    review = reviewed(seed)
    whole = "\n".join([*review_lines(review, "a solve"), repr(review.sides), repr(review.stages),
                       *(moment_of(seed, pair) for pair in (None, 1, 2, 3, 4))])  # fmt: skip
    told = re.sub(r"\d+\.\d+(e-?\d+)?", lambda found: f"{float(found[0]):.6g}", whole)
    return f"text {seed} {sha256(told.encode()).hexdigest()[:12]}"


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
        alone = own_traits(technique).inserts_alone == "corner"
        each = [
            [
                int(looking_ms(hands.looking, technique, [(place, moved)], corner_alone=alone))
                for place in range(24)
            ]
            + [
                int(looking_ms(hands.looking, technique, (), [(place, moved)]))
                for place in range(24)
            ]
            for moved in (0, 1)
        ]
        lines.append(f"  {technique} {int(looking_ms(hands.looking, technique))} {each}")
    return "\n".join(lines)


def tried(seed: int) -> Iterator[str]:
    """Places of a virtual solve tried, as advised, by another way, or with a mistake."""
    rng, done = random.Random(seed), solve(seed)
    position, places, others = apply_turns(SOLVED, done.scramble), [], []
    ends = [stage.end_turn - done.start_turn for stage in done.stages[:4]]
    for number, turn in enumerate(done.solving):
        position = apply_turns(position, [turn.turn])
        if number in ends:
            rows = advisor_at(Level.BOLD).at_beginning(position, done.cross).rows
            places += [Place(position.tobytes(), done.cross, row) for row in rows[:1]]
            others += [rows[-1]] if rows else []
    trying, t = Trying(iter(places), scrambler().to, places[0].position), 5.0
    told: list[object] = [*trying.begin(t)]
    for round_, (place, other) in enumerate(zip(places, others, strict=True)):
        asked = next(one for one in reversed(told) if isinstance(one, SetUpAsked))
        for turn_ in asked.turns:
            t += 0.3
            told += trying.feed(Turn(t, turn_))
        if round_ == 1:
            told += trying.feed(Turn(t + 0.99, 4)) + trying.feed(Turn(t + 1.2, 4))
            told += trying.feed(Turn(t + 1.4, 4)) + trying.feed(Turn(t + 1.6, 4))
        if round_ == 2:
            told += trying.feed(Reset(t + 0.1)) + trying.feed(State(t + 0.2, place.position))
            told += trying.feed(State(t + 0.3, place.position)) + trying.give_up(t + 0.4)
        t += 1.0 + (round_ == 1) * 2
        row = rng.choice((place.row, other))
        for turn_ in row.turns_fixed:
            t += rng.choice((0.2, 0.45, 1.8))
            told += trying.feed(Turn(t, turn_))
            if rng.random() < 0.1:
                told += trying.feed(Turn(t + 0.1, 0)) + trying.feed(Turn(t + 0.2, 2))
    yield from map(repr, [*told, *trying.finish(), trying.over, trying.number])


def of_tries(seed: int) -> str:
    lines = list(tried(seed))
    return f"tries {seed} {len(lines)} {sha256(chr(10).join(lines).encode()).hexdigest()[:12]}"


@pytest.mark.parametrize("seed", part_of(SEEDS, 3))
def test_tries_are_told_as_they_were(seed: int) -> None:
    assert of_tries(seed) in GOLDEN.read_text(encoding="utf-8").splitlines()


def spoiled() -> Iterator[str]:
    """Prices of hands with a line left out, a number changed, or moves in another order."""
    text, rng = usual_hands_text(), random.Random(2)
    lines = text.splitlines()
    for at, line in enumerate(lines):
        yield "\n".join([*lines[:at], *lines[at + 1 :]])
        for number in re.finditer(r"(?<![\w.])-?\d+\.?\d*(?![\w.])", line):
            for other in ("-0.2", "0", "0.5", "11", "true"):
                changed = line[: number.start()] + other + line[number.end() :]
                yield "\n".join([*lines[:at], changed, *lines[at + 1 :]])
    for _ in range(250):
        moves = " ".join(rng.choice((*TOKENS[:2], *TOKENS)) for _ in range(rng.randrange(1, 5)))
        row = f'behind = [\n  {{ moves = "{moves}", extra = 0.05 }},\n'
        yield text.replace("behind = [\n", row, 1)


def of_spoiled() -> str:
    """How often such prices are refused, and a digest of all reasons and results."""
    outcomes = []
    for text in spoiled():
        try:
            outcomes.append(repr(parse_features(tomllib.loads(text), "a.toml")))
        except tomllib.TOMLDecodeError:
            outcomes.append("no TOML")
        except UsageError as error:
            outcomes.append(f"refused: {error}")
    digest = sha256("\n".join(outcomes).encode()).hexdigest()[:12]
    refused = sum(one.startswith("refused") for one in outcomes)
    return f"spoiled {len(outcomes)} {refused} {digest}"


@pytest.mark.thorough
def test_spoiled_prices_are_refused_as_they_were() -> None:
    assert of_spoiled() in GOLDEN.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("name", HANDS)
def test_hands_cost_what_they_cost(name: str) -> None:
    assert of_hands(name) in GOLDEN.read_text(encoding="utf-8").split("\n\n")


@pytest.mark.parametrize("seed", part_of(SEEDS, 4))
def test_reviews_say_what_they_said(seed: int) -> None:
    parts = GOLDEN.read_text(encoding="utf-8").split("\n\n")
    assert of_review(seed) in parts
    assert of_text(seed) in parts[-1].splitlines()


if __name__ == "__main__":
    parts = [
        *map(of_hands, HANDS),
        *map(of_review, SEEDS),
        "\n".join([of_spoiled(), *map(of_tries, SEEDS), *map(of_text, SEEDS)]) + "\n",
    ]
    GOLDEN.write_text("\n\n".join(parts), encoding="utf-8")
