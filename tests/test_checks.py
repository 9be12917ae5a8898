"""Every benchmark and check command still runs; only full runs give figures."""

from __future__ import annotations

import contextlib
import io
import json
import os
import runpy
import subprocess
import sys
import warnings
from contextlib import redirect_stdout
from pathlib import Path
from typing import Final
from unittest.mock import patch

import pytest
from broker import MISSING
from command import started
from examples import thorough
from forked import Forked

FOLDER: Final = Path(__file__).parent / "checks"
NO_COMMANDS: Final = (
    *("beside", "every_command", "known_sequences", "mutant_tests", "mutants"),
    *("usual_cases", "usual_counts"),
)
"""Files of the folder that are not checks."""
CHECKS: Final[dict[str, tuple[str, ...]]] = {
    "advice_check": ("--positions", "2"),
    "archive_check": ("--solves", "1", "--workers", "--rows", "1"),
    "code_check": ("--positions", "20"),
    "compare_fastest": (
        *("--positions", "1", "--plans", "1", "--seed", "6"),
        *("--techniques", "plain", "cross", "x-cross"),
    ),
    "count_check": ("--fewer", "4"),
    "dashboard_chaos": ("--solves", "2", "--faults", "1"),
    "dashboard_day": ("--solves", "3"),
    "dashboard_load": ("--desks", "2", "--seconds", "5", "--processes", "1"),
    "dashboard_turns": ("--turns", "10"),
    "doors_check": ("--solves", "1"),
    "drill_check": ("--sets", "1", "--positions", "1", "--technique", "made-pair"),
    "finite_check": ("--every", "100000"),
    "eyes_check": (
        *("--persons", "1", "--near", "1", "--after", "5", "--tests", "3", "--solvers", "1"),
    ),
    "first_advice_check": (
        *("--persons", "1", "--after", "5", "--beginnings", "2", "--solvers", "1", "--slower"),
    ),
    "fit_hands": ("judge", "--cases", "2", "--draws", "1"),
    "forget_check": ("--kills", "1", "--solves", "2"),
    "fuzz_decoders": ("--packets", "500", "--decoder", "turnwire"),
    "history_check": ("--solves", "5", "--logs", "1", "--questions", "0", "--imports", "1"),
    "holding_check": (
        *("--solves", "1", "--counted", "3", "--learned", "1", "--others", "0"),
        *("--persons", "1", "--each", "1"),
    ),
    "home_check": ("--brief",),
    "group_check": (
        "--part",
        json.dumps({"name": "all", "first": 2, "desks": 1, "solves": 1, "rate": 1000}),
    ),
    "hostile_commands": ("--each", "1", "--only", "hints", "history show", "learn", "live"),
    "kill_check": ("--kills", "1", "--seed", "45"),  # the kills come soon
    "learn_check": ("--cubes", "1"),
    "lossy": ("--schedules", "1"),
    "make_acquaintance": (
        *("--strangers", "2", "--solves", "1", "--known", "1", "--learned", "1"),
        *("--everyday", "1"),
    ),
    "make_captures": ("--folder", "."),
    "make_holding_counts": ("--folder", ".", "--solves", "2", "--manners"),
    "mutation_check": ("--mutants", "0", "--rooms", "timing"),
    "offers_check": ("--turns", "4"),
    "packets_check": ("--packets", "3", "--decoder", "turnwire"),
    "pairs_check": ("--solves", "5"),
    "person_check": (
        *("--persons", "1", "--near", "1", "--read", "1", "--after", "5", "--tests", "3"),
        *("--solvers", "1", "--many", "20"),
    ),
    "review_check": ("--solves", "1"),
    "saying_check": ("--solves", "1"),
    "scramble_check": ("--draws", "200", "--scrambles", "2", "--no-superflip"),
    "screen_check": ("--count", "1", "--slowest", "4", "--cut", "0.3"),
    "slip_check": ("--cubes", "1"),
    "stage_check": ("--sessions", "2"),
    "technique_comparison": ("--positions", "1"),
    "technique_worth_check": ("--persons", "3"),
    "thorough": ("--times", "2", "--tests", "tests/test_timing.py"),
    "worth_check": ("--positions", "1"),
}
LONGER: Final[dict[str, tuple[str, ...]]] = {
    "archive_check": ("--solves", "1", "--workers", "1"),
    "group_check": (
        *("--desks", "2", "--radio-desks", "1", "--solves", "1", "--rate", "1000", "--here"),
    ),
    "holding_check": (
        *("--solves", "2", "--counted", "3", "--learned", "1", "--others", "1"),
        *("--persons", "1", "--each", "1"),
    ),
    "make_holding_counts": ("--folder", ".", "--solves", "2", "--manners", "back"),
    "mutation_check": ("--mutants", "1", "--rooms", "timing"),
}
"""What the suite leaves out of some: workers, a radio, other solvers, much counting, the tests of a
mutant."""


def ran(name: str, arguments: tuple[str, ...], folder: Path) -> str:
    """The output of a check, run in this process, which has imported most modules already."""
    out, status = io.StringIO(), 0
    with (
        patch.dict(os.environ),
        patch.object(sys, "argv", [f"{name}.py", *arguments]),
        patch.object(sys, "path", [*sys.path]),
        contextlib.chdir(folder),
        redirect_stdout(out),
        patch.object(subprocess, "Popen", Forked),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore", RuntimeWarning)  # means of nothing: there are few of all
        try:
            runpy.run_path(str(FOLDER / f"{name}.py"), run_name="__main__")
        except SystemExit as over:
            status = over.code if isinstance(over.code, int) else int(over.code is not None)
    assert status == 0, out.getvalue()
    return out.getvalue()


def test_every_check_is_here() -> None:
    there = {path.stem for path in FOLDER.glob("*.py")}
    assert there - {*NO_COMMANDS} == {*CHECKS}


def test_the_guide_lists_every_check() -> None:
    guide = (FOLDER / "README.md").read_text(encoding="utf-8")
    listed = guide[guide.index("| command | shows |") :].split("\n\n")[0]
    assert [name for name in CHECKS if f"`{name}.py`" not in listed] == []


@pytest.mark.parametrize(
    ("name", "arguments"), [*CHECKS.items(), *(thorough(*one) for one in LONGER.items())],
    ids=[*CHECKS, *(f"{name}-longer" for name in LONGER)],
)  # fmt: skip
def test_a_check_runs(name: str, arguments: tuple[str, ...], tmp_path: Path) -> None:
    if name.startswith(("dashboard_", "home_", "offers_")) and MISSING:
        pytest.skip(MISSING)
    assert ran(name, arguments, tmp_path) or any(tmp_path.iterdir())


@pytest.mark.parametrize(
    "arguments", [("--brief",), ("--radio", "--brief", "--rate", "1000")], ids=" ".join
)
def test_a_benchmark_runs(arguments: tuple[str, ...]) -> None:
    with patch.object(subprocess, "Popen", Forked):
        done = started("bench", *arguments)
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) > 3
