"""The documents show the program's real output, and name only things that exist.

``python tests/test_readme.py`` renews the output of the examples; read the difference.
"""

from __future__ import annotations

import asyncio
import contextlib
import io
import re
import shlex
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from command import started
from examples import thorough
from rich.console import Console

from livecube.cli import commands
from livecube.composition.assembly import load_advisor, load_holdings
from livecube.composition.following import Hub, follow_log
from livecube.composition.pipeline import Pipeline
from livecube.edges.log_files import LogReader
from livecube.edges.sinks import Board
from livecube.events import Cause
from livecube.stages.tracker import Tracker
from livecube.views.live_screen import LiveScreen

if TYPE_CHECKING:
    from livecube.edges.sinks import Item

ROOT: Final = Path(__file__).parent.parent
README: Final = ROOT / "README.md"
GUIDE: Final = sorted((ROOT / "livecube/guide").glob("*.md"))
FORMATS: Final = sorted((ROOT / "livecube/formats").glob("*.md"))
USERS: Final = [README, *GUIDE, *FORMATS]
"""The documents for users."""
ALL: Final = [
    *ROOT.glob("*.md"),
    *(path for folder in ("fixtures", "livecube", "protocols", "tests")
      for path in sorted((ROOT / folder).rglob("*.md"))),
]  # fmt: skip
BLOCK: Final = re.compile(r"```\n\$ (livecube [^\n]*)\n(.*?)```", re.DOTALL)
LINK: Final = re.compile(r"\]\(([^)#:]+)(?:#[^)]*)?\)")
FILE: Final = re.compile(r"`([\w./-]+\.(?:py|md|toml|npz|sh|schema\.json))`")
SCRIPT: Final = re.compile(r"python (tests/[\w/]+\.py)")
INVENTED: Final = {"mine.toml", "config.toml", "pyproject.toml"}
"""Files of a reader that documents name."""
MOST_BYTES: Final = {"README.md": 12_000, "DEVELOPERS.md": 15_000}


def printed(example: str, folder: Path) -> str:
    """The output of an example's commands, one after the other."""
    told = ""
    for command in example.split(" && "):
        name, *arguments = shlex.split(command)
        assert name == "livecube", f"a shell is needed for {command}"
        with contextlib.chdir(folder):
            done = started(*arguments, COLUMNS="90")
        assert done.returncode == 0, done.stderr
        told += done.stdout
    return "".join(line.rstrip() + "\n" for line in told.strip("\n").splitlines())


def examples(document: Path) -> list[tuple[str, str]]:
    """Commands with the shown output; commands without output are left out."""
    found = BLOCK.findall(document.read_text(encoding="utf-8"))
    return [(command, shown) for command, shown in found if not shown.startswith("$ ")]


SCREEN: Final = re.compile(r"```\n(livecube   simulated cube, seed 25 .*?)```", re.DOTALL)
"""Commands whose screen is shown: ``livecube live --simulated --seed 25``."""


class _FirstSplit:
    """A screen of 80 columns, drawn when a hint has come after the first split."""

    name = "screen"

    def __init__(self) -> None:
        self._board = Board(LiveScreen("simulated cube, seed 25", keys=True))
        self.drawn = ""

    async def take(self, item: Item) -> None:
        if isinstance(item, Cause):
            return
        self._board.take(item)
        shown = self._board.shown
        if not self.drawn and shown.splits and shown.plan is not None:
            console = Console(file=io.StringIO(), width=80, height=40, color_system=None)
            console.print(shown)
            assert isinstance(console.file, io.StringIO)
            lines = console.file.getvalue().splitlines()
            self.drawn = "\n".join(line.rstrip() for line in lines) + "\n"

    async def close(self) -> None:
        """Nothing is held back."""


def live_screen(folder: Path) -> str:
    """The screen, from a log of the same solve."""
    log = folder / "live.jsonl"
    quickly = ("--speed", "1000", "--no-hints", "--log", str(log))
    done = started("live", "--simulated", "--seed", "25", *quickly)
    assert done.returncode == 0, done.stderr
    screen = _FirstSplit()

    async def follow() -> None:
        with LogReader(log) as reader:
            pipeline = Pipeline(Tracker(reader.header.position), lambda: 0.0)
            pipeline.advisor, pipeline.holdings = load_advisor(), load_holdings()
            async with Hub([screen]) as hub:
                await follow_log(reader, pipeline, hub, None, lambda: 0.0)

    asyncio.run(follow())
    return screen.drawn


SHOWN: Final = sorted({example for document in USERS for example in examples(document)})


@pytest.mark.parametrize(
    ("command", "shown"),
    [one if one in examples(README) else thorough(*one) for one in SHOWN],
    ids=lambda text: text[:40],
)
@pytest.mark.usefixtures("tables")  # prepared, as after a first start
def test_example(command: str, shown: str, tmp_path: Path) -> None:
    assert printed(command, tmp_path) == shown


@pytest.mark.usefixtures("tables")
def test_the_screen_that_is_shown_is_the_screen(tmp_path: Path) -> None:
    drawn = live_screen(tmp_path)
    shown = [screen for page in USERS for screen in SCREEN.findall(page.read_text("utf-8"))]
    assert shown == [drawn, drawn]


def test_there_are_examples() -> None:
    assert len(examples(README)) >= 2
    assert len(SHOWN) >= 7


@pytest.mark.parametrize("document", ALL, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_and_files_that_a_document_names_are_there(document: Path) -> None:
    text = document.read_text(encoding="utf-8")
    links = [link for link in LINK.findall(text) if not (document.parent / link).exists()]
    around = (document.parent, ROOT, ROOT / "livecube", ROOT / "tests", ROOT / "tests/checks")
    files = [
        name
        for name in FILE.findall(text)
        if name not in INVENTED and not any((folder / name).exists() for folder in around)
    ]
    scripts = [
        name for name in SCRIPT.findall(text) if "NAME" not in name and not (ROOT / name).exists()
    ]
    assert (links, files, scripts) == ([], [], [])


@pytest.mark.parametrize("name", MOST_BYTES)
def test_a_document_stays_as_short_as_it_is_meant_to_be(name: str) -> None:
    assert len((ROOT / name).read_bytes()) <= MOST_BYTES[name]


def test_every_command_is_told_in_the_readme_and_on_a_page() -> None:
    table = README.read_text(encoding="utf-8")
    pages = "".join(page.read_text(encoding="utf-8") for page in GUIDE)
    for name, _ in commands():
        assert f"`{name}`" in table or f"livecube {name}" in table, name
        assert re.search(rf"livecube {name}\b", pages), name


def test_the_readme_leads_to_every_page() -> None:
    text = README.read_text(encoding="utf-8")
    told = {page for page in GUIDE if f"(livecube/guide/{page.name})" in text}
    assert {page.stem for page in {*GUIDE} - told} == {"README", "safety"}
    assert "## Your hands, and small magnets" in text  # the whole page of safety


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        screen_now = live_screen(Path(place))
    for page in USERS:
        text = page.read_text(encoding="utf-8")
        for example, old in examples(page):
            with tempfile.TemporaryDirectory() as folder:
                new = printed(example, Path(folder))
            text = text.replace(f"$ {example}\n{old}```", f"$ {example}\n{new}```")
        for screen_then in SCREEN.findall(text):
            text = text.replace(screen_then, screen_now)
        page.write_text(text, encoding="utf-8")
