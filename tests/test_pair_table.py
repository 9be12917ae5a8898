"""The distance table of cross and one pair, as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.edges.apart import pair_table_made_apart
from livecube.edges.cache import kept_pair_table
from livecube.search.situation import CROSSES, PIECE_MOVES, SOLVED_PLACES
from livecube.search.tables import PAIR_STATES, SOLVED_CROSS

if TYPE_CHECKING:
    from livecube.search.tables import Tables
    from livecube.trends.measures import Whole


def test_the_pair_table_holds_all_states_at_their_distances(tables: Tables) -> None:
    """Only the solved state is at distance 0. Each other state has a neighbour one turn nearer, and
    neighbours differ by at most one. By induction all distances are right.
    """
    kept = kept_pair_table()
    table = pair_table_made_apart() if kept is None else kept
    assert table is not None
    packed = np.asarray(table)
    # In parts that stay in the processor's cache.
    parts = np.array_split(packed, 256)
    reached = sum(int((half < 14).sum()) for part in parts for half in (part & 15, part >> 4))
    assert reached == CROSSES * 24 * 16 == 72_990_720

    def distance(states: Whole) -> Whole:
        found: Whole = (packed[states >> 1] >> ((states & 1) << 2) & 15).astype(np.int64)
        return found

    def neighbours(states: Whole) -> Whole:
        cross, corner, edge = states // 576, states // 24 % 24, states % 24
        turned = [
            (tables.moves[cross, turn].astype(np.int64) * 24 + PIECE_MOVES[0][turn, corner]) * 24
            + PIECE_MOVES[1][turn, edge]
            for turn in range(18)
        ]
        return np.stack(turned)

    solved = np.array([(SOLVED_CROSS * 24 + int(SOLVED_PLACES[0])) * 24 + int(SOLVED_PLACES[4])])
    near = neighbours(neighbours(neighbours(solved).ravel()).ravel()).ravel()
    states = np.concatenate([near, np.random.default_rng(5).integers(0, PAIR_STATES, 10_000)])
    states = states[distance(states) < 14]  # two pieces in one place are no state
    here, there = distance(states), distance(neighbours(states))
    assert (there.min(axis=0)[here > 0] == here[here > 0] - 1).all()
    assert np.unique(states[here == 0]).tolist() == solved.tolist()
    assert (np.abs(there - here) <= 1).all()
