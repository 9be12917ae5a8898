"""The tests of each room: which of them may notice a mutant, and their verdict on it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from mutants import Mutant

__all__ = ["TESTS", "TOO_LONG", "Copy", "Observed", "chosen"]

_LEAST_LIMIT_S: Final = 30.0
_SLOWER: Final = 3.0
"""A mutant that takes this many times as long as the program counts as endless."""
TOO_LONG: Final = "it took too long"
"""In place of a failure."""
_TABLES_S: Final = 120.0
"""Additional seconds if it has to make the program's tables."""
_QUICK_S: Final = 0.1
_SLOW_S: Final = 4.0
_SOME: Final = 3
"""Slow tests are left out if this many others run the same block."""

TESTS: Final[dict[str, str]] = {
    "advice": "advice_golden words best_choice speaker plan advice saying explain inspection "
    "manner advice_rows",
    "clock": "clock turnwire",
    "conformance": "conformance decoders_hostile",
    "cube": "cube notation facelets position_codes published_group",
    "dashboard": "dashboard desks outbox monthly mqtt_commands offers",
    "decoding": "clock conformance profile_golden",
    "drills": "drill_golden drill_rounds drills missing",
    "entries": "mqtt_commands",
    "events": "clock logs mending",
    "hands": "own_formulas own_golden automaton own_hands review_golden",
    "holding": "holding_golden holding acquaintance write",
    "holding/executions": "own_hands",
    "holding/written": "write",
    "learning": "learning_golden learning_limits learning_fields refusals judging learning",
    "logs": "logs logs_refused",
    "mending": "mending",
    "practice": "practice_golden gestures practice group",
    "profiles": "profile_golden profiles profile_files",
    "review": "findings review_golden review again",
    "scrambling": "practice_golden scrambles",
    "search": "advice_golden techniques fastest plan published_cube finite_set",
    "search/book": "advice_golden fastest plan finite_set own_book",
    "search/openings": "uncompiled",
    "search/spelling": "uncompiled advice_golden techniques fastest",
    "search/uncompiled": "uncompiled advice_golden",
    "solves": "people history practice",
    "stages": "stages_golden stages following golden",
    "techniques": "advice_golden advice techniques explain",
    "timing": "timing",
    "trends": "trends technique_worth losses monthly comparing",
    "virtual": "virtual_golden virtual_solver",
    "virtual/profile_cube": "profile_golden profiles",
}
"""Tests of each room, and of modules with tests elsewhere; the most sensitive first."""
_LEFT_OUT: Final = (
    "test_a_set_is_balanced_and_comes_again_only_with_its_seed",
    "test_the_technique_is_the_best_choice",
    "test_set_ups_of_a_set_are_short",
    "test_killed_at_random_moments_it_loses_no_finished_solve",
    "test_a_position_that_is_brought_is_tried_and_compared",
    "test_a_password_on_the_command_line_is_refused_and_not_repeated",
)
"""Slow tests that notice little more than the others of their room."""
_WARMING: Final = (("hints", "R U R' U'"), ("replay", "fixtures/evening.jsonl"))
_MADE_ONCE: Final = tuple(
    f"{name}.py"
    for name in (
        "scrambling/coordinates", "scrambling/tables", "search/bounds", "search/coordinates",
        "search/hand_arrays", "search/pair_table", "search/tables", "search/task", "search/written",
    )
)  # fmt: skip
"""Modules whose mutants would get the program's tables from the cache."""


@dataclass(frozen=True, slots=True)
class Observed:
    """A test of a room."""

    name: str
    took_s: float
    worked_s: float
    """Processor time with children, by which tests are chosen: a busy machine changes it little."""
    blocks: frozenset[tuple[str, int]]
    """Module and first line of each block that it runs."""


