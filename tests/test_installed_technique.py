"""A technique of a third party, installed beside livecube: the guide's own example."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from command import started

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Iterator

GUIDE = Path(__file__).parent.parent / "DEVELOPERS.md"
LAST_SLOT_LEFT = "R U R'"
"""After this only green-red is free, with the yellow cross down."""


def code_of_the_guide() -> str:
    blocks = GUIDE.read_text(encoding="utf-8").split("```python\n")[1:]
    (code,) = [block.split("```")[0] for block in blocks if "class LastSlotOnly" in block]
    return code


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder of modules that holds the package as an installer leaves it."""
    (tmp_path / "last_slot.py").write_text(code_of_the_guide(), encoding="utf-8")
    info = tmp_path / "last_slot-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: last-slot\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(
        "[livecube.techniques]\nlast-slot = last_slot:LastSlotOnly\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    yield tmp_path
    sys.modules.pop("last_slot", None)


def livecube(*arguments: str) -> subprocess.CompletedProcess[str]:
    return started(*arguments, COLUMNS="80")


@pytest.mark.usefixtures("folder")
def test_it_is_listed_behind_our_own() -> None:
    done = livecube("explain")
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1].split(maxsplit=1) == [
        "last-slot",
        "the last free slot, whatever it takes",
    ]


@pytest.mark.usefixtures("tables", "folder")
def test_it_is_explained_with_its_paragraphs_and_an_example() -> None:
    done = livecube("explain", "last-slot")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(
        "Last slot\n\nOnly one slot is left, and every turn is allowed.\n"
    )
    assert "\nIt is the shortest way home, if you can see it.\n" in done.stdout
    assert "published source" not in done.stdout
    assert "An example, held with" in done.stdout
    assert "last-slot  " in done.stdout


@pytest.mark.usefixtures("tables")
def test_without_words_it_goes_by_its_name(folder: Path) -> None:
    code = (folder / "last_slot.py").read_text(encoding="utf-8")
    (folder / "last_slot.py").write_text(code + "\n    about = None\n", encoding="utf-8")
    done = livecube("explain", "last-slot")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("last-slot\n\n")
    assert "An example, held with" in done.stdout


@pytest.mark.usefixtures("tables", "folder")
def test_its_rows_stand_among_the_others_under_its_title() -> None:
    done = livecube("hints", LAST_SLOT_LEFT, "--cross", "yellow", "--all")
    assert done.returncode == 0, done.stderr
    assert "last-slot green-red" in done.stdout


def test_one_that_cannot_be_loaded_is_named(folder: Path) -> None:
    (folder / "last_slot.py").write_text("raise RuntimeError('torn')\n", encoding="utf-8")
    done = livecube("explain")
    assert done.returncode == 2
    assert "'last-slot' (last_slot:LastSlotOnly) cannot be loaded: torn" in done.stderr
