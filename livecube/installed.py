"""What other packages have installed for livecube: their entry points."""

from __future__ import annotations

import sys
from functools import cache
from importlib.metadata import EntryPoints, entry_points

__all__ = ["installed"]


def installed(group: str) -> EntryPoints:
    """The entry points of a group."""
    return _all(tuple(sys.path)).select(group=group)


@cache
def _all(folders: tuple[str, ...]) -> EntryPoints:
    """Those of all groups, in these folders of packages: a run asks for five groups.

    Every installed package is looked at, which takes a hundredth of a second.
    """
    return entry_points()
