"""What other packages have installed for livecube: their entry points."""

from __future__ import annotations

import sys
from functools import cache
from importlib.metadata import entry_points
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from importlib.metadata import EntryPoints

__all__ = ["installed"]


def installed(group: str) -> EntryPoints:
    """The entry points of a group."""
    return _all(tuple(sys.path))(group=group)


@cache
def _all(folders: tuple[str, ...]) -> Callable[..., EntryPoints]:
    """Chooses among all of them in these folders: a run asks for five groups.

    Every installed package is looked at, which takes a hundredth of a second.
    """
    return entry_points().select
