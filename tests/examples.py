"""How many examples properties try: a few in the suite, more with ``checks/more_examples.py``."""

from __future__ import annotations

import os
from typing import Final

from hypothesis import settings

__all__ = ["TIMES", "USUAL", "examples"]

TIMES: Final = "LIVECUBE_TESTS_TIMES"
"""The variable with the factor for all numbers of examples."""
USUAL: Final = 40


def examples(count: int = USUAL) -> settings:
    """The settings of a property with a number of examples of its own.

    There is no deadline: a limit for each example would fail tests on a slow machine for no fault
    of the code.
    """
    return settings(max_examples=count * int(os.environ.get(TIMES, "1")), deadline=None)
