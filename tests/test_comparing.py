"""People and periods side by side: right figures, and no order that chance may have made."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from test_trends import NONE, chances_of, columns, evening_noise

from livecube.cli.report import report as command
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.trends.comparing import Comparison, Group, Row, _Asked, _Drawn, _row, compared
from livecube.trends.comparison_page import comparison_page, order_sentence
from livecube.trends.measures import FocusColumns

FIXTURES = Path(__file__).parent.parent / "fixtures"


def group(name: str, rng: np.random.Generator, count: int, factor: float = 1.0) -> Group:
    ms = (factor * evening_noise(rng, count)).astype(np.int64)
    return Group(name, columns(ms), NONE, None)


def of(*groups: Group) -> Comparison:
    return compared(groups, np.random.default_rng(1))


def reviewed(one: Group, rng: np.random.Generator) -> Group:
    """With chances, of which about every second one is taken, and a focus that is taken seldom."""
    solve = np.sort(rng.integers(1, len(one.columns.ms) + 1, 300))
    taken = (rng.random(300) < 0.1).astype(np.int64)
    focus = FocusColumns(("plain",), 0.3, solve, rng.integers(0, 300, 300), taken)
    return replace(one, chances=chances_of(len(one.columns.ms), rng), focus=focus)


def test_less_is_told_only_of_what_is_certainly_less() -> None:
    rng = np.random.default_rng(5)
    groups = group("Zoe", rng, 240), group("Ada", rng, 240, 0.7), group("Bo", rng, 9)
    found = of(*groups)
    assert [one.name for one in found.groups] == ["Zoe", "Ada", "Bo"]  # as asked, not by a figure
    rows = {row.name: row for row in found.figures}
    assert rows["mean time"].apart == ((1, 0),)
    assert rows["turns"].apart == ()
    names = ["Zoe", "Ada", "Bo"]
    assert order_sentence(rows["mean time"], names) == "Less for Ada than for Zoe."
    assert order_sentence(rows["turns"], names) == "No difference can be told."
    cells = rows["mean time"].cells
    for cell, one in zip(cells, groups, strict=True):
        assert cell is not None
        assert cell.counted == len(one.columns.ms)
        assert cell.value.value == pytest.approx((one.columns.ms // 10 / 100).mean())
    few = cells[2]
    assert few is not None
    assert few.value.low is None  # nine solves have no interval, and no place in any order
    whole = np.ones(240, dtype=np.int64)
    whole[:100] = 0
    one = replace(groups[0], columns=replace(groups[0].columns, whole=whole))
    (cell, _) = next(row for row in of(one, groups[1]).figures if row.name == "cross").cells
    assert cell is not None
    assert cell.counted == 140


def all_rows(found: Comparison) -> list[Row]:
    more = [row for _, *rows in found.techniques for row in rows]
    return [*found.figures, *more, *(found.focus or ())]


@pytest.mark.thorough
def test_of_equal_groups_hardly_ever_a_difference_is_told() -> None:
    rng, alarms = np.random.default_rng(11), 0
    for _ in range(3):
        found = of(*(reviewed(group(name, rng, 120), rng) for name in "ABC"))
        assert found.compared == 3 * len(all_rows(found))
        alarms += any(row.apart for row in all_rows(found))
    assert alarms <= 1  # at most one page of 20 has one


@pytest.mark.parametrize(("looked", "told"), [(1, True), (1_000_000, False)])
def test_an_order_must_be_significant_among_all_that_are_compared(looked: int, told: bool) -> None:
    """Samples from 0 to 1 and from 0.96 to 1.96: 95 % of them do not overlap, some pairs do."""
    rng = np.random.default_rng(1)
    drawn = [
        _Drawn(np.full((30, 1), by), rng.uniform(by, by + 1, (4000, 1)), 9) for by in (0.0, 0.96)
    ]
    for groups, apart in ((drawn, (0, 1)), (drawn[::-1], (1, 0))):
        row = _row(_Asked("turns", "number", "solves", lambda s: s[..., 0], [*groups]), looked)
        assert row.apart == ((apart,) if told else ())
    known = _row(_Asked("turns", "number", "solves", lambda s: s[..., 0], [None, *drawn]), 1)
    assert (known.cells[0], known.apart) == (None, ((1, 2),))


def test_what_touches_has_no_order() -> None:
    at = np.arange(4000)[:, None]
    alternating = (at % 2).astype(float)
    seldom = (at < 40).astype(float)
    for ours, theirs, looked, told in (
        (alternating, alternating + 1, 1, False),  # one ends where the other begins
        (alternating, alternating + 1.5, 1, True),
        (seldom, np.ones((4000, 1)), 1, True),
        (seldom, np.ones((4000, 1)), 1_000_000, False),  # the difference may be nothing
    ):
        groups: list[_Drawn | None] = [
            _Drawn(np.ones((30, 1)), samples, 9) for samples in (ours, theirs)
        ]
        row = _row(_Asked("turns", "number", "solves", lambda s: s[..., 0], groups), looked)
        assert row.apart == (((0, 1),) if told else ())


def test_what_overlaps_has_no_order() -> None:
    rng = np.random.default_rng(6)
    found = of(*(group(f"{factor}", rng, 60, factor) for factor in (1.0, 0.97, 0.9, 0.6)))
    told = 0
    for row in all_rows(found):
        for less, more in row.apart:
            one, other = row.cells[less], row.cells[more]
            assert one is not None
            assert other is not None
            assert one.value.high is not None
            assert other.value.low is not None
            assert one.value.high < other.value.low
            told += 1
    assert told > 3


def test_one_technique_is_compared_over_all() -> None:
    rng = np.random.default_rng(8)
    often, never = (reviewed(group(name, rng, 120), rng) for name in ("Ada", "Bo"))
    taken = np.ones_like(often.chances.taken)
    often = replace(often, chances=replace(often.chances, taken=taken))
    found = of(often, never, group("Cy", rng, 30))
    assert [name for name, *_ in found.techniques] == ["keyhole", "plain", "x"]
    for name, share, left in found.techniques:
        at = often.chances.techniques.index(name)
        ours, theirs, none = share.cells
        assert ours is not None
        assert theirs is not None
        assert none is None  # nothing of theirs was reviewed
        assert ours.value.value == 1
        its = never.chances.taken[never.chances.technique == at]
        assert theirs.counted == len(its)
        assert theirs.value.value == pytest.approx(its.mean())
        assert share.apart == ((1, 0),)
        assert left.apart == ((0, 1),)
    assert found.focus is not None
    for row, column in zip(found.focus, ("taken", "price_ms"), strict=True):
        scale = 1000 if column == "price_ms" else 1
        assert row.cells[1] is not None
        expected = getattr(never.focus, column).mean() / scale
        assert row.cells[1].value.value == pytest.approx(expected)


def comparison(folder: Path, name: str) -> Path:
    """A page with all sections; ``name`` is one of a group."""
    rng = np.random.default_rng(9)
    groups = [reviewed(group(one, rng, 60), rng) for one in (name, "Bo")]
    page = folder / "compared.html"
    page.write_text(comparison_page(of(*groups), "Solves compared", "plain"), encoding="utf-8")
    return page


def test_a_report_compares_people_and_periods_with_and_without_names(tmp_path: Path) -> None:
    with History(tmp_path) as history:
        import_log(history, FIXTURES / "evening.jsonl", "Ottoline")
        import_log(history, FIXTURES / "given-start.jsonl", "Zebulah")
    run = CliRunner(env={"LIVECUBE_DATA": str(tmp_path)})

    def told(*arguments: str) -> tuple[str, str]:
        page = tmp_path / f"{len([*tmp_path.glob('*.html')])}.html"
        done = run.invoke(command, [*arguments, str(page)])
        assert done.exit_code == 0, done.exception
        return done.output, unescape(page.read_text(encoding="utf-8"))

    _, page = told("--with", "any", "--focus", "keyhole")
    assert re.findall(r'scope="row">(\w+)', page)[:2] == ["Ottoline", "Zebulah"]
    assert "The focus" in page
    _, page = told("--person", "zebulah", "--with", "OTTOLINE")
    assert re.findall(r'scope="row">(\w+)', page)[:2] == ["Zebulah", "Ottoline"]
    said, page = told("--with", "any", "--no-names")
    assert "person 1 is Ottoline" in said
    assert "person 2" in page
    assert not re.search("ottoline|zebulah", page, re.IGNORECASE)
    periods = ("--period", "2025..2026", "--period", "2026")
    _, page = told("--person", "Ottoline", "--no-names", *periods)
    assert "2025 to 2026" in page
    assert "Ottoline" not in page
    refused: dict[str, tuple[Any, ...]] = {
        "fewer than two groups": ("--with", "any", "--since", "2050"),
        "nothing to be compared": ("--person", "any", "--period", "2026"),
        "ends before": ("--person", "any", "--period", "2026..2025", "--period", "2024"),
        "is not a day": ("--person", "any", "--before-after", "soon"),
        "not both": ("--person", "any", "--before-after", "2026", "--period", "2026"),
        "mixes them": ("--person", "any", "--with", "Zebulah"),
        "periods say it all": ("--person", "any", "--before-after", "2026", "--until", "2026"),
        "name one solve": ("2", "--with", "any"),
    }
    for reason, arguments in refused.items():
        done = run.invoke(command, [*arguments, str(tmp_path / "no.html")])
        assert reason in str(done.exception), (arguments, done.exception)


def test_who_never_had_a_chance_of_a_technique_has_no_share_and_left_nothing() -> None:
    rng = np.random.default_rng(5)
    ada = reviewed(group("Ada", rng, 60), rng)
    bo = replace(ada, name="Bo", chances=replace(ada.chances, techniques=("plain", "other", "x")))
    rows = {name: rows for name, *rows in of(ada, bo).techniques}
    assert [*rows] == ["keyhole", "other", "plain", "x"]
    for name, own, other in (("keyhole", 0, 1), ("other", 1, 0)):
        share, left = rows[name]
        assert share.cells[other] is None
        mine, theirs = left.cells[own], left.cells[other]
        assert mine is not None
        assert theirs is not None
        assert mine.counted == theirs.counted
        assert mine.value.value > theirs.value.value == 0
