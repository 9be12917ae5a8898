"""What the suite tries of all that there is to try; ``checks/thorough.py`` tries the rest too."""

from __future__ import annotations

import math
import os
from typing import TYPE_CHECKING, Any, Final

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["TIMES", "USUAL", "examples", "part_of", "thorough"]

TIMES: Final = "LIVECUBE_TESTS_TIMES"
"""The variable with the factor for all numbers of examples.

Where it is not set, as in the suite, a property has a share of its examples: `checks/thorough.py`
and the mutation check try all of them.
"""
USUAL: Final = 40
_SUITE: Final = 1 / 4


def examples(count: int = USUAL) -> settings:
    """The settings of a property with a number of examples of its own.

    There is no deadline: a limit for each example would fail tests on a slow machine for no fault
    of the code.
    """
    times = float(os.environ.get(TIMES, _SUITE))
    return settings(max_examples=math.ceil(count * times), deadline=None)


def thorough(*values: Any) -> Any:
    """Parameters of a test with which the suite leaves it out."""
    return pytest.param(*values, marks=pytest.mark.thorough)


def part_of(values: Iterable[Any], of: int = 2) -> list[Any]:
    """Of many parameters alike, every second (or third …) for the suite; the rest is thorough.

    A tuple is the parameters of a test that has several.
    """
    each = [one if isinstance(one, tuple) else (one,) for one in values]
    return [pytest.param(*one) if at % of == 0 else thorough(*one) for at, one in enumerate(each)]
