"""The table to predict a person's seconds with, as it is kept. Pure, numpy only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.hands.automaton import make_looking

if TYPE_CHECKING:
    from livecube.hands.automaton import Automaton, Looking

__all__ = ["LearnedTable", "table_from", "table_state"]


@dataclass(frozen=True, slots=True)
class LearnedTable:
    """The table to predict a person's seconds with."""

    automaton: Automaton
    solves: int
    """Number of solves that it was learned from."""


def table_state(table: LearnedTable | None, usual: Automaton) -> dict[str, Any] | None:
    """The table in use; prices are in whole milliseconds."""
    if table is None:
        return None
    its = table.automaton
    is_usual = (its.seconds_ms == usual.seconds_ms).all()
    return {
        "usual": usual.fingerprint,
        "solves": table.solves,
        "ms": None if is_usual else its.seconds_ms.ravel().tolist(),
        "rotations": dict(its.single_rotation_ms),
        "looking": dict(its.looking.table),
    }


def table_from(state: dict[str, Any] | None, usual: Automaton) -> LearnedTable | None:
    """The table in use again; None if it belongs to other usual prices."""
    if state is None or state["usual"] != usual.fingerprint:
        return None
    seconds = usual.seconds_ms
    if state["ms"] is not None:
        seconds = np.array(state["ms"], dtype=np.int32).reshape(usual.seconds_ms.shape)
    looking = _looking(state["looking"])
    return LearnedTable(usual.priced(seconds, state["rotations"], looking), int(state["solves"]))


def _looking(table: dict[str, Any]) -> Looking:
    own = {n: round(1000 * s) for n, s in table.items() if isinstance(s, int | float)}
    places = {place: where for where, those in table["places"].items() for place in those}
    techniques = {name: round(1000 * s) for name, s in table["techniques"].items()}
    return make_looking(own, places, techniques)
