"""What is worked out once and kept in the user's cache folder: tables and compiled code."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import platformdirs

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from livecube.search.tables import Tables

__all__ = ["TABLE_STEPS", "cache_folder", "keep_compiled_code", "load_tables"]

_VERSION: Final = 1
"""Raise it when the tables change their meaning."""

TABLE_STEPS: Final = 4
"""How often ``load_tables`` calls ``step`` when it has to build."""


def cache_folder() -> Path:
    """``LIVECUBE_CACHE``, or the system's cache folder for this user."""
    named = os.environ.get("LIVECUBE_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("livecube"))


def keep_compiled_code() -> None:
    """Let numba keep compiled kernels in the cache folder; call it before importing them."""
    os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder() / "compiled"))


def load_tables(step: Callable[[], None] = lambda: None) -> Tables:
    """The search tables, from the cache if they are there and whole, else built and kept."""
    from livecube.search.tables import Tables, build_tables

    folder = cache_folder() / f"tables-{_VERSION}"
    moves, rows = _load(folder / "moves.npy"), _load(folder / "rows.npy")
    if (
        moves is not None
        and rows is not None
        and moves.shape == (190080, 18)
        and rows.shape == (190080, 192)
    ):
        return Tables(moves, rows)
    tables = build_tables(step)
    _keep(folder, {"moves": tables.moves, "rows": tables.rows})
    return tables


def _load(path: Path) -> npt.NDArray[Any] | None:
    """A kept table; None if it is missing or not what was written."""
    try:
        # Mode c, since a read-only map would give the kernels another type to compile for.
        return np.asarray(np.load(path, mmap_mode="c"))
    except (OSError, ValueError, EOFError):
        return None


def _keep(folder: Path, tables: dict[str, npt.NDArray[np.generic]]) -> None:
    """Write each table beside its place and move it there: a crash leaves no half a table."""
    # Without room or the right to write, the tables are built again next time.
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in tables.items():
            part = folder / f"{name}.{os.getpid()}.part.npy"
            np.save(part, table)
            part.replace(folder / f"{name}.npy")
