"""Every benchmark and check command still runs. What they show is for whoever runs them in full."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Final

import pytest
from broker import MISSING

FOLDER: Final = Path(__file__).parent / "checks"
NO_COMMANDS: Final = ("beside", "every_command", "mutant_tests", "mutants", "usual_cases")
"""What stands there, and is none."""
CHECKS: Final[dict[str, tuple[str, ...]]] = {
    "advice_check": ("--positions", "4"),
    "compare_fastest": ("--positions", "1", "--techniques", "plain"),
    "count_check": ("--fewer", "2"),
    "dashboard_chaos": ("--solves", "8", "--faults", "3"),
    "dashboard_day": ("--solves", "3"),
    "dashboard_load": ("--desks", "6", "--seconds", "5"),
    "dashboard_turns": ("--turns", "30"),
    "doors_check": ("--solves", "1"),
    "drill_check": ("--sets", "1", "--positions", "1", "--technique", "made-pair"),
    "finite_check": ("--every", "2000"),
    "fit_hands": ("judge", "--cases", "2", "--draws", "1"),
    "fuzz_decoders": ("--packets", "500", "--decoder", "turnwire"),
    "history_check": ("--solves", "20", "--logs", "2"),
    "holding_check": ("--solves", "5", "--counted", "20", "--learned", "2", "--others", "1"),
    "hostile_commands": ("--each", "4"),
    "kill_check": ("--kills", "1"),
    "learn_check": ("--cubes", "1"),
    "lossy": ("--schedules", "3"),
    "make_acquaintance": ("--strangers", "2", "--solves", "1", "--known", "1", "--learned", "1"),
    "make_captures": ("--folder", "."),
    "make_holding_counts": ("--folder", ".", "--solves", "30"),
    "mutation_check": ("--mutants", "1", "--rooms", "timing"),
    "pairs_check": ("--solves", "5"),
    "review_check": ("--solves", "1"),
    "saying_check": ("--solves", "2"),
    "scramble_check": ("--draws", "200", "--scrambles", "2"),
    "screen_check": ("--count", "1", "--slowest", "50", "--cut", "2"),
    "stage_check": ("--sessions", "2"),
    "technique_comparison": ("--positions", "1"),
    "worth_check": ("--positions", "1"),
}
BENCHMARKS: Final = ((), ("--radio",))


def started(command: list[str], folder: Path) -> str:
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_every_check_is_here() -> None:
    there = {path.stem for path in FOLDER.glob("*.py")}
    assert there - {*NO_COMMANDS} == {*CHECKS}


def test_the_guide_lists_every_check() -> None:
    guide = (FOLDER / "README.md").read_text(encoding="utf-8")
    listed = guide[guide.index("| command | shows |") :].split("\n\n")[0]
    assert [name for name in CHECKS if f"`{name}.py`" not in listed] == []


@pytest.mark.parametrize("name", CHECKS)
def test_a_check_runs(name: str, tmp_path: Path) -> None:
    if name.startswith("dashboard_") and MISSING:
        pytest.skip(MISSING)
    said = started([sys.executable, str(FOLDER / f"{name}.py"), *CHECKS[name]], tmp_path)
    assert said or any(tmp_path.iterdir())


@pytest.mark.parametrize("which", BENCHMARKS, ids=" ".join)
def test_a_benchmark_runs(which: tuple[str, ...], tmp_path: Path) -> None:
    said = started([sys.executable, "-m", "livecube", "bench", *which, "--brief"], tmp_path)
    assert len(said.splitlines()) > 3
