"""Gestures on a solved cube are recognised when they are made, and never by accident."""

from __future__ import annotations

import random
from itertools import permutations, product

import pytest

from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turn, apply_turns
from livecube.practice.gestures import (
    BreakRule,
    BreakWatcher,
    Gesture,
    GestureWatcher,
    TurnsWatcher,
    asks_for_help,
)
from livecube.virtual.session import session


def seen(turns: str, each_s: float = 0.3) -> list[Gesture | None]:
    watcher = GestureWatcher()
    found = [watcher.turned(at * each_s, turn) for at, turn in enumerate(parse_turns(turns))]
    return [gesture for gesture in found if gesture is not None]


@pytest.mark.parametrize(
    ("turns", "gesture"),
    [
        ("R L R' L'", "next"),
        ("L R R' L'", "next"),
        ("R' L' L R", "next"),
        ("U D U' D'", "discard"),
        ("F' B' F B", "penalty"),
    ],
)
def test_gestures(turns: str, gesture: Gesture) -> None:
    assert seen(turns) == [gesture]
    assert seen(f"{turns} {turns}") == [gesture, gesture]
    assert seen(f"R U R' U' U R U' R' {turns}") == [gesture]  # after any turns


@pytest.mark.parametrize(
    "turns",
    [
        "R L' R' L",  # a slice rocked, as people do
        "R L R L",
        "R R' L L'",
        "R2 L2 R2 L2",
        "U U U U",
        "R U R' U'",
        "R U U' R'",
        "R L U U' R' L'",
        "U R L R' L' U'",  # not from the solved cube
    ],
)
def test_what_is_no_gesture(turns: str) -> None:
    assert seen(turns) == []


def test_one_that_takes_more_than_three_seconds_is_none() -> None:
    assert seen("R L R' L'", each_s=1.0) == ["next"]
    assert seen("R L R' L'", each_s=1.01) == []


def test_a_report_in_between_breaks_a_gesture_off() -> None:
    watcher = GestureWatcher(apply_turns(SOLVED, parse_turns("R U")).tobytes())
    turns = parse_turns("U' R' R L R' L'")
    assert [watcher.turned(0.0, turn) for turn in turns] == [*[None] * 5, "next"]
    for at in range(1, 4):
        told: list[Gesture | None] = []
        position = SOLVED
        for number, turn in enumerate(turns[2:]):
            if number == at:
                watcher.stands(position.tobytes())
            position = apply_turn(position, turn)
            told.append(watcher.turned(1.0, turn))
        assert told == [None] * 4


def test_in_the_middle_of_a_solve_the_last_four_turns_are_a_gesture() -> None:
    def times(turns: str, each_s: float = 0.3) -> list[int]:
        watcher = TurnsWatcher()
        made = enumerate(parse_turns(turns), start=1)
        return [at for at, turn in made if watcher.turned(at * each_s, turn)]

    assert times("R U F R L R' L' U") == [7]
    assert times("R L R' L' R L R' L' R L R' L'") == [4, 8, 12]  # never with turns of the last one
    assert times("R L R' L' U' D' U D", each_s=1.0) == [4, 8]
    assert times("R L R' L'", each_s=1.01) == times("R L' R' L") == times("R L U R' L'") == []


def all_that_ask_for_help() -> set[tuple[str, ...]]:
    """Every way to make two opposite layers by half turns, twice, written as in a book."""
    found = set()
    for a, b in ("UD", "RL", "FB"):
        halves = {
            order
            for one, other in product((f"{a}2", f"{a} {a}", f"{a}' {a}'"), repeat=2)
            for order in permutations((*one.split(), *other.replace(a, b).split()))
        }
        found |= {first + second for first in halves for second in halves}
    return found


def test_only_two_opposite_layers_by_half_turns_and_again_ask_for_help() -> None:
    ask, names = all_that_ask_for_help(), [f + how for f in "URFDLB" for how in ("", "2", "'")]
    rng, right = random.Random(3), sorted(ask)
    told = []
    for _ in range(1200):
        turns = [*rng.choices(names, k=rng.randrange(3)), *rng.choice(right)]
        for _ in range(rng.choice((0, 0, 1, 2))):
            at = rng.randrange(len(turns))
            match rng.randrange(4):
                case 0:
                    turns[at] = turns[at][0] + rng.choice(("", "2", "'"))
                case 1:
                    turns[at] = rng.choice(names)
                case 2 if len(turns) > 1:
                    del turns[at]
                case _:
                    turns.insert(at, rng.choice(turns))
        times = [0.0]
        for _ in turns[1:]:
            times.append(times[-1] + rng.choice((0.25, 0.5, 1.0)))
        expected = any(
            tuple(turns[at:]) in ask and times[-1] - times[at] <= 5 for at in range(len(turns))
        )
        numbers = parse_turns(" ".join(turns))
        assert asks_for_help([*zip(times, numbers, strict=True)]) is expected, turns
        told.append(expected)
    assert 200 < sum(told) < 1000


@pytest.mark.parametrize("seed", range(3))
def test_whole_sessions_of_solving_hold_none(seed: int) -> None:
    watcher = GestureWatcher()
    turns = session(seed, 6).turns
    assert [turn for turn in turns if watcher.turned(turn.t, turn.turn)] == []


PAIRS = {"U D": "discard", "L R": "next", "F B": "penalty"}


def gestures_of(pair: str) -> set[str]:
    """All ways to turn two layers a quarter, both the same way, and back, as people write them."""
    first, second = pair.split()
    return {
        f"{a}{there} {b}{there} {c}{back} {d}{back}"
        for there, back in (("", "'"), ("'", ""))
        for a, b in ((first, second), (second, first))
        for c, d in ((first, second), (second, first))
    }


@pytest.mark.parametrize("pair", PAIRS)
def test_of_all_ways_to_turn_two_layers_four_times_only_these_are_gestures(pair: str) -> None:
    names = [face + amount for face in pair.split() for amount in ("", "'", "2")]
    found = {}
    for four in product(names, repeat=4):
        if gestures := seen(" ".join(four)):
            found[" ".join(four)] = gestures
    assert found == {turns: [PAIRS[pair]] for turns in gestures_of(pair)}


def test_a_break_is_due_after_so_many_minutes_and_again_if_nobody_takes_it() -> None:
    watcher = BreakWatcher(BreakRule(minutes=10, turns=0))
    due = [t for t in range(0, 1200, 10) if watcher.turned(t)]
    assert due == [600, 900]
    assert watcher.turned(1190 + 180) is None  # rested three minutes
    assert watcher.turned(1190 + 180 + 590 - 120) is None


def test_a_break_is_due_after_so_many_turns() -> None:
    watcher = BreakWatcher(BreakRule(minutes=0, turns=100))
    due = [n for n in range(1, 221) if watcher.turned(0.2 * n)]
    assert due == [100, 150, 200]
    assert BreakWatcher(BreakRule(0, 0)).turned(1e6) is None
