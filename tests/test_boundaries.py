"""Tests of the import directions."""

from __future__ import annotations

import contextlib
import importlib
import pkgutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any
from unittest.mock import patch

import grimp
from click.testing import CliRunner
from importlinter.cli import lint_imports_command

import livecube

ROOT = Path(__file__).parent.parent
PURE = ("advice.speaker", "clock", "cube.notation", "dashboard.desks", "dashboard.discovery",
        "dashboard.messages", "dashboard.settings", "hands.automaton", "logs.lines",
        "stages.tracker", "trends.making", "virtual.session")  # fmt: skip


def test_imports_go_one_way() -> None:
    with contextlib.chdir(ROOT), patch.object(sys, "path", [*sys.path]):
        done = CliRunner().invoke(lint_imports_command, ["--no-cache"])
    assert done.exit_code == 0, done.output
    assert f"{len(_linter()['contracts'])} kept, 0 broken" in done.output


def _linter() -> dict[str, Any]:
    tools: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]
    linter: dict[str, Any] = tools["importlinter"]
    return linter


def _layers() -> list[set[str]]:
    """Rooms and modules from top to bottom, as listed in the contract."""
    layers = _linter()["contracts"][0]["layers"]
    return [set(layer.replace("|", ":").replace(" ", "").split(":")) for layer in layers]


def test_each_module_is_an_edge_or_draws_or_is_pure() -> None:
    listed = [name for layer in _layers() for name in layer]
    for name in _modules():
        below = name.removeprefix("livecube.")
        assert sum(below == one or below.startswith(f"{one}.") for one in listed) == 1, name


def test_what_is_pure_loads_nothing_that_draws_or_keeps() -> None:
    layers = _layers()
    below = layers[layers.index({"views"}) + 1 :]
    pure = [f"livecube.{name}" for layer in below for name in layer] + ["livecube_protocols"]
    graph = grimp.build_graph("livecube", "livecube_protocols", include_external_packages=True,
                              cache_dir=None)  # fmt: skip
    edges = {"aiomqtt", "asyncio", "bleak", "bumble", "click", "platformdirs", "rich", "sqlite3"}
    edges &= graph.modules
    assert len(edges) > 5
    found = [
        (name, edge)
        for name in pure
        for edge in edges
        if graph.find_shortest_chain(name, edge, as_packages=True)
    ]
    assert found == []


def test_a_clean_interpreter_loads_no_more_than_it_needs() -> None:
    """Pure rooms load no edge. A cube is followed at once, also without numba; hints come later.
    No archive is loaded."""
    modules = ", ".join(
        f"livecube.cli.{name}" for name in ("live", "practice", "replay", "history")
    )
    others = "cli.review, livecube.cli.trends, livecube.cli.report, livecube.composition.live"
    script = (
        "import importlib, sys\n"
        f"for module in {PURE}:\n"
        "    importlib.import_module(f'livecube.{module}')\n"
        "    loaded = [m for m in sys.modules if m in ('asyncio', 'sqlite3', 'rich', 'click')"
        " or m.startswith(('livecube.edges', 'livecube.composition', 'livecube.cli'))]\n"
        "    if loaded: sys.exit(f'{module}: {loaded}')\n"
        f"import {modules}\n"
        "if 'numba' in sys.modules: sys.exit('numba')\n"
        f"import livecube.{others}\n"
        "sys.exit({'dask', 'distributed', 'pyarrow', 'livecube.archive'} & {*sys.modules} or None)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")


def _modules() -> list[str]:
    return [
        found.name
        for found in pkgutil.walk_packages(livecube.__path__, "livecube.")
        if not found.ispkg and found.name != "livecube.__main__"
    ]


def test_all_lists_what_each_module_offers() -> None:
    for name in _modules():
        module = importlib.import_module(name)
        listed = module.__all__
        assert sorted(set(listed)) == sorted(listed), name
        own = {
            key
            for key, value in vars(module).items()
            if not key.startswith("_") and getattr(value, "__module__", None) == name
        }
        assert own <= set(listed), f"{name}: a public name is missing in __all__"
        assert [key for key in listed if not hasattr(module, key)] == [], name


def test_a_wheel_has_every_package() -> None:
    packages = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"][
        "packages"
    ]
    made = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for path in ROOT.glob("livecube/**/__init__.py")
    }
    assert {*packages} == made | {"livecube_protocols"}
