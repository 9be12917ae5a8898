"""A table with a few entries changed, removed or added, to compare two judges of such tables."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING, Any

from hypothesis import strategies as st

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["changed_table"]


def changed_table(
    draw: st.DrawFn,
    usual: Mapping[str, Any],
    values: st.SearchStrategy[Any],
    names: st.SearchStrategy[str],
) -> dict[str, Any]:
    """The usual table after up to three changes, which insert ``values`` and ``names``."""
    table: dict[str, Any] = copy.deepcopy(dict(usual))
    for _ in range(draw(st.integers(0, 3))):
        place: Any = table
        while isinstance(place, dict | list) and place:
            keys = list(place) if isinstance(place, dict) else list(range(len(place)))
            key = draw(st.sampled_from(keys))
            act = draw(st.sampled_from(["deeper", "deeper", "change", "remove", "add"]))
            if act == "change":
                place[key] = draw(values)
            elif act == "remove":
                del place[key]
            elif act == "add" and isinstance(place, dict):
                place[draw(names)] = draw(values)
            if act != "deeper":
                break
            place = place[key]
    return table
