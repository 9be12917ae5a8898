"""What is learned of an invented person's hands and eyes, to six digits.

Other tests judge whether it is right: ``test_own_hands.py``, ``test_own_formulas.py``. This test
only shows every change. ``python tests/test_own_golden.py`` rewrites the golden file; read the
difference before you commit it.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pytest

from livecube.cube.notation import parse_moves
from livecube.edges.automaton_file import load_hands
from livecube.hands.executions import Execution, cells_of, first_cell
from livecube.hands.features import TECHNIQUES
from livecube.hands.kinship import kinship_of
from livecube.hands.own_eyes import EFFECTS, Look, learn_eyes
from livecube.hands.own_hands import learn_hands
from livecube.hands.own_state import eyes_from, eyes_state, hands_from, hands_state
from livecube.hands.own_table import own_automaton
from livecube.hands.price_file import price_file
from livecube.hands.verdict import Verdict

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from livecube.hands.own_eyes import OwnEyes
    from livecube.hands.own_hands import OwnHands

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "own.golden.txt"
KIN: Final = kinship_of(load_hands())
USUAL_EYES: Final = learn_eyes(KIN.usual.looking, [])
KEPT: Final = Verdict(9, 9, 9.0)
"""That of prices which predict better."""


def digits(values: Iterable[float]) -> str:
    return " ".join(f"{value:.6g}" for value in values)


def sequences() -> list[str]:
    text = (files("livecube.virtual") / "usual_cases.toml").read_text(encoding="utf-8")
    return [one for case in tomllib.loads(text)["case"] for one in case["sequences"]]


def solve(rng: np.random.Generator) -> list[Execution]:
    """Three usual sequences: quick, with a slow F and a slow left hand, and now and then a wait."""
    made = []
    for number in range(3):
        text = str(rng.choice(sequences()))
        moves = tuple(parse_moves(f"R {('y', 'x2', 'z')[number]} {text}" if not number else text))
        cells = np.array([first_cell(KIN.usual, moves), *cells_of(KIN.usual, moves)[1:]])
        slow = [1.6 if str(move)[0] == "F" else 1.2 if str(move)[0] == "L" else 1 for move in moves]
        took = 0.7 * KIN.usual_ms[cells] * np.array(slow) * np.exp(rng.normal(0, 0.2, len(moves)))
        took = np.where(cells < 0, 50.0, took) + 700 * (rng.random(len(moves)) < 0.05)
        sure = (1.0, 0.8, 0.4)[int(rng.integers(3))]
        made.append(Execution(moves, tuple(np.cumsum(took).tolist()), sure))
    return made


def of_hands(own: OwnHands) -> Iterator[str]:
    yield f"noise {digits(own.noise)}"
    yield f"variances {digits(own.fit.variances)}"
    yield f"verdict {own.verdict.solves} {own.verdict.predicted} {digits(vars_of(own.verdict))}"
    yield f"executions {own.executions} solves {own.solves} keeps {own.verdict.keeps}"
    for text in ("R U R'", "F' U' F", "R y U R'", "L U2 L' Bw", "R U2 R' U F' U' F"):
        moves = tuple(parse_moves(text))
        cells = [first_cell(KIN.usual, moves), *(c for c in cells_of(KIN.usual, moves) if c >= 0)]
        yield f"{text}: {digits(own.price_ms[cells])}; {digits(own.predicted(moves) or ())}"
        yield f"  within {digits(own.spread(np.array(cells)))}"
    back = hands_from(json.loads(json.dumps(hands_state(own))), KIN)
    yield f"kept {digits(back.price_ms[:36:5])} {back.executions} {back.solves}"


def vars_of(verdict: Verdict) -> tuple[float, ...]:
    return verdict.usual_ms, verdict.own_ms, verdict.squares


def hands() -> Iterator[str]:
    rng = np.random.default_rng(1)
    solves = [solve(rng) for _ in range(14)]
    own = learn_hands(KIN, solves)
    yield from of_hands(own)
    yield "and after one more"
    more = own.after(solve(rng))
    yield from of_hands(more)
    table = own_automaton(replace(more, verdict=KEPT), None, KIN.usual)
    yield f"rotations {table.single_rotation_ms}"
    yield f"prices {table.seconds_ms[:2].tolist()}"
    written = price_file(table, "Hands of nobody.").splitlines()
    yield f"file {len(written)} {sha256(chr(10).join(written).encode()).hexdigest()[:12]}"
    yield from written[:30]


def look(rng: np.random.Generator) -> Look:
    corner, edge = rng.integers(24, size=2).tolist()
    moved = rng.integers(2, size=2).tolist()
    technique = str(rng.choice(TECHNIQUES[:6]))
    made = Look(
        0.0,
        technique,
        None if rng.random() < 0.1 else (corner, moved[0]),
        None if rng.random() < 0.1 else (edge, moved[1]),
        technique == "keyhole-corner",
        int(rng.integers(12)),
        (1.0, 0.7)[int(rng.integers(2))],
    )
    expected = float(USUAL_EYES.expected_ms([made])[0])
    slow = 1.3 if made.edge is None else 1.0
    took = 0.6 * slow * (1 + 2 / (2 + made.met)) * expected * float(np.exp(rng.normal(0, 0.4)))
    waited = 1500 * (rng.random() < 0.06)
    return replace(made, ms=took + waited)


def of_eyes(own: OwnEyes) -> Iterator[str]:
    yield f"effects {digits(own.effects)}"
    yield f"variances {digits(own.variances)}"
    yield f"verdict {own.verdict.solves} {own.verdict.predicted} {digits(vars_of(own.verdict))}"
    yield f"solves {own.solves} keeps {own.verdict.keeps}"
    yield f"noise {digits(own.noise)} known {own.known:.6g} new {own.new_share:.6g}"
    yield f"spread {digits(map(own.spread, EFFECTS[1:]))}"
    yield f"table {own.looking.table}"
    back = eyes_from(json.loads(json.dumps(eyes_state(own))), KIN.usual.looking)
    yield f"kept {digits(back.effects)} {back.solves} {back.known:.6g}"


def eyes() -> Iterator[str]:
    rng = np.random.default_rng(2)
    solves = [[look(rng) for _ in range(4)] for _ in range(14)]
    own = learn_eyes(KIN.usual.looking, solves)
    yield from of_eyes(own)
    yield "and after one more"
    yield from of_eyes(own.after(solves[3]))
    yield digits(own.expected_ms(solves[0] + solves[1]))


READ: Final[dict[str, Callable[[], Iterator[str]]]] = {"hands": hands, "eyes": eyes}


def written(name: str) -> str:
    return "\n".join([f"== {name}", *READ[name](), ""])


@pytest.mark.parametrize("name", READ)
def test_what_is_learned_is_what_was_learned(name: str) -> None:
    assert written(name) in GOLDEN.read_text(encoding="utf-8")


if __name__ == "__main__":
    GOLDEN.write_text("".join(map(written, READ)), encoding="utf-8")
