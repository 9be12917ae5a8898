"""The report: one page without other files, opened in a real browser."""

from __future__ import annotations

import re
from html import unescape
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from browser import AXE, sized
from browser import MISSING as NO_BROWSER
from click.testing import CliRunner
from examples import thorough
from reviewed import each_review_once as each_review_once
from test_comparing import comparison
from test_trends import columns, evening_noise

from livecube.cli.report import report as command
from livecube.composition.assembly import load_advisor, set_level
from livecube.composition.reviewing import begun_kept, begun_solves, review_of
from livecube.cube.code import position_code
from livecube.cube.notation import moves_text, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.automaton_file import load_hands
from livecube.hands.verdict import Verdict
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.own.figures import Measured, OwnFigures
from livecube.review.text import costs_told
from livecube.solves.records import Chance
from livecube.trends.making import trends_of
from livecube.trends.measures import ChanceColumns, LossColumns
from livecube.trends.page import trends_page
from livecube.trends.plots import distribution_plot
from livecube.views.page import position_svg

if TYPE_CHECKING:
    from selenium.webdriver import Chrome

    from livecube.review.reviewed import Review

ROOT = Path(__file__).parent.parent
NO_AXE = "axe-core is not there: npm install --prefix . --no-save axe-core"
NONE = np.zeros(0, dtype=np.int64)
NO_CHANCES = ChanceColumns(NONE, NONE, NONE, NONE, NONE, NONE, (), ())
EVIL = "<img/src=x/onerror=document.title='harmed'>"


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return kept_with(tmp_path / "data", EVIL)


@pytest.fixture(scope="module")
def unchanged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same history for tests that do not change it."""
    return kept_with(tmp_path_factory.mktemp("report") / "data", EVIL)


@pytest.fixture(scope="module")
def solve_page(unchanged: Path) -> Path:
    """The page of its second solve."""
    return written(unchanged, "2")


@pytest.fixture(scope="module")
def trend_page(unchanged: Path) -> Path:
    """The page of its trends."""
    return written(unchanged)


@pytest.fixture(scope="module")
def whole_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with all sections."""
    return long_page(tmp_path_factory.mktemp("report"))


def kept_with(folder: Path, text: str) -> Path:
    """A history with reviewed solves; ``text`` is a person, a tag and a technique."""
    with History(folder) as history:
        import_log(history, ROOT / "fixtures" / "evening.jsonl", text)
        history.tag([2], text)
        history.note_chances(
            2, [Chance(1, text, "green-orange", False, 400), Chance(2, "plain", "GR", True, 0)]
        )
    return folder


def written(kept: Path, *arguments: str) -> Path:
    page = kept / f"page{len(list(kept.glob('*.html')))}.html"
    run = CliRunner(env={"LIVECUBE_DATA": str(kept)})
    done = run.invoke(command, [*arguments, str(page)])
    assert done.exit_code == 0, done.output
    return page


def long_page(folder: Path, text: str = EVIL) -> Path:
    """A page with all sections: many evenings, chances, plans, and hands."""
    rng = np.random.default_rng(2)
    solve, stage = rng.integers(1, 300, 900), rng.integers(1, 5, 900)
    chances = ChanceColumns(
        solve, stage, rng.integers(0, 3, 900), rng.integers(0, 2, 900), rng.integers(0, 2, 900),
        rng.integers(-300, 900, 900), ("keyhole-corner", "plain", text), ("green-orange", "GR"),
    )  # fmt: skip
    parts = rng.normal([400, -100, 200, 5], 300, (900, 4)).astype(int)
    losses = LossColumns(solve, parts, rng.integers(0, 2, 900))
    found = trends_of(columns(evening_noise(rng, 300)), chances, rng, None, None, losses)
    assert found is not None
    page = folder / "long.html"
    moves = tuple(
        Measured(face + amount, 70.0 + 9 * n, 100.0, n % 5)
        for n, (face, amount) in enumerate(product("ULFRBD", ("", "2", "'")))
    )
    dearest = tuple(Measured(f"R U2 Rw' {one.name}", 900.0, 90.0, 8) for one in moves[:8])
    own = OwnFigures(40, Verdict(), Verdict(), 1.2, -0.1, moves, dearest, (), ())
    page.write_text(trends_page(found, text, (text, own)), encoding="utf-8")
    return page


