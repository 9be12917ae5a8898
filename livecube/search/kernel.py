"""The one search kernel: depth-first with iterative deepening, its constraint as data.

A task asks for all shortest sequences ``prefix X tail`` (and, with ``extra``, those up to
that many turns longer) that solve the cross and some slot pieces:

======  =======  ====================================================================
field   name     meaning
======  =======  ====================================================================
0       goal     bit p: piece p (see :mod:`livecube.search.coordinates`) must be solved
1       allowed  bit t: turn t may stand in X
2       prefix   bit a: X may follow D^a (bit 0: nothing)
3       tail     NO_TAIL: solved at offset 0 at the end of X. TURNED_BACK: solved at any
                 offset at the end of X, and one D turn, counted, aligns it if need be.
                 LEFT: solved at any offset at the end of X, and left there
4       target   slot whose pieces are looked at first, since they fail soonest
5       tied     1: every turn must move the target's corner and edge together, or neither
6       extra    also sequences up to this many turns longer than the shortest
======  =======  ====================================================================

Turns of opposite faces stand in one order (U before D, L before R, F before B), no face
turns twice running, and no proper part ``prefix X'`` of a solution is one.

A search is bounded by the tables: a node is left when any goal piece, with the cross, needs
more turns than there are left. One D turn moves a goal by one, so the same bound serves
goals at an offset.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numba import njit

from livecube.cube.geometry import OPPOSITE

__all__ = ["FIELDS", "LEFT", "LONGEST", "NO_TAIL", "TURNED_BACK", "run"]

FIELDS: Final = 7
NO_TAIL: Final = 0
TURNED_BACK: Final = 1
LEFT: Final = 2
LONGEST: Final = 16
"""Searches give up beyond this many turns; no answer has as many."""

_D: Final = 15
"""The turn D; D2 and D' follow."""


@njit(cache=True, nogil=True)
def _offset(cross, places, pieces, solved_cross, solved_places):  # type: ignore[no-untyped-def]
    """The offset at which cross and pieces are solved, or −1."""
    for k in range(4):
        if cross == solved_cross[k]:
            for i in range(pieces.shape[0]):
                if places[i] != solved_places[k, pieces[i]]:
                    return -1
            return k
    return -1


@njit(cache=True, nogil=True)
def _goal_pieces(goal, target):  # type: ignore[no-untyped-def]
    """The pieces of a goal, the target slot's corner and edge first."""
    pieces = np.empty(8, dtype=np.int64)
    count = 0
    for of_target in (True, False):
        for piece in range(8):
            if goal >> piece & 1 and (piece % 4 == target) == of_target:
                pieces[count] = piece
                count += 1
    return pieces[:count]


@njit(cache=True, nogil=True)
def _search(  # type: ignore[no-untyped-def]
    moves, rows, piece_moves, solved_cross, solved_places,
    cross0, places0, task, pieces, prefix, depth, out_turns, out_length, found,
):  # fmt: skip
    """All solutions of exactly ``depth`` turns behind one prefix; the new number found."""
    allowed, tail, tied = task[1], task[3], task[5]
    count = pieces.shape[0]
    cross = np.empty(LONGEST + 1, dtype=np.int64)
    place = np.empty((LONGEST + 1, 8), dtype=np.int64)
    last = np.empty(LONGEST + 1, dtype=np.int64)
    upcoming = np.zeros(LONGEST + 1, dtype=np.int64)
    start = 1 if prefix else 0
    turn = _D + prefix - 1
    cross[0] = moves[cross0, turn] if prefix else cross0
    for i in range(count):
        piece = pieces[i]
        place[0, i] = piece_moves[piece // 4, turn, places0[piece]] if prefix else places0[piece]
    last[0] = -1
    spare = 1 if tail == LEFT else 0
    level = 0
    for i in range(count):
        if rows[cross[0], 24 * pieces[i] + place[0, i]] > depth - start + spare:
            level = -1
    while level >= 0:
        turn = upcoming[level]
        left = depth - start - level - 1
        if turn == 18 or left < 0:
            level -= 1
            continue
        upcoming[level] = turn + 1
        face = turn // 3
        before = last[level]
        if not allowed >> turn & 1 or face == before:
            continue
        if before >= 0 and face < before and OPPOSITE[face] == before:
            continue
        after = moves[cross[level], turn]
        need = 0
        for i in range(count):
            piece = pieces[i]
            place[level + 1, i] = piece_moves[piece // 4, turn, place[level, i]]
            need = max(need, rows[after, 24 * piece + place[level + 1, i]])
            if need > left + spare:
                break
        if need > left + spare:
            continue
        if tied and (place[level, 0] == place[level + 1, 0]) != (
            place[level, 1] == place[level + 1, 1]
        ):
            continue
        if need <= 1:
            offset = _offset(after, place[level + 1], pieces, solved_cross, solved_places)
            if offset == 0 or (offset > 0 and tail != NO_TAIL):
                turned_back = offset > 0 and tail == TURNED_BACK
                if start + level + 1 + turned_back == depth and found < out_length.shape[0]:
                    length = 0
                    if prefix:
                        out_turns[found, 0] = _D + prefix - 1
                        length = 1
                    for j in range(level + 1):
                        out_turns[found, length] = upcoming[j] - 1
                        length += 1
                    if turned_back:
                        out_turns[found, length] = _D + 3 - offset
                        length += 1
                    out_length[found] = length
                    found += 1
                continue
        level += 1
        cross[level] = after
        last[level] = face
        upcoming[level] = 0
    return found


@njit(cache=True, nogil=True)
def run(  # type: ignore[no-untyped-def]
    moves, rows, piece_moves, solved_cross, solved_places,
    cross, places, tasks, out_turns, out_length, out_task,
):  # fmt: skip
    """Answer all tasks about one position; the number of sequences found.

    ``tasks`` has shape (n, FIELDS), int64. Sequences are written to ``out_turns`` (m, LONGEST),
    uint8, their lengths and task numbers to ``out_length`` and ``out_task``, int64; shorter
    ones of a task come first. No more than m are found: a return value of m means that the
    room was not enough. Nothing is checked.
    """
    found = 0
    for number in range(tasks.shape[0]):
        task = tasks[number]
        pieces = _goal_pieces(task[0], task[4])
        before = found
        shortest = LONGEST
        depth = 1
        while depth < LONGEST and depth <= shortest + task[6]:
            for prefix in range(4):
                if task[2] >> prefix & 1:
                    found = _search(
                        moves, rows, piece_moves, solved_cross, solved_places,
                        cross, places, task, pieces, prefix, depth,
                        out_turns, out_length, found,
                    )  # fmt: skip
            if found > before and shortest == LONGEST:
                shortest = depth
            depth += 1
        out_task[before:found] = number
    return found
