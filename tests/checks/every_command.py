"""Every command is started once, as tests start them. The suite runs this in a world where the
caller has a broker, which must hear nothing: see ``tests/test_the_tests.py``.

``pytest tests/checks/every_command.py`` does the same by itself.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
import pytest
from click.testing import CliRunner

from livecube.cli import _livecube
from livecube.errors import LivecubeError

if TYPE_CHECKING:
    from collections.abc import Iterator

FIXTURES = Path(__file__).parent.parent.parent / "fixtures"
SHORT = str(FIXTURES / "given-start.jsonl")
CAPTURE = str(FIXTURES / "skerry.capture.jsonl")
QUICKLY = ("--simulated", "--speed", "1000", "--seed", "1", "--person", "ada")
COMMANDS: dict[str, tuple[str, ...]] = {
    "live": (*QUICKLY, "--no-hints"),
    "group": ("ada=simulated:1", "--speed", "1000", "--no-hints"),
    "scan": ("--seconds", "0.1"),
    "practice": (*QUICKLY, "--solves", "1", "--no-hints"),
    "history delete": ("1",),
    "history export": (),
    "history import": (SHORT,),
    "history penalty": ("1", "none"),
    "history rescue": (),
    "history show": ("1",),
    "history tag": ("good", "1"),
    "history undo": (),
    "people add": ("ada",),
    "people export": ("me", "me.zip"),
    "people forget": ("me", "--yes"),
    "people move": ("me", "ada"),
    "people rename": ("me", "ada"),
    "people set": ("me", "--level", "keen"),
    "trends": (),
    "report": ("report.html",),
    "archive review": (".", "--to", "set"),
    "archive publish": ("set", "--to", "other"),
    "replay": (SHORT, "--no-hints"),
    "review": (SHORT,),
    "again": ("1",),
    "bring": ("R U' R'", *QUICKLY[:-2], "--tries", "1"),
    "show": ("R U' R' U", "U' R U R'"),
    "drill beat": (*QUICKLY,),
    "drill due": (*QUICKLY,),
    "drill fingers": (*QUICKLY, "--rounds", "1"),
    "lesson check": ("keyhole-corners",),
    "task give": ("friday.json", "20 keyhole-corner hard", "--by", "friday"),
    "task offer": ("ada", "20 keyhole-corner hard", "--as", "bo"),
    "task progress": ("friday.json",),
    "task run": (*QUICKLY,),
    "task take": ("friday.json",),
    "lesson page": ("keyhole-corners", "page.html"),
    "write": (SHORT,),
    "adapt": (SHORT,),
    "hints": ("R U R'",),
    "inspect": ("R U F",),
    "explain": (),
    "hands compare": ("me", "ada"),
    "profile": (),
    "learn": ("--name", "mine", "--capture", CAPTURE),
    "mqtt check": (),
    "mqtt forget": (),
    "mqtt listen": (),
    "mqtt page": ("page.html",),
    "mqtt schema": (),
    "config": (),
    "completion": ("bash",),
    "scramble": ("--seed", "1"),
    "simulate": ("--solves", "1", "--seed", "1", "new.jsonl"),
    "bench": ("--radio", "--count", "20", "--rate", "1000"),
    "guide": ("following",),
}
"""Arguments for each command: it ends soon, and would publish if a broker were configured."""
NEED_A_BROKER = ("mqtt check", "mqtt forget", "mqtt listen", "task offer")


def commands(command: click.Command, path: tuple[str, ...] = ()) -> Iterator[str]:
    """The names of all commands that are no groups."""
    if not isinstance(command, click.Group):
        yield " ".join(path)
        return
    context = click.Context(command)
    for name in command.list_commands(context):
        below = command.get_command(context, name)
        assert below is not None
        yield from commands(below, (*path, name))


def test_all_are_here() -> None:
    assert set(commands(_livecube)) == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_it_starts_without_a_broker(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(_livecube, [*name.split(), *COMMANDS[name]])
    if name in NEED_A_BROKER:
        assert "no broker is named" in str(done.exception)
    elif done.exception is not None:
        assert isinstance(done.exception, LivecubeError | SystemExit), done.exception
        assert done.exit_code != 2, done.output  # the command line is accepted
