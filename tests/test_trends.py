"""Trends: right figures, and no noise reported as progress."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from hashlib import sha256
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from click.testing import CliRunner
from examples import examples, part_of
from hypothesis import example, given
from hypothesis import strategies as st

from livecube.cli.trends import trends as command
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.solves.records import Chance, Price, Wanted
from livecube.timing.results import DNF, Penalty, result_of
from livecube.trends.figures import Look, results_ms
from livecube.trends.making import _STEPS_MS, _counts, _verdict, blocks_of, periods_of, trends_of
from livecube.trends.measures import ChanceColumns, FocusColumns, SolveColumns, Trends
from livecube.trends.text import sparkline, trends_lines

if TYPE_CHECKING:
    import numpy.typing as npt

EVENING = Path(__file__).parent.parent / "fixtures" / "evening.jsonl"
EMPTY = np.zeros(0, dtype=np.int64)
NONE = ChanceColumns(EMPTY, EMPTY, EMPTY, EMPTY, EMPTY, EMPTY, (), ())


def columns(ms: npt.ArrayLike, a_day: int = 12, **others: Any) -> SolveColumns:
    """Solves, ``a_day`` each day; half of their time is the pairs, a quarter is pause."""
    times = np.asarray(ms, dtype=np.int64)
    zero = np.zeros(len(times), dtype=np.int64)
    started = [str(np.datetime64("2026-03-01") + n // a_day) for n in range(len(times))]
    made = SolveColumns(
        number=np.arange(1, len(times) + 1),
        first=started[0] if started else "",
        last=started[-1] if started else "",
        day=np.array(started),
        session=zero - 1,
        ms=times,
        turns=zero + 60,
        plus=zero,
        is_dnf=zero,
        splits_ms=np.stack([times // 8, times // 2, times // 8, times // 4], axis=1),
        pause_ms=times // 4,
        whole=zero + 1,
    )
    return replace(made, **others)


def made(of: SolveColumns, chances: ChanceColumns = NONE, seed: int = 1) -> Trends:
    found = trends_of(of, chances, np.random.default_rng(seed))
    assert found is not None
    return found


def figures(found: Trends) -> dict[str, float]:
    return {one.name: one.whole.value for one in found.figures}


def verdicts(found: Trends) -> dict[str, str]:
    return {one.name: one.change.verdict for one in found.figures if one.change}


@given(st.lists(st.tuples(st.integers(0, 700_000), st.integers(0, 3), st.booleans()), min_size=1))
def test_results_are_those_of_the_articles(rows: list[tuple[int, int, bool]]) -> None:
    ms, plus, dnf = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    expected = [
        result_of(time, (Penalty("+2"),) * added + (Penalty("DNF"),) * out)
        for time, added, out in rows
    ]
    found = results_ms(columns(ms, plus=plus, is_dnf=dnf)).tolist()
    assert [DNF if one < 0 else one for one in found] == expected


@examples(30)
@example([3_900])  # a step of a tenth has no exact float
@given(st.lists(st.integers(500, 60_000), min_size=1, max_size=200))
def test_figures_are_those_of_plain_numpy(ms: list[int]) -> None:
    seconds = np.array(ms) // 10 / 100
    found = made(columns(ms))
    has = figures(found)
    assert has["mean time"] == pytest.approx(seconds.mean())
    for name, share in (("fastest tenth, at most", 0.1), ("median", 0.5)):
        assert has[name] == np.quantile(seconds, share, method="inverted_cdf")
    spread = seconds.std() / seconds.mean()
    assert has["spread (deviation / mean)"] == pytest.approx(spread, abs=1e-6)
    assert has["pairs"] == pytest.approx(np.mean(np.array(ms) // 2) / 1000)
    assert has["pausing"] + has["turning"] == pytest.approx(
        sum(has[name] for name in ("cross", "pairs", "orientation", "permutation"))
    )
    ends = [(low, high) for low, high, _ in found.counts]
    counted = [((seconds >= low) & (seconds < high)).sum() for low, high in ends[:-1]]
    assert [count for *_, count in found.counts] == [*counted, len(ms) - sum(counted)]
    assert ends[0][0] <= seconds.min()
    assert ends[-1][1] >= seconds.max()
    assert sum(one.solves for one in found.periods) == len(ms)
    assert trends_lines(found)


@pytest.mark.parametrize("longest", part_of([11_000_000, 24_000_000, 23_999_000, 24_023_000], 4))
def test_times_of_hours_make_few_bars_too(longest: int) -> None:
    counts = made(columns([10_000, 700_000, *[longest] * 200])).counts
    assert 20 <= len(counts) <= 24
    assert sum(count for *_, count in counts) == 202


def evening_noise(rng: np.random.Generator, count: int) -> npt.NDArray[np.int64]:
    """Times without a trend; those of one evening are correlated."""
    evenings = np.repeat(rng.normal(0, 0.06, -(-count // 12)), 12)[:count]
    return (15_000 * np.exp(evenings + rng.normal(0, 0.18, count))).astype(np.int64)


@pytest.mark.parametrize("half", [slice(None, 60), slice(60, None)])
def test_what_has_no_value_before_or_now_has_not_changed(half: slice) -> None:
    whole = np.ones(120, dtype=np.int64)
    whole[half] = 0  # solves without splits
    ms = 15_000 + np.random.default_rng(2).integers(0, 3_000, 120)
    changes = {one.name: one.change for one in made(columns(ms, whole=whole)).figures}
    assert changes["mean time"] is not None
    assert changes["cross"] is None


@pytest.mark.thorough
def test_noise_is_not_taken_for_progress() -> None:
    rng = np.random.default_rng(7)
    alarms = covered = 0
    tried = 12
    for seed in range(tried):
        found = made(columns(evening_noise(rng, 360)), seed=seed)
        alarms += bool(set(verdicts(found).values()) - {"noise"})
        mean = found.figures[0].whole
        assert found.resampled == "sessions"
        assert mean.low is not None
        assert mean.high is not None
        expected = 15 * np.exp((0.06**2 + 0.18**2) / 2)
        covered += mean.low <= expected <= mean.high
    # At 5 %, one test of 400 has four or more of 12.
    assert alarms < 4
    assert covered > tried - 4


def test_progress_is_told() -> None:
    ms = evening_noise(np.random.default_rng(3), 360)
    ms[180:] = ms[180:] * 3 // 4
    has = verdicts(made(columns(ms)))
    assert has["mean time"] == has["pairs"] == has["median"] == "better"
    assert has["pausing, of the time"] == has["turns"] == "noise"
    assert verdicts(made(columns(ms[::-1].copy())))["mean time"] == "worse"


def test_without_reviews_no_chance_is_told() -> None:
    found = made(columns([10_000, 11_000]))
    assert (found.reviewed, found.left, found.techniques, found.slots) == (0, None, (), ())


def test_few_solves_are_too_few() -> None:
    found = made(columns([12_000, 9_000, 11_000] * 3))
    assert set(verdicts(found).values()) == {"too few"}
    assert found.figures[0].whole.low is None
    assert made(columns([12_000])).figures[0].change is None
    assert trends_of(columns([9_000], is_dnf=np.array([1])), NONE, np.random.default_rng(1)) is None


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    with History(tmp_path) as history:
        import_log(history, EVENING, "ada")
    return tmp_path


def test_columns_are_what_the_history_holds(kept: Path) -> None:
    with History(kept) as history:
        history.correct(2, (Penalty("+2"),))
        history.correct(3, (Penalty("DNF"),))
        history.delete([1])
        for wanted in (Wanted(), Wanted(cross="white"), Wanted(most=3), Wanted(since="2030")):
            columns, _ = history.columns(wanted)
            solves = history.solves(wanted)
            assert columns.number.tolist() == [one.listed.number for one in solves]
            results = [DNF if one < 0 else one for one in results_ms(columns).tolist()]
            assert results == [one.listed.result for one in solves]
            for row, one in enumerate(solves):
                ms = [stage.ms for stage in one.stages]
                splits = [ms[0], sum(ms[1:5]), ms[5], ms[6] + ms[7]]
                assert columns.splits_ms[row].tolist() == splits
                assert columns.pause_ms[row] == sum(stage.pause_ms for stage in one.stages)


def test_chances_are_told_by_technique_and_slot(kept: Path) -> None:
    with History(kept) as history:
        numbers = [one.number for one in history.list(Wanted())]
        history.note_chances(numbers[0], [Chance(1, "keyhole-edge", "GO", False, 500),
                                          Chance(1, "made-pair", "GR", False, 900),
                                          Chance(2, "made-pair", "GR", True, 100)])  # fmt: skip
        history.note_chances(numbers[1], [Chance(4, "made-pair", "BO", False, -300)])
        found = made(*history.columns(Wanted()))
        history.delete([numbers[0]])
        assert made(*history.columns(Wanted())).reviewed == 1
    assert found.reviewed == 2
    assert found.left is not None
    assert found.left.value == pytest.approx(0.45)  # the better one of the two on the first pair
    told = {one.name: (one.came, one.taken, one.left.value) for one in found.techniques}
    assert told == {"made-pair": (3, 1, 0.45), "keyhole-edge": (1, 0, 0.25)}
    slots = {one.name: (one.came, one.taken, one.left.value) for one in found.slots}
    assert slots == {"GR": (2, 1, 0.45), "GO": (1, 0, 0.25), "BO": (1, 0, 0.0)}


PRICES = {
    1: [Price(1, "keyhole-edge", 100, True), Price(1, "keyhole-corner", 200, False),
        Price(1, "plain", 0, False), Price(2, "keyhole-edge", 900, True),
        Price(3, "keyhole-corner", 300, False)],
    2: [Price(1, "keyhole-corner", 301, False), Price(2, "keyhole-corner", 50, False),
        Price(2, "keyhole-edge", 700, True)],
}  # fmt: skip
"""By solve; the two keyholes at most 0.3 s dearer came before three pairs, and two were taken."""


def test_chances_within_a_focus_are_counted_once_a_pair(kept: Path) -> None:
    with History(kept) as history:
        for number, prices in PRICES.items():
            history.note_chances(number, [], [Price(4, "keyhole-edge", 0, True)])
            history.note_chances(number, [Chance(1, "plain", "GR", False, 500)], prices)
            assert set(history.prices(number)) == set(prices)

        def told(techniques: str, within_s: float, **wanted: Any) -> tuple[int, int, float | None]:
            of = Wanted(**wanted)
            practised = history.practised(of, frozenset(techniques.split()), within_s)
            rng = np.random.default_rng(1)
            found = trends_of(*history.columns(of), rng, practised)
            assert found is not None
            assert found.focus is not None
            one = found.focus
            assert [*one.techniques] == sorted(techniques.split())
            assert one.share is None or one.share.value == one.taken / one.came
            price = None if one.price is None else round(one.price.value, 6)
            return one.came, one.taken, price

        both = "keyhole-edge keyhole-corner"
        assert told(both, 0.3) == (3, 2, 0.15)
        assert told(both, 1.0) == (5, 3, 0.3302)
        assert told("keyhole-corner", 0.3) == (3, 0, 0.183333)
        assert told("keyhole-edge", 0.3) == (1, 1, 0.1)
        assert told("plain", 0.0) == (1, 0, 0.0)
        assert told("pseudo-pair", 5.0) == (0, 0, None)
        assert told(both, 0.3, most=3) == (0, 0, None)
        history.delete([1])
        assert told(both, 0.3) == (1, 1, 0.05)


def test_a_focus_of_many_evenings_has_intervals() -> None:
    rng = np.random.default_rng(4)
    solve = np.sort(rng.integers(1, 361, 500))
    focus = FocusColumns(
        ("plain",), 0.3, solve, rng.integers(0, 300, 500), (rng.random(500) < 0.4).astype(int)
    )
    found = trends_of(columns(evening_noise(rng, 360)), NONE, rng, focus)
    assert found is not None
    assert found.focus is not None
    for one, expected in ((found.focus.share, 0.4), (found.focus.price, 0.15)):
        assert one is not None
        assert one.low is not None
        assert one.high is not None
        assert one.low < expected < one.high
        assert one.high - one.low < 0.35 * expected


def test_the_focus_is_that_of_the_options_or_of_the_configuration(kept: Path) -> None:
    with History(kept) as history:
        for number, prices in PRICES.items():
            history.note_chances(number, [Chance(1, "plain", "GR", False, 500)], prices)
    run = CliRunner(env={"LIVECUBE_DATA": str(kept), "LIVECUBE_CONFIG": str(kept)})
    assert "Focus" not in run.invoke(command, []).output
    assert json.loads(run.invoke(command, ["--json"]).output)["focus"] is None
    (kept / "config.toml").write_text('[hints]\nfocus = "keyhole"\nwithin = 1\n')
    told = json.loads(run.invoke(command, ["--json"]).output)["focus"]
    assert (told["came"], told["taken"], told["within"]) == (5, 3, 1.0)
    assert {"keyhole-edge", "keyhole-corner", "keyhole-flip"} < set(told["techniques"])
    text = " ".join(
        run.invoke(command, ["--within", "0.3", "--focus", "keyhole-edge"]).output.split()
    )
    assert "Focus on keyhole-edge: 1 chance, 1 taken, 100.0 % (–). A chance is a pair" in text
    assert "costs at most 0.30 s more than the best plan; on average it cost 0.10 s more" in text
    none = run.invoke(command, ["--focus", "pseudo-pair"]).output
    assert "Focus on pseudo-pair: the reviews found no chance." in none


def test_the_command_tells_as_text_and_as_json(kept: Path) -> None:
    run = CliRunner(env={"LIVECUBE_DATA": str(kept)})
    text = run.invoke(command, [])
    assert text.exit_code == 0
    assert text.output.count("Too few solves to tell what has changed.") == 1
    assert "\x1b" not in text.output
    told = json.loads(run.invoke(command, ["--json", "--last", "4"]).output)
    assert told["solves"] == 4
    assert {one["change"]["verdict"] for one in told["figures"]} == {"too few"}
    none = run.invoke(command, ["--since", "2050"])
    assert none.exit_code
    assert "no kept solve" in str(none.exception)


def test_a_sparkline_is_as_long_as_its_values() -> None:
    assert sparkline([1.0, None, 8.0]) == "▁·█"
    assert sparkline([2.0, 2.0]) == "▄▄"
    assert sparkline([None]) == "·"


def test_the_distribution_holds_every_time_and_no_other() -> None:
    ms = [10_000, 10_499, 12_300, 15_000, 19_999, 240_000]
    found = made(columns([*ms, 11_000], is_dnf=np.array([0, 0, 0, 0, 0, 0, 1])))
    assert sum(count for _, _, count in found.counts) == len(ms) == found.times
    assert found.counts[0][0] == 10.0
    assert found.counts[-1][1] == 240.0  # the outlier is in the last step, which ends with it
    for first, last, count in found.counts[:-1]:
        assert count == sum(first <= one / 1000 < last for one in ms)
    assert all(one[1] == other[0] for one, other in pairwise(found.counts))


def test_bars_are_as_wide_as_24_of_them_need() -> None:
    for most, width in ((12_390, 0.1), (12_400, 0.2), (14_790, 0.2), (14_800, 0.5)):
        first, *_, last = _counts(np.array([10_000, *[most] * 200, -1]))
        assert (first[0], first[2]) == (10.0, 1)
        assert first[1] == pytest.approx(10.0 + width)
        assert last[2] == 200
        assert last[0] <= most / 1000 < last[1]


@pytest.mark.parametrize(
    ("count", "apart", "name"),
    [(24, 1, "2026-03-01"), (25, 1, "2026-03"), (48, 31, "2026-03"), (50, 31, "2026")],
)
def test_periods_are_days_or_months_or_years(count: int, apart: int, name: str) -> None:
    since = [n if apart == 1 else n // 2 * apart + n % 2 for n in range(count)]
    days = np.array([str(np.datetime64("2026-03-01") + n) for n in since])
    of = columns([10_000] * count, day=days)
    periods = periods_of(of, results_ms(of), np.random.default_rng(1))
    assert periods[0].name == name
    assert [one.name for one in periods] == sorted({day[: len(name)] for day in days})
    assert sum(one.solves for one in periods) == count


def test_a_period_counts_what_was_measured() -> None:
    of = columns([10_000, 12_000, 99_000, 16_000], is_dnf=[0, 0, 1, 0], whole=[1, 1, 0, 0])
    of = replace(of, is_dnf=np.array(of.is_dnf), whole=np.array(of.whole))
    (one,) = periods_of(of, results_ms(of), np.random.default_rng(1))
    assert (one.solves, one.times, one.best) == (4, 3, 10.0)
    assert one.mean is not None
    assert one.mean.value == pytest.approx(38 / 3)
    assert one.deviation == pytest.approx(np.std([10, 12, 16]))
    # Of the first two solves: an eighth cross, half pairs, an eighth, a quarter; a quarter pauses.
    assert one.splits == pytest.approx((1.375, 5.5, 1.375, 2.75))
    assert one.pause == pytest.approx(0.25)
    none = replace(of, is_dnf=of.ms, whole=0 * of.ms, day=np.array([""] * 4))
    (one,) = periods_of(none, results_ms(none), np.random.default_rng(1))
    assert (one.name, one.solves, one.times) == ("undated", 4, 0)
    assert (one.mean, one.best, one.deviation, one.splits, one.pause) == (None,) * 5


@pytest.mark.parametrize(
    ("sessions", "a_day", "drawn"),
    [
        ([-1] * 19, 1, "solves"),
        ([-1] * 20, 1, "sessions"),  # days separate solves without a session
        ([-1] * 40, 40, "solves"),
        ([7] * 40, 1, "solves"),  # one session of many midnights
        ([0] * 40, 1, "solves"),
        ([*range(20)], 20, "sessions"),
        ([*range(19)], 19, "solves"),
    ],
)
def test_sessions_are_drawn_if_there_are_twenty(
    sessions: list[int], a_day: int, drawn: str
) -> None:
    of = columns([10_000] * len(sessions), a_day, session=np.array(sessions))
    block, told = blocks_of(of)
    assert told == drawn
    assert block.tolist() == [*range(20 if drawn == "sessions" else len(sessions))]


def test_solves_of_one_session_are_one_block() -> None:
    sessions = np.repeat(np.arange(20), 2)
    block, _ = blocks_of(columns([10_000] * 40, 40, session=sessions))
    assert block.tolist() == sessions.tolist()


def test_a_change_is_told_if_its_interval_misses_zero() -> None:
    less, more, neither = (
        Look("", "number", np.asarray, "less"),
        Look("", "number", np.asarray, "more"),
        Look("", "number", np.asarray, "neither"),
    )
    for look, below, above in (
        (less, "better", "worse"), (more, "worse", "better"), (neither, "changed", "changed")
    ):  # fmt: skip
        assert _verdict(look, -2.0, -1.0, 10) == below
        assert _verdict(look, 1.0, 2.0, 10) == above
        assert _verdict(look, 1.0, 2.0, 9) == "too few"
        assert _verdict(look, None, 2.0, 10) == _verdict(look, 1.0, None, 10) == "too few"
        for low, high in ((-1.0, 1.0), (0.0, 1.0), (-1.0, 0.0)):
            assert _verdict(look, low, high, 10) == "noise"


TOLD = {9: "8d268233", 19: "0533e37f", 40: "fed584f9", 300: "a7c59de4", 700: "a4848496"}
"""By number of solves, a digest of the trends."""


def digits(value: Any) -> str:
    """All figures, numbers to five digits."""
    return re.sub(r"-?\d+\.\d+(e-?\d+)?", lambda m: f"{float(m[0]):.5g}", repr(value))


def chances_of(count: int, rng: np.random.Generator) -> ChanceColumns:
    solves = np.sort(rng.integers(1, count + 1, 3 * count))
    drawn = {name: rng.integers(0, most, len(solves)) for name, most in
             (("stage", 5), ("technique", 3), ("slot", 4), ("taken", 2))}  # fmt: skip
    saved = rng.integers(-300, 2000, len(solves))
    return ChanceColumns(
        solve=solves, saved_ms=saved, techniques=("plain", "keyhole", "x"),
        slots=("a", "b", "c", "d"), **drawn,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("count", "a_day"), part_of([(9, 3), (19, 1), (40, 2), (300, 3), (700, 1)])
)
def test_trends_are_what_they_were(count: int, a_day: int) -> None:
    rng = np.random.default_rng(count)
    of = columns(
        evening_noise(rng, count) * np.linspace(1.2, 0.8, count), a_day,
        plus=rng.integers(0, 2, count) * (rng.random(count) < 0.1),
        is_dnf=(rng.random(count) < 0.05).astype(np.int64),
        whole=(rng.random(count) < 0.8).astype(np.int64),
    )  # fmt: skip
    found = digits(made(of, chances_of(count, rng)))
    assert sha256(found.encode()).hexdigest()[:8] == TOLD[count]


def test_bars_are_as_wide_as_ones_twos_and_fives_of_time() -> None:
    assert [*map(str, _STEPS_MS)] == [
        f"{digit}{'0' * zeros}" for zeros in (2, 3, 4, 5) for digit in (1, 2, 5)
    ][: len(_STEPS_MS)]
