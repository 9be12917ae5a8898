"""What all tests share: the search tables, built or loaded once, and the settings of hypothesis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from livecube.edges.cache import keep_compiled_code, load_tables

if TYPE_CHECKING:
    from livecube.search.engine import Engine
    from livecube.search.tables import Tables

keep_compiled_code()  # before anything imports numba's kernels

# A time limit for each example would fail tests on a slow machine for no fault of the code.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")


@pytest.fixture(scope="session")
def tables() -> Tables:
    """The search tables."""
    return load_tables()


@pytest.fixture(scope="session")
def engine(tables: Tables) -> Engine:
    """One engine for all tests; it keeps nothing between two questions."""
    from livecube.search.engine import Engine

    return Engine(tables)
