"""Shared by all tests: folders of their own, the search tables, the settings of hypothesis."""

from __future__ import annotations

import gc
import itertools
import os
import shutil
import signal
import sys
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import beside  # noqa: F401 - before numpy
import pytest
from examples import examples
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from selenium.webdriver import Chrome

    from livecube.search.engine import Engine
    from livecube.search.tables import Tables

_FOLDERS: Final = {
    "LIVECUBE_CONFIG": "configuration",
    "LIVECUBE_STATE": "state",
    "LIVECUBE_DATA": "data",
    "XDG_CONFIG_HOME": "home/configuration",
    "XDG_STATE_HOME": "home/state",
    "XDG_DATA_HOME": "home/data",
    "HOME": "home",
}
"""The variables of livecube's folders; each test has folders of its own."""
_CALLERS: Final = ("LIVECUBE_CACHE", "LIVECUBE_MQTT_PASSWORD", *_FOLDERS)
_CACHE: Final = "LIVECUBE_TESTS_CACHE"
"""Names another folder for tables and compiled code, for runs of many test processes."""
_RUN = pytest.StashKey[Path]()
_SPENT = pytest.StashKey[list[float]]()
_NUMBERS: Final = itertools.count()

settings.register_profile("of the suite", examples())
settings.load_profile("of the suite")


def pytest_configure(config: pytest.Config) -> None:
    """Protect the caller's files before anything of livecube is imported."""
    gc.disable()  # until everything is imported: it would be looked at again and again
    run = config.stash[_RUN] = Path(tempfile.mkdtemp(prefix="livecube-tests-"))
    kept = os.environ.get(_CACHE)
    for name in _CALLERS if kept else (*_CALLERS, "NUMBA_CACHE_DIR"):
        os.environ.pop(name, None)
    # Tables and compiled code are made once and kept for the next run, in a folder of the tests.
    cache: pytest.Cache | None = getattr(config, "cache", None)
    kept = kept or str(run / "cache" if cache is None else cache.mkdir("livecube"))
    os.environ["LIVECUBE_CACHE"] = os.environ["XDG_CACHE_HOME"] = kept
    # Bytecode too, whatever the caller says: the hundred processes that tests start would compile
    # all modules again, a second each.
    sys.dont_write_bytecode = False
    os.environ["DASK_TEMPORARY_DIRECTORY"] = str(run)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices only wait for more threads
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    _use_folders(run)
    config.stash[_SPENT] = []
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        # Started in the background. Children would inherit the ignored signal, and could not be
        # interrupted; they do not inherit our own handler.
        signal.signal(signal.SIGINT, lambda number, frame: None)
    from livecube.edges.cache import keep_compiled_code

    keep_compiled_code()  # before anything imports numba's kernels


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes() -> None:
    """Make tables and compile once, before the workers start."""
    stamp, sources = Path(os.environ["LIVECUBE_CACHE"]) / "made", _sources()
    if stamp.exists() and stamp.read_text() == sources:
        return
    _make_all()
    stamp.write_text(sources)


def _sources() -> str:
    """A text that is another if a source of the package changes, or the place of compiled code."""
    package = Path(__file__).parent.parent / "livecube"
    changed = [f"{path} {path.stat().st_mtime_ns}" for path in sorted(package.rglob("*.py"))]
    told = "\n".join([sys.version, os.environ.get("NUMBA_CACHE_DIR", ""), *changed])
    return sha256(told.encode()).hexdigest()


def _make_all() -> None:
    from livecube.composition.assembly import load_advisor, load_holdings, set_level
    from livecube.composition.scrambler import load_scrambler

    load_holdings()
    load_scrambler(seed=1)
    advisor = load_advisor()
    set_level(advisor, "bold")
    from livecube.advice.inspection import inspect_cross
    from livecube.cube.notation import parse_turns
    from livecube.cube.position import SOLVED, apply_turns

    inspect_cross(advisor, apply_turns(SOLVED, parse_turns("R U2 F' L D B R' U F2 L2")), 0)


def pytest_collection_finish() -> None:
    gc.freeze()  # collections need not look again at all that is imported
    gc.set_threshold(50_000, 50, 50)  # what tests leave behind is mostly not in cycles
    gc.enable()


def pytest_unconfigure(config: pytest.Config) -> None:
    if (run := config.stash.get(_RUN, None)) is not None:
        shutil.rmtree(run, ignore_errors=True)


def _use_folders(folder: Path) -> None:
    for name, inside in _FOLDERS.items():
        os.environ[name] = str(folder / inside)


@pytest.fixture(autouse=True)
def folders_of_its_own(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Iterator[None]:
    """Empty folders for the configuration, state and data of one test; so no broker either.

    The folder of all is made by whatever writes into it: most tests write nothing. The same
    fixture of pytest undoes changes of the environment.
    """
    folder = f"{request.config.stash[_RUN]}/{next(_NUMBERS)}"
    for name, inside in _FOLDERS.items():
        monkeypatch.setenv(name, f"{folder}/{inside}")
    yield
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def tables() -> Tables:
    """The search tables."""
    from livecube.edges.cache import load_tables

    return load_tables()


@pytest.fixture(scope="session")
def engine(tables: Tables) -> Engine:
    """One engine for all tests; it has no state between two questions."""
    from livecube.search.engine import Engine

    return Engine(tables)


@pytest.fixture(scope="session")
def one_browser() -> Iterator[Chrome]:
    """One browser for all tests: its start takes longer than a page."""
    from browser import browser

    with browser() as started:
        yield started


@pytest.fixture
def driver(one_browser: Chrome) -> Iterator[Chrome]:
    """The browser with an empty page, its own size, and no message yet."""
    from browser import emptied

    emptied(one_browser)
    yield one_browser
    one_browser.get("about:blank")  # a page that looks for its broker would do so until the end


# The processor time of the tests: of this process, of its children, and of the workers of
# pytest-xdist, which report theirs at the end.


def _spent_s() -> float:
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def pytest_sessionfinish(session: pytest.Session) -> None:
    if (told := getattr(session.config, "workeroutput", None)) is not None:
        told["spent_s"] = _spent_s()


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: object, error: object) -> None:
    config: pytest.Config = node.config  # type: ignore[attr-defined]
    told: dict[str, float] = getattr(node, "workeroutput", {})
    config.stash[_SPENT].append(told.get("spent_s", 0.0))


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    # A worker is not reaped yet, or it is among the children: then its time counts once.
    workers: list[float] = config.stash[_SPENT]
    own = os.times()
    reaped = own.children_user + own.children_system
    spent = own.user + own.system + max(sum(workers), reaped)
    terminalreporter.write_line(f"processor time: {spent:.0f} s")
