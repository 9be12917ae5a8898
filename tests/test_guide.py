"""The command ``livecube guide``."""

from __future__ import annotations

import json
import os
import pty
import re
import sys
import tomllib
from pathlib import Path

import pytest
from command import started
from forked import Forked

from livecube.edges.guide_pages import guide_pages, page_text, pages_by_link, schema_names
from livecube.views.guide import laid_out

PACKAGE = Path(__file__).parent.parent / "livecube"
NAMES = [page.name for page in guide_pages()]


def test_the_list_has_a_line_for_every_file() -> None:
    there = {
        path.relative_to(PACKAGE).as_posix()
        for folder in ("guide", "formats")
        for path in (PACKAGE / folder).glob("*.md")
    }
    listed = [page.path for page in guide_pages()]
    assert {*listed} == there - {"guide/README.md"} | {"dashboard/topics.md"}
    assert len({*NAMES}) == len(NAMES) == len({*listed})
    lines = started("guide").stdout.splitlines()
    assert [line.split()[0] for line in lines[: len(NAMES)]] == NAMES
    assert max(map(len, lines)) <= 100


def test_pages_and_schemas_ship_with_the_package() -> None:
    project = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text(encoding="utf-8"))
    shipped = {
        path
        for pattern in project["tool"]["setuptools"]["package-data"]["livecube"]
        for path in PACKAGE.glob(pattern)
    }
    there = {path for folder in ("guide", "formats") for path in (PACKAGE / folder).iterdir()}
    assert there - shipped == set()
    assert {PACKAGE / page.path for page in guide_pages()} - shipped == set()


@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_plain_text_in_a_pipe(name: str) -> None:
    (page,) = [page for page in guide_pages() if page.name == name]
    done = started("guide", name)
    assert (done.returncode, done.stdout) == (0, page_text(page))
    assert done.stdout.startswith("# ")


def test_an_unknown_page_is_refused_with_the_names_of_all() -> None:
    done = started("guide", "nothing")
    assert (done.returncode, done.stdout) == (2, "")
    assert "no page is called 'nothing'" in done.stderr
    assert [name for name in NAMES if name not in done.stderr] == []


def test_schemas_are_printed_as_they_ship() -> None:
    there = {path.name for path in (PACKAGE / "formats").glob("*.schema.json")}
    assert {f"{name}.schema.json" for name in schema_names()} == there
    for name in schema_names():
        assert json.loads(started("guide", "--schema", name).stdout)["$id"] in there
    done = started("guide", "--schema", "nothing")
    assert done.returncode == 2
    assert [name for name in schema_names() if name not in done.stderr] == []
    assert started("guide", "log", "--schema", "log").returncode == 2


def test_a_terminal_gets_a_page_laid_out_by_its_pager() -> None:
    ours, theirs = pty.openpty()
    process = Forked(
        [sys.executable, "-m", "livecube", "guide", "safety"],
        stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "60", "PAGER": "cat"},
    )  # fmt: skip
    os.close(theirs)
    shown = b""
    try:
        while part := os.read(ours, 4096):
            shown += part
    except OSError:  # Linux says so when the other side has been closed
        pass
    os.close(ours)
    assert process.wait() == 0
    assert b"Your hands, and small magnets" in shown
    assert b"# Your hands" not in shown


def test_a_page_has_colours_where_they_are_wanted() -> None:
    assert "\x1b[1m" in laid_out("**bold**", 40)


def test_a_link_to_a_page_is_shown_as_the_command_that_shows_it() -> None:
    text = "# Title\n\nSee [words](words.md), [all](https://example.org).\n\n```\nR U  R'\n```\n"
    shown = laid_out(text, 80, {"words.md": "words"}, colours=False)
    assert "words (livecube guide words), all (https://example.org)." in shown
    assert "R U  R'" in shown
    assert "\x1b" not in shown


def test_every_link_of_a_page_is_known_or_leads_elsewhere() -> None:
    for page in guide_pages():
        known = pages_by_link(page)
        assert known[page.path.split("/")[1]] == page.name
        links = re.findall(r"\]\(([^)\s]+\.md)\)", page_text(page))
        assert [link for link in links if link not in known] == []
