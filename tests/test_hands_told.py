"""A person's hands on the report's page, and whose hands the seconds of other commands are for."""

from __future__ import annotations

import json
import re
import shutil
from typing import TYPE_CHECKING, Any

import pytest
from called import called
from test_formats import SHORT, kind_validator
from test_own_kept import KIN, all_taken
from test_own_kept import home as home

from livecube.own.figures import Measured, figures_of
from livecube.own.learning import learn
from livecube.trends.plots import prices_plot, sides_plot

if TYPE_CHECKING:
    from pathlib import Path

MOVES = [
    Measured("R", 90.0, 100.0, 40),
    Measured("R2", 300.0, 150.0, 1),
    Measured("B", 480.0, 500.0, 0),
]


def marks(svg: str) -> list[list[tuple[float, float]]]:
    """Where the marks of each line of a plot are, those of the legend and the axes left out."""
    found = []
    for block in re.findall(r'<g clip-path="[^"]*">(.*?)</g>', svg, re.DOTALL):
        spots = re.findall(r'<use [^>]*x="([\d.]+)" y="([\d.]+)"', block)
        if spots:
            found.append([(float(x), float(y)) for x, y in spots])
    return found


def test_each_price_is_drawn_where_its_milliseconds_are() -> None:
    own, usual = marks(prices_plot(MOVES, "a title", "x"))
    assert len(own) == 2  # the one that was never measured has no spot
    assert len(usual) == 3
    at = {y: x for x, y in usual}
    rows = sorted(at)  # from above: in the order of the moves
    a_ms = (at[rows[2]] - at[rows[0]]) / 400
    for (x, y), one in zip(sorted(own, key=lambda spot: spot[1]), MOVES, strict=False):
        assert y in at
        assert x - at[y] == pytest.approx(a_ms * (one.ms - one.usual_ms), abs=0.01)
    assert at[rows[1]] - at[rows[0]] == pytest.approx(50 * a_ms, abs=0.01)


def test_both_hands_are_drawn_by_their_share_of_the_usual_price() -> None:
    left, right = Measured("L'", 150.0, 100.0, 9), Measured("R", 90.0, 100.0, 9)
    never = Measured("L2", 150.0, 100.0, 0)
    svg = sides_plot([(left, right), (never, right)], 1.2, "a title")
    (one, other) = (line[0] for line in marks(svg))
    assert one[1] == other[1]
    assert one[0] > other[0], "the left hand is slower"
    assert "R" in svg
    assert "L2" not in svg
    assert sides_plot([(never, right)], 1.2, "a title") == ""


@pytest.mark.thorough
def test_the_report_shows_a_persons_hands_and_nobody_elses(home: Path, tmp_path: Path) -> None:
    def page(*who: str) -> str:
        file = tmp_path / f"{len(list(tmp_path.iterdir()))}.html"
        done = called("report", *who, str(file), folder=home)
        assert done.status == 0, done.err
        return file.read_text(encoding="utf-8")

    bo, many = page("--person", "Bo"), page("--person", "any")
    own = figures_of(learn(KIN, all_taken()[5:10]), [])
    for one in own.moves:
        name = one.name.replace("'", "&#x27;")
        times = f"{one.times} times" if one.times > 1 else "1 time" if one.times else "usual"
        cells = (f"{one.ms:.0f}", f"{one.usual_ms:.0f}", times)
        row = f'<tr><th scope="row">{name}</th>' + "".join(f"<td[^>]*>{c}</td>" for c in cells)
        assert re.search(row, bo), one
    assert bo.count("Learned from 5 solves.") == 1
    assert 'aria-label="Price of each move' in bo
    assert 'id="hands"' not in many
    assert re.search(r"\bBo\b", bo)
    assert not re.search(r"\bBo\b", page("--person", "Bo", "--no-names"))


@pytest.mark.thorough
def test_a_followed_cube_and_a_demonstration_say_whose_hands_they_are_for(
    home: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "home"
    shutil.copytree(home, folder)

    def first(*arguments: str) -> dict[str, Any]:
        done = called(*arguments, "--json", folder=folder)
        assert done.status == 0, done.err
        told: list[dict[str, Any]] = [json.loads(line) for line in done.out.splitlines()]
        assert [one["event"] for one in told].count("hands") <= 1
        return told[0]

    follow = ("live", "--simulated", "--speed", "1000", "--seed", "1", "--solves", "1")
    own = {"event": "hands", "own_hands": 412}
    assert first("replay", str(SHORT), "--person", "Ada") == own
    kind_validator("events", "hands").validate(own)
    assert first("replay", str(SHORT), "--person", "Ada", "--hands", "right")["own_hands"] is None
    assert first("replay", str(SHORT), "--person", "Ada", "--no-hints")["event"] != "hands"
    assert first(*follow, "--no-history") == own | {"own_hands": None}
    said = "seconds for Ada's hands, 412 solves"
    for arguments, expected in (
        (("replay", str(SHORT), "--person", "Ada"), 1),
        (("replay", str(SHORT), "--person", "Bo", "--hands", "right"), 0),
    ):
        assert called(*arguments, folder=folder).out.splitlines().count(said) == expected
    pair = ("show", "R U R' U2 R U' R'", "--cross", "yellow")
    shown = called(*pair, "--person", "Ada", folder=folder).out.splitlines()[0]
    assert shown.endswith(", yellow cross, for Ada's hands, 412 solves")
    shown = called(*pair, "--person", "Ada", "--hands", "right", folder=folder).out
    assert "hands" not in shown
    page = tmp_path / "page.html"
    assert called(*pair, "--person", "Ada", "--page", str(page), folder=folder).status == 0
    assert "for Ada&#x27;s hands, 412 solves" in page.read_text(encoding="utf-8")
    assert first(*follow, "--person", "Ada") == own  # last: what it keeps is learned from
