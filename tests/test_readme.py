"""The README's examples print what it shows.

``python tests/test_readme.py`` puts in what they print now; read the difference.
"""

from __future__ import annotations

import contextlib
import re
import shlex
import tempfile
from pathlib import Path

import pytest
from command import started

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"```\n\$ (livecube [^\n]*)\n(.*?)```", re.DOTALL)


def printed(example: str, folder: Path) -> str:
    """What is printed by the commands of an example, one after the other."""
    told = ""
    for command in example.split(" && "):
        name, *arguments = shlex.split(command)
        assert name == "livecube", f"a shell is needed for {command}"
        with contextlib.chdir(folder):
            done = started(*arguments, COLUMNS="90")
        assert done.returncode == 0, done.stderr
        told += done.stdout
    return "".join(line.rstrip() + "\n" for line in told.strip("\n").splitlines())


def examples() -> list[tuple[str, str]]:
    """Commands with the output that is shown; those shown without any are left out."""
    found = BLOCK.findall(README.read_text(encoding="utf-8"))
    return [(command, shown) for command, shown in found if not shown.startswith("$ ")]


@pytest.mark.parametrize(("command", "shown"), examples(), ids=lambda text: text[:30])
@pytest.mark.usefixtures("tables")  # prepared, as after a first start
def test_example(command: str, shown: str, tmp_path: Path) -> None:
    assert printed(command, tmp_path) == shown


def test_there_are_examples() -> None:
    assert len(examples()) >= 2


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    for example, old in examples():
        with tempfile.TemporaryDirectory() as folder:
            new = printed(example, Path(folder))
        text = text.replace(f"$ {example}\n{old}```", f"$ {example}\n{new}```")
    README.write_text(text, encoding="utf-8")
