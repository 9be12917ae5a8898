"""Turns from one position to another by a search in two phases.

The method is Herbert Kociemba's, published as his two-phase algorithm (1992; see also Rokicki,
Kociemba, Davidson, Dethridge, SIAM J. Discrete Math. 27(2), 2013, 1082–1105, section 4). The
first phase leads to a position that half turns of four faces and any turns of the other two can
solve; its sequences grow longer step by step. From each such position the second phase goes on to
the solved cube. The code is our own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from livecube.cube.geometry import FACELET_NORMAL, OPPOSITE, PIECE_AT, ROTATION_MATRICES, TURNS
from livecube.cube.position import (
    SOLVED,
    apply_turns,
    inverse,
    inverse_turns,
    merge,
    rotated,
    what_was_done,
)
from livecube.mending.mender import shortest_link
from livecube.scrambling.coordinates import SECOND_TURNS, coordinates_of

if TYPE_CHECKING:
    from livecube.cube.geometry import Array
    from livecube.scrambling.tables import PhaseTables

__all__ = ["MOST_TURNS", "few_turns_between", "turns_between", "warm_up"]

MOST_TURNS: Final = 22
"""A scramble has at most this many turns."""
_LONGEST_SECOND: Final = 11
"""Longer second phases are not searched: a longer first phase finds a way sooner."""
_PATIENCE: Final = 200_000
"""Nodes that one view may take before the next view is tried."""
_PERSISTENCE: Final = 1_000_000
"""The same limit for the search for fewer turns than are known."""
_LINKED: Final = 6
"""Ways of up to this many turns are certainly shortest: they are searched from both ends."""
_VIEWS: Final = tuple(
    next(
        number
        for number, matrix in enumerate(ROTATION_MATRICES)
        if (matrix @ FACELET_NORMAL[9 * face] == FACELET_NORMAL[0]).all()
    )
    for face in (0, 3, 2)
)
"""Rotations that bring one of the three axes upright: each gives other ways through the phases."""
_SECOND: Final = np.array(SECOND_TURNS, dtype=np.int64)
_NAMELESS: Final = 6
"""Stands for the face of "no turn"."""
_FOLLOWS: Final = np.array(
    [
        [face == _NAMELESS or (other != face and (other > face or OPPOSITE[face] != other))
         for other in range(6)]
        for face in range(7)
    ]
)  # fmt: skip
"""[face before][face] → whether a turn may follow: no face twice running, opposite faces in one
order."""


def turns_between(
    tables: PhaseTables, start: bytes, end: bytes, most: int = MOST_TURNS
) -> list[int]:
    """Fixed-frame turns that lead from one position (20 facelets) to another, at most ``most``.

    Returns the same turns for the same positions, not always the fewest. Twenty always suffice,
    but ``most`` under 21 may take long.
    """
    change = np.frombuffer(what_was_done(start, end), dtype=np.uint8)
    patience = _PATIENCE
    while True:
        made = _looked_for(tables, change, most, patience)
        if made is not None:
            return made
        patience *= 8


def few_turns_between(tables: PhaseTables, start: bytes, end: bytes) -> list[int]:
    """As :func:`turns_between`, but shortened while a search of some tenths of a second succeeds.

    Results of up to six turns are the fewest; longer ones are not proved to be.
    """
    near = shortest_link(start, end, _LINKED)
    if near is not None:
        return list(near)
    change = np.frombuffer(what_was_done(start, end), dtype=np.uint8)
    best = turns_between(tables, start, end)
    while len(best) > _LINKED + 1:
        shorter = _looked_for(tables, change, len(best) - 1, _PERSISTENCE)
        if shorter is None:
            break
        best = shorter
    return best


def _looked_for(tables: PhaseTables, change: Array, most: int, patience: int) -> list[int] | None:
    """Turns that make a change, searched in each view; None if patience ends."""
    for view in _VIEWS:
        # Solving the inverse makes the change; solving the change itself undoes it.
        made = _search(tables, rotated(inverse(change), view), most, patience)
        if made is None:
            undone = _search(tables, rotated(change, view), most, patience)
            made = None if undone is None else inverse_turns(undone)
        if made is not None:
            return [part.turn for part in merge(_as_held(made, view))]
    return None


def warm_up(tables: PhaseTables) -> None:
    """Compile the search, or load its compiled code."""
    _search(tables, apply_turns(SOLVED, [0, 9]), MOST_TURNS, _PATIENCE)


def _as_held(turns: list[int], view: int) -> list[int]:
    """Turns made on a rotated cube, as they are without the rotation."""
    normals = FACELET_NORMAL[::9]
    seen = (normals @ ROTATION_MATRICES[view].T).tolist()
    faces = [seen.index(normal) for normal in normals.tolist()]
    return [3 * faces[turn // 3] + turn % 3 for turn in turns]


def _search(tables: PhaseTables, position: Array, most: int, patience: int) -> list[int] | None:
    """Turns that solve a position; None if none were found within ``patience`` nodes."""
    turns = np.zeros(most, dtype=np.int64)
    length = _two_phases(
        position.astype(np.uint8), coordinates_of(position)[:3], most, patience, turns,
        TURNS, PIECE_AT, _SECOND, _FOLLOWS,
        tables.twist, tables.flip, tables.middle_set,
        tables.corner_order, tables.edge_order, tables.middle_order,
        tables.twist_needs, tables.flip_needs, tables.corner_needs, tables.edge_needs,
    )  # fmt: skip
    return None if length < 0 else turns[:length].tolist()


@njit(cache=True, nogil=True)
def _two_phases(  # type: ignore[no-untyped-def]
    position, seen, most, patience, turns, turned, piece_at, second, follows,
    twist_moves, flip_moves, set_moves, corner_moves, edge_moves, order_moves,
    twist_needs, flip_needs, corner_needs, edge_needs,
):  # fmt: skip
    """Depth-first through the first phase, with longer and longer sequences; -1 if patience ends.

    Writes into ``turns``, and returns their number.
    """
    twist = np.zeros(most + 1, dtype=np.int64)
    flip = np.zeros(most + 1, dtype=np.int64)
    places = np.zeros(most + 1, dtype=np.int64)
    upcoming = np.zeros(most + 1, dtype=np.int64)
    reached = np.empty(20, dtype=np.uint8)
    twist[0], flip[0], places[0] = seen
    least = max(twist_needs[twist[0], places[0]], flip_needs[flip[0], places[0]])
    nodes = 0
    for length in range(least, most + 1):
        depth = 0
        upcoming[0] = 0
        while depth >= 0:
            last = turns[depth - 1] // 3 if depth else 6
            if depth == length:
                for piece in range(20):  # see the traps in livecube/search/README.md
                    reached[piece] = position[piece]
                    for at in range(depth):
                        reached[piece] = turned[turns[at], reached[piece]]
                total, tried = _second_phase(
                    reached, np.int64(depth), last, most, turns, piece_at, second, follows,
                    corner_moves, edge_moves, order_moves, corner_needs, edge_needs,
                )  # fmt: skip
                nodes += tried
                if total >= 0:
                    return total
                depth -= 1
                continue
            turn = upcoming[depth]
            while turn < 18 and not follows[last, turn // 3]:
                turn += 3
            if turn >= 18:
                depth -= 1
                continue
            upcoming[depth] = turn + 1
            nodes += 1
            if nodes > patience:
                return -1
            # Most turns lead too far from the phase's end: they are left out before they are made.
            place, left = set_moves[places[depth], turn], length - depth - 1
            new_twist = twist_moves[twist[depth], turn]
            if twist_needs[new_twist, place] > left:
                continue
            new_flip = flip_moves[flip[depth], turn]
            if flip_needs[new_flip, place] > left:
                continue
            turns[depth] = turn
            depth += 1
            twist[depth], flip[depth], places[depth] = new_twist, new_flip, place
            upcoming[depth] = 0
    return -1


@njit(cache=True, nogil=True)
def _order_number(position, first, count, piece_at):  # type: ignore[no-untyped-def]
    """As :func:`livecube.scrambling.coordinates.coordinates_of` numbers an order."""
    number = 0
    for i in range(count):
        less = 0
        for j in range(i + 1, count):
            less += piece_at[position[first + j]] < piece_at[position[first + i]]
        number = number * (count - i) + less
    return number


@njit(cache=True, nogil=True)
def _second_phase(  # type: ignore[no-untyped-def]
    position, begun, before, most, turns, piece_at, second, follows,
    corner_moves, edge_moves, order_moves, corner_needs, edge_needs,
):  # fmt: skip
    """From the end of the first phase, after ``begun`` turns, to the solved cube.

    Writes into ``turns``. Returns their number, -1 if there are none, and the nodes it took.
    """
    corners = np.zeros(most + 1, dtype=np.int64)
    edges = np.zeros(most + 1, dtype=np.int64)
    orders = np.zeros(most + 1, dtype=np.int64)
    upcoming = np.zeros(most + 1, dtype=np.int64)
    # A literal number is a type of its own: the function would be compiled for each.
    corners[begun] = _order_number(position, np.int64(0), np.int64(8), piece_at)
    edges[begun] = _order_number(position, np.int64(8), np.int64(8), piece_at)
    orders[begun] = _order_number(position, np.int64(16), np.int64(4), piece_at)
    nodes = 0
    for length in range(begun, min(most, begun + _LONGEST_SECOND) + 1):
        depth = begun
        upcoming[depth] = 0
        while depth >= begun:
            need = max(
                corner_needs[corners[depth], orders[depth]],
                edge_needs[edges[depth], orders[depth]],
            )
            if need == 0 and depth == length:
                return depth, nodes
            if depth + need > length or depth == length:
                if depth == begun:
                    break
                depth -= 1
                continue
            last = turns[depth - 1] // 3 if depth > begun else before
            number = upcoming[depth]
            while number < 10 and not follows[last, second[number] // 3]:
                number += 1
            if number >= 10:
                depth -= 1
                continue
            upcoming[depth] = number + 1
            turns[depth] = second[number]
            corners[depth + 1] = corner_moves[corners[depth], number]
            edges[depth + 1] = edge_moves[edges[depth], number]
            orders[depth + 1] = order_moves[orders[depth], number]
            depth += 1
            upcoming[depth] = 0
            nodes += 1
    return -1, nodes