def test_a_drawing_shows_every_sticker_where_it_is() -> None:
    drawn = position_svg(apply_turns(SOLVED, parse_turns("U")), "after U")
    spots = re.findall(r'sticker (\w+)"><rect x="(\d+)" y="(\d+)"', drawn)
    assert len(set(spots)) == 54
    rows = {(x, y): colour for colour, x, y in spots}
    # U turns what was on the right to the front: the upper row of green is red now.
    assert [rows[str(33 + 10 * n), "33"] for n in range(3)] == ["red"] * 3
    assert [rows[str(33 + 10 * n), "43"] for n in range(3)] == ["green"] * 3


FORMATS = {0: 0b101010000010010, 1: 0b101000100100101, 2: 0b101111001111100,
           3: 0b101101101001011, 4: 0b100010111111001, 5: 0b100000011001110,
           6: 0b100111110010111, 7: 0b100101010100000}  # fmt: skip
"""ISO/IEC 18004, table C.1: the sign of level M with each mask, from memory."""
MASKS = (
    lambda y, x: (y + x) % 2, lambda y, x: y % 2, lambda y, x: x % 3, lambda y, x: (y + x) % 3,
    lambda y, x: (y // 2 + x // 3) % 2, lambda y, x: y * x % 2 + y * x % 3,
    lambda y, x: (y * x % 2 + y * x % 3) % 2, lambda y, x: ((y + x) % 2 + y * x % 3) % 2,
)  # fmt: skip


def scanned(svg: str) -> str:
    """The text in a drawn QR code of the smallest size, without any correction of errors."""
    dark = {(int(y) - 4, int(x) - 4) for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", svg)}
    sign = [(8, x) for x in (0, 1, 2, 3, 4, 5, 7, 8)] + [(y, 8) for y in (7, 5, 4, 3, 2, 1, 0)]
    told = sum(((spot in dark) << 14 - at) for at, spot in enumerate(sign))
    (mask,) = [number for number, known in FORMATS.items() if known == told]
    bits = ""
    for right in (20, 18, 16, 14, 12, 10, 8, 5, 3, 1):
        up = right in (20, 16, 12, 8, 3)
        for y in range(20, -1, -1) if up else range(21):
            for x in (right, right - 1):
                if y != 6 and not (y < 9 and (x < 9 or x > 12)) and not (y > 12 and x < 9):
                    bits += str(int(((y, x) in dark) ^ (not MASKS[mask](y, x))))
    assert bits[:4] == "0010", "capitals, digits and few signs"
    letters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
    count, text = int(bits[4:13], 2), ""
    for at in range(13, 13 + 11 * (count // 2), 11):
        text += letters[int(bits[at : at + 11], 2) // 45] + letters[int(bits[at : at + 11], 2) % 45]
    last = 13 + 11 * (count // 2)
    return text + (letters[int(bits[last : last + 6], 2)] if count % 2 else "")


@pytest.mark.thorough
def test_a_code_is_scanned_as_it_is_written(
    unchanged: Path, solve_page: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    figures = re.findall(r"<figcaption>.*?</figcaption>", solve_page.read_text("utf-8"))
    assert len(figures) > 5
    for figure in figures:
        (code,) = re.findall(r'class="turns"[^>]*>(?:<span class="whole">)?([2-9A-Z-]{19})', figure)
        assert scanned(figure) == code
    monkeypatch.setattr("livecube.views.page.find_spec", lambda name: None)
    without = written(unchanged, "2").read_text("utf-8")
    assert code in without
    assert 'class="qr"' not in without


@pytest.mark.parametrize("name", ["solve_page", "trend_page", thorough("whole_page")])
def test_pages_fetch_and_run_nothing(name: str, request: pytest.FixtureRequest) -> None:
    text = request.getfixturevalue(name).read_text(encoding="utf-8")
    assert "<img" not in text
    assert "<script" not in text
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(set(ids)) == len(ids)
    links = re.findall(r'(?:href|src)="([^"]*)"|url\(([^)]*)\)', text)
    assert links
    assert {(a or b)[:1] for a, b in links} <= {"#", "d"}  # in the page, or the empty icon
    assert set(re.findall(r'href="#([^"]+)"', text)) <= set(ids)


def test_the_page_of_a_solve_holds_its_review(kept: Path, solve_page: Path) -> None:
    text = unescape(solve_page.read_text(encoding="utf-8"))
    text = re.sub(r'<span class="whole">([^<]*)</span>', r"\1", text)
    one = reviewed(kept, 2)
    assert len(costs_told(one)) == 3
    for sentence in costs_told(one):
        assert f"<li>{sentence}</li>" in text
    ways = [way for stage in one.stages for way in stage.alternatives]
    assert ways
    for way in ways:
        assert moves_text(way.row.moves) in text
    with History(kept) as history:
        log = history.folder / history.solve(2).log
    (begun,) = begun_solves(log)
    assert position_code(np.frombuffer(begun.start, dtype=np.uint8)) in text
    log.unlink()
    assert "Its log cannot be read any more." in written(kept, "2").read_text(encoding="utf-8")


def reviewed(kept: Path, number: int) -> Review:
    advisor = load_advisor()
    set_level(advisor, "calm")
    with History(kept) as history:
        return review_of(begun_kept(history, number), advisor, load_hands())


def test_what_cannot_be_reported_is_said(unchanged: Path, trend_page: Path) -> None:
    kept, there = unchanged, trend_page
    run = CliRunner(env={"LIVECUBE_DATA": str(kept)})
    before = there.read_bytes()
    for arguments, said in (
        ([str(there)], "exists"),
        (["999", str(kept / "n.html")], "no solve has the number"),
        (["2", "--cross", "red", str(kept / "n.html")], "name one solve"),
        (["--since", "2050", str(kept / "n.html")], "no kept solve with a time"),
        ([str(kept / "none" / "n.html")], "cannot be written"),
    ):
        done = run.invoke(command, arguments)
        assert done.exit_code
        assert said in str(done.exception)
    assert there.read_bytes() == before


def few_solves(folder: Path) -> Path:
    """A page of few solves of one day, too few to judge changes."""
    rng = np.random.default_rng(3)
    found = trends_of(columns(evening_noise(rng, 3)), NO_CHANCES, rng)
    assert found is not None
    page = folder / "few.html"
    page.write_text(trends_page(found, "few"), encoding="utf-8")
    return page


def test_what_cannot_be_told_is_said_once_and_one_point_is_no_plot(tmp_path: Path) -> None:
    text = few_solves(tmp_path).read_text(encoding="utf-8")
    assert len(re.findall("too few solves", text, re.IGNORECASE)) == 1
    assert "Mean time of each period" not in text
    assert "Mean seconds of each split over" not in text
    assert "Distribution of the times" in text


def test_the_last_bin_is_drawn_as_wide_as_it_is() -> None:
    drawn = distribution_plot([(8.0, 10.0, 3), (10.0, 12.0, 9), (12.0, 20.0, 2)], "times")
    bars = [
        [float(number) for number in re.findall(r"[ML] ([\d.]+) ", path)]
        for path in re.findall(
            r'id="distribution-patch_\d+">\s*<path d="([^"]*)"[^>]*style="fill: v', drawn
        )
    ]
    widths = sorted({round(max(xs) - min(xs)) for xs in bars if len({*xs}) == 2} - {0})
    assert widths[1] == pytest.approx(4 * widths[0], rel=0.03)


WIDTHS = (360, 800, 1440)
OUTSIDE = """
return [...document.querySelectorAll('.scroll')].filter(one => one.scrollWidth > one.clientWidth)
  .map(one => one.getAttribute('aria-label') + ' ' + one.scrollWidth + ' ' + one.clientWidth)
"""
USED = "return document.querySelector('main').getBoundingClientRect().width"
BROKEN = """
return [...document.querySelectorAll('.whole')].filter(one => one.getClientRects().length > 1)
  .map(one => one.textContent)
"""
STYLED = """
const styled = one => getComputedStyle(document.querySelector(one));
return [styled('body').backgroundColor, styled('body').color, styled('nav').display,
        styled('.scroll').overflowX, styled('table').breakInside]
"""
PAPER = ["rgb(255, 255, 255)", "rgb(0, 0, 0)", "none", "visible", "avoid"]
SCHEMES = {"light": "rgb(250, 249, 246)", "dark": "rgb(23, 25, 28)"}
A4 = 720
"""Width of a sheet within its margins, in pixels of the page."""


class Shown:
    """A page in a browser, as wide and as lit as wanted."""

    def __init__(self, of: Chrome) -> None:
        self.driver: Any = of

    def open(self, page: Path, width: int, scheme: str, media: str = "") -> None:
        """Open a page; ``media``: ``print`` for paper."""
        wanted = [{"name": "prefers-color-scheme", "value": scheme}]
        lit = {"media": media, "features": wanted}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", lit)
        sized(self.driver, width, 800, mobile=width < 500)
        self.driver.get(page.as_uri())
        assert self.js("return document.documentElement.scrollWidth") <= width

    def js(self, script: str) -> Any:
        return self.driver.execute_script(script)


@pytest.fixture
def shown(driver: Chrome) -> Shown:
    return Shown(driver)


@pytest.mark.thorough
@pytest.mark.skipif(bool(NO_BROWSER), reason=NO_BROWSER)
def test_no_column_lies_outside_and_no_name_is_broken(tmp_path: Path, shown: Shown) -> None:
    kept = kept_with(tmp_path / "data", "pseudo-x-cross")
    many = long_page(tmp_path, "pseudo-x-cross")
    compared = comparison(tmp_path, "pseudo-x-cross")
    for page in (written(kept, "2"), written(kept), many, few_solves(tmp_path), compared):
        for width in WIDTHS:
            shown.open(page, width, "light")
            assert shown.js(OUTSIDE) == [], (page.name, width)
            assert shown.js(BROKEN) == [], (page.name, width)
            assert shown.js(USED) > 0.9 * width, "the page uses its width"
        shown.open(page, A4, "dark", "print")
        assert shown.js(STYLED) == PAPER
        assert shown.js(BROKEN) == []


@pytest.mark.thorough
@pytest.mark.skipif(bool(NO_BROWSER), reason=NO_BROWSER)
@pytest.mark.skipif(not AXE.exists(), reason=NO_AXE)
def test_everybody_can_read_a_page_and_it_runs_nothing(
    solve_page: Path, trend_page: Path, whole_page: Path, tmp_path: Path, shown: Shown
) -> None:
    schemes = (("light", 1000), ("dark", 360))
    for page, looks in (
        (solve_page, schemes), (trend_page, schemes[:1]),
        (whole_page, schemes[1:]), (comparison(tmp_path, EVIL), schemes),
    ):  # fmt: skip
        for scheme, width in looks:
            shown.open(page, width, scheme)
            assert shown.js(STYLED)[0] == SCHEMES[scheme]
            assert shown.driver.title != "harmed"
            shown.js(AXE.read_text(encoding="utf-8"))
            found = shown.driver.execute_async_script(
                "const done = arguments[arguments.length - 1];"
                "axe.run().then(r => done(r.violations))"
            )
            assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
            said: list[dict[str, str]] = shown.driver.get_log("browser")
            assert [one for one in said if one["level"] == "SEVERE"] == []
