"""A plugin of pytest: which blocks each test runs and how long it takes, or the order to run them.

``mutation_check.py`` has the tests of a room run once with ``LIVECUBE_MUTANT_OBSERVED`` (see
``sitecustomize.py``), and then for each mutant with ``LIVECUBE_MUTANT_TESTS``, a file that names
the tests to run, in their order.
"""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest
import sitecustomize
from hypothesis import Phase, settings

if TYPE_CHECKING:
    from collections.abc import Iterator

Blocks = set[tuple[str, int]]

_CHOSEN: Final = os.environ.get("LIVECUBE_MUTANT_TESTS")
_FOUND: Final = os.environ.get("LIVECUBE_MUTANT_FOUND")
_CHILDREN: Final = Path(os.environ.get("LIVECUBE_MUTANT_BLOCKS", ""))
_observed: dict[str, dict[str, object]] = {}
_of_fixtures: dict[str, Blocks] = {}
_of_collection: Blocks = set()


@pytest.hookimpl(trylast=True)
def pytest_configure() -> None:
    """A test that fails has done its work: no smaller example is looked for."""
    settings.register_profile(
        "mutants", deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate)
    )
    settings.load_profile("mutants")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    if _CHOSEN is not None:
        order = {name: at for at, name in enumerate(json.loads(Path(_CHOSEN).read_text("utf-8")))}
        items[:] = sorted(
            (item for item in items if item.nodeid in order), key=lambda item: order[item.nodeid]
        )


def _worked_s() -> float:
    return sum(os.times()[:4])


def _taken() -> Blocks:
    blocks = set(sitecustomize.run_blocks)
    sitecustomize.run_blocks.clear()
    for file in _CHILDREN.glob("*.txt"):
        for line in file.read_text().splitlines():
            module, number = line.split()
            blocks.add((module, int(number)))
        file.unlink()
    return blocks


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef: pytest.FixtureDef[Any]) -> Iterator[None]:
    if _FOUND is None or fixturedef.scope == "function":
        return (yield)
    before = _taken()
    result = yield
    # What is made once for many tests is run by each of them.
    _of_fixtures[fixturedef.argname] = _taken()
    sitecustomize.run_blocks.update(before)
    return result


def pytest_collection_finish() -> None:
    """What a test file makes while it is imported is made for each of its tests."""
    if _FOUND is not None:
        _of_collection.update(_taken())


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    if _FOUND is None:
        return (yield)
    _taken()
    since, worked = time.perf_counter(), _worked_s()
    result = yield
    took, worked = time.perf_counter() - since, _worked_s() - worked
    blocks = _taken()
    for name in getattr(item, "fixturenames", ()):
        blocks |= _of_fixtures.get(name, set())
    _observed[item.nodeid] = {"took_s": took, "worked_s": worked, "blocks": sorted(blocks)}
    return result


def pytest_sessionfinish() -> None:
    if _FOUND is not None:
        imported = sorted(sitecustomize.imported_blocks | _of_collection)
        found = {"imported": imported, "tests": _observed}
        Path(_FOUND).write_text(json.dumps(found), "utf-8")