@dataclass(frozen=True, slots=True)
class Copy:
    """A copy of the tree, and the program's cache."""

    tree: Path
    cache: Path
    folder: Path

    def warm(self) -> None:
        """Make the tables and compile the kernels that every test needs."""
        environment = os.environ | {
            "PYTHONPATH": str(self.tree),
            "NUMBA_CACHE_DIR": str(self.cache / "compiled"),
            "LIVECUBE_CACHE": str(self.cache),
        }
        for command in _WARMING:
            subprocess.run(
                [sys.executable, "-m", "livecube", *command], cwd=self.tree, env=environment,
                stdout=subprocess.DEVNULL, check=True,
            )  # fmt: skip

    def observed(self, room: str) -> tuple[str | None, list[Observed]]:
        """The first failure of the unchanged program's tests, or None; and the blocks they run."""
        own = self.folder / f"observed-{room.replace('/', '-')}"
        (own / "blocks").mkdir(parents=True)
        found = own / "found.json"
        environment = {
            "LIVECUBE_MUTANT_OBSERVED": f"livecube.{room.replace('/', '.')}",
            "LIVECUBE_MUTANT_BLOCKS": str(own / "blocks"),
            "LIVECUBE_MUTANT_FOUND": str(found),
        }
        said = self._pytest(own, files_of(room), 3600, environment)
        if said is not None:
            return said, []
        told = json.loads(found.read_text("utf-8"))
        return None, [
            Observed(
                name,
                one["took_s"],
                one["worked_s"],
                frozenset(map(tuple, one["blocks"] + told["imported"])),
            )
            for name, one in told["tests"].items()
        ]

    def run(self, mutant: Mutant, tests: Sequence[Observed], at: int) -> str | None:
        """The first failure of these tests with a mutant; None if all pass."""
        own = self.folder / f"run-{at}"
        own.mkdir()
        try:
            return self._run(own, mutant, tests)
        finally:
            shutil.rmtree(own, ignore_errors=True)

    def _run(self, own: Path, mutant: Mutant, tests: Sequence[Observed]) -> str | None:
        file, changed, chosen = self.tree / mutant.file, own / "mutant.py", own / "tests.json"
        changed.write_text(mutant.source(file.read_text(encoding="utf-8")), encoding="utf-8")
        chosen.write_text(json.dumps([test.name for test in tests]), encoding="utf-8")
        environment = {
            "LIVECUBE_MUTANT_MODULE": module_of(mutant),
            "LIVECUBE_MUTANT_FILE": str(file),
            "LIVECUBE_MUTANT_SOURCE": str(changed),
            "LIVECUBE_MUTANT_TESTS": str(chosen),
        }
        if _makes_tables(mutant):
            environment["LIVECUBE_TESTS_CACHE"] = str(own / "cache")
        tables_s = _TABLES_S * ("LIVECUBE_TESTS_CACHE" in environment)
        limit_s = _LEAST_LIMIT_S + _SLOWER * sum(test.took_s for test in tests) + tables_s
        each_s = max(_LEAST_LIMIT_S, _SLOWER * max(test.took_s for test in tests)) + tables_s
        files = list(dict.fromkeys(test.name.split("::")[0] for test in tests))
        return self._pytest(own, [f"--timeout={each_s:.0f}", *files], limit_s, environment)

    def _pytest(
        self, own: Path, arguments: Sequence[str], limit_s: float, added: Mapping[str, str]
    ) -> str | None:
        folders = (self.tree / "tests/checks/mutated", self.tree)
        environment = os.environ | {
            "PYTHONPATH": os.pathsep.join(map(str, folders)),
            "NUMBA_CACHE_DIR": str(self.cache / "compiled"),
            "LIVECUBE_TESTS_CACHE": str(self.cache),
            "LIVECUBE_TESTS_TIMES": "1",  # all examples of a property, not the suite's share
            **{f"LIVECUBE_{name}": str(own / name) for name in ("STATE", "DATA", "CONFIG")},
            **added,
        }
        left_out = " or ".join(_LEFT_OUT)
        command = [sys.executable, "-m", "pytest", "-x", "-q", "--no-header", "--tb=line",
                   "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "observed",
                   f"--basetemp={own / 'tmp'}", "--hypothesis-seed=0", "-m", "", "-k",
                   f"not ({left_out})",
                   *arguments]  # fmt: skip
        process = subprocess.Popen(
            command, cwd=self.tree, env=environment, text=True, start_new_session=True,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            # A shell ignores SIGINT for background jobs, and tests interrupt their children.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        try:
            out, _ = process.communicate(timeout=limit_s)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.communicate()
            return TOO_LONG
        if process.returncode == 0:
            return None
        failed = [line for line in out.splitlines() if line.startswith(("FAILED", "ERROR"))]
        return failed[0] if failed else f"status {process.returncode}: {out[-300:]}"


def _makes_tables(mutant: Mutant) -> bool:
    return mutant.file.removeprefix("livecube/").startswith(_MADE_ONCE)


def files_of(room: str) -> list[str]:
    return [f"tests/test_{name}.py" for name in TESTS[room].split()]


def module_of(mutant: Mutant) -> str:
    return mutant.file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")


def chosen(mutant: Mutant, tests: Sequence[Observed]) -> list[Observed]:
    """The tests that may notice a mutant, the best first.

    First those that run the changed block, quick ones before slow ones, and the tests of a file
    together, since they share fixtures. Then quick tests that do not run it: a cached value may
    have been made in another test.
    """
    place = module_of(mutant), mutant.block
    # Tables were cached when the tests were observed, so the code that makes them was not run.
    any_may = mutant.block is None or _makes_tables(mutant)
    near = [test for test in tests if any_may or place in test.blocks]
    far = [test for test in tests if test not in near and test.worked_s < _QUICK_S]
    quicker = [test for test in near if test.worked_s < _SLOW_S]
    near = quicker if len(quicker) >= _SOME else near
    steps = (0.05, 0.3, 1.0, 3.0)
    files = [test.name.split("::")[0] for test in tests]

    def order(test: Observed) -> tuple[int, int, float]:
        step = sum(test.worked_s >= limit for limit in steps)
        return step, files.index(test.name.split("::")[0]), test.worked_s

    return sorted(near, key=order) + (sorted(far, key=order) if near else [])
