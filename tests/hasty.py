"""Set-ups that are found sooner, and may have more turns than those that a person is asked for.

Import ``set_ups_in_haste`` into a file of tests that does not judge how long set-ups are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest

from livecube.scrambling import two_phase

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["set_ups_in_haste"]


@pytest.fixture(scope="module", autouse=True)
def set_ups_in_haste() -> Iterator[None]:
    """Give up the search for fewer turns soon; it takes tenths of a second."""
    with patch.object(two_phase, "_PERSISTENCE", 10_000):
        yield
