"""Style and types hold in all files."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.mark.parametrize(
    "command", ["ruff check", "ruff format --check", "mypy"], ids=lambda c: c.replace(" ", "-")
)
def test_clean(command: str) -> None:
    program, *arguments = command.split()
    done = subprocess.run(
        [Path(sys.executable).parent / program, *arguments],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
