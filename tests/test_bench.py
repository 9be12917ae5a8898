"""The measurements: tiny runs, whose figures must make sense; how quick they are is not tested."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from livecube.edges.cache import kept_pair_table

if TYPE_CHECKING:
    from livecube.composition.worth import Worth

    from livecube.search.engine import Engine
    from livecube.search.tables import Tables

POSITIONS = 4
SEED = 3


@pytest.fixture(scope="module")
def quick(tables: Tables) -> Engine:
    """An engine with the pair table if this machine has it."""
    from livecube.search.engine import Engine

    engine = Engine(tables)
    if (pairs := kept_pair_table()) is not None:
        engine.pairs = pairs
    return engine


@pytest.fixture(scope="module")
def worth(quick: Engine) -> list[Worth]:
    from livecube.composition.worth import measure_worth

    return measure_worth(quick, POSITIONS, SEED)


def test_worth_has_finite_figures_for_every_setting(worth: list[Worth]) -> None:
    from livecube.composition.worth import worth_json

    assert len({(one.hands, one.look_ahead) for one in worth}) == len(worth) == 4
    for one in worth:
        figures = worth_json(one, SEED)
        assert figures["positions"] == POSITIONS
        for what in ("turns", "seconds"):
            values = figures[what]
            assert all(map(math.isfinite, values.values()))
            assert values["low"] <= values["difference"] <= values["high"]
            assert values["difference"] == pytest.approx(values["free"] - values["plain"])
        assert 2 * POSITIONS <= sum(figures["choices"].values()) <= 4 * POSITIONS
        assert set(one.plain.choices) == {"plain"}


def test_free_choice_is_never_slower_for_the_first_pair(worth: list[Worth]) -> None:
    for one in worth:
        if not one.look_ahead:
            both = zip(one.free.first_seconds, one.plain.first_seconds, strict=True)
            assert all(free <= plain + 1e-9 for free, plain in both)


def test_worth_is_the_same_for_the_same_seed(quick: Engine, worth: list[Worth]) -> None:
    from livecube.composition.worth import measure_worth, worth_json

    again = measure_worth(quick, POSITIONS, SEED)
    assert again == worth
    assert [worth_json(one, SEED) for one in again] == [worth_json(one, SEED) for one in worth]
    assert measure_worth(quick, 1, SEED + 1) != measure_worth(quick, 1, SEED)


def test_slow_cross_layer_slows_only_turns_that_move_it() -> None:
    from livecube.composition.worth import slow_cross_layer
    from livecube.edges.hands_file import default_hands

    usual = default_hands()
    slow = slow_cross_layer(usual)
    slowed = {symbol for (symbol, q), s in usual.moves.items() if slow.moves[symbol, q] != s}
    assert slowed == {"D", "Dw", "Uw"}
    assert slow.moves["D", 2] == pytest.approx(1.5 * usual.moves["D", 2])


def test_techniques_are_timed_where_they_are_possible(quick: Engine) -> None:
    from livecube.composition.technique_benchmark import measure_techniques, timing_json

    from livecube.techniques.registry import TECHNIQUES

    parts: list[float] = []
    timings = {t.name: t for t in measure_techniques(quick, 2, SEED, parts.append)}
    again = {t.name: t for t in measure_techniques(quick, 2, SEED)}
    assert parts == sorted(parts)
    assert parts[-1] == 1
    assert set(timings) > {technique.id for technique in TECHNIQUES}
    assert len(timings["shortest"].ms) == timings["shortest"].asked > 20
    assert len(timings["beginning"].ms) == timings["beginning"].asked > 20
    for name, timing in timings.items():
        assert timing.sequences == again[name].sequences
        assert len(timing.sequences) == len(timing.ms) <= timing.asked
        assert all(count > 0 for count in timing.sequences)
        figures = timing_json(timing)["ms"]
        assert not timing.ms or 0 < figures["p50"] <= figures["p99"] <= figures["max"]


def test_tables_fit_80_columns_whatever_was_found(worth: list[Worth]) -> None:
    from livecube.composition.technique_benchmark import Timing, timing_json, timing_lines
    from livecube.composition.worth import worth_lines

    never = Timing("a beginning", 12345, (), ())
    often = Timing("pseudo-x-cross", 12345, (1, 3456), (0.5, 987.6))
    assert timing_json(never)["ms"] == {"p50": None, "p99": None, "max": None}
    for lines in (timing_lines([never, often]), worth_lines(worth, SEED)):
        assert max(map(len, lines)) <= 80


def test_command_prints_one_object_a_line() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "livecube", "bench", "--worth", "--positions", "1", "--json"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert [one["positions"] for one in told] == [1] * 4


def test_command_measures_one_thing_at_a_time() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "livecube", "bench", "--worth", "--techniques"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "give one of them" in done.stderr
