"""The exact search for the fastest ways: depth-first over written moves, deepening in milliseconds.

A node is a position, a holding and a state of the hands. It is left when what its moves cost and
a lower bound for the rest exceed the limit. Bounds: the fewest turns that solve the cross with
each goal pair, each at the price of the cheapest move; and the least milliseconds that solve the
cross alone, and each goal pair alone, from this holding (:mod:`livecube.search.bounds`). While no
turn of the cross layer is allowed there are bounds of their own, which are much higher: for each
offset at which such a part may end, the pieces that must then stand in one slot count as a pair.
Since nearly every move costs more than the cheapest, ways that are long and dear are never looked
at, and the limit, not a number of turns, ends the search: it is exact.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numba import njit

from livecube.cube.geometry import OPPOSITE
from livecube.search.coordinates import PIECE_MOVES, SLOT_SYMMETRY
from livecube.search.situation import CROSS_AT, PLACES_AT
from livecube.search.task import NO_D, NO_TAIL, TURNED_BACK

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["LONGEST_WAY", "NO_LIMIT", "UNIT_MS", "SecondsTables", "fastest"]

LONGEST_WAY: Final = 26
"""No way has so many moves: at 60 ms a move that would be far beyond any limit."""
UNIT_MS: Final = 8
"""Bounds in milliseconds are kept in units of so many, rounded down."""
NO_LIMIT: Final = 1 << 28
_STEP_MS: Final = 40
_D: Final = 15
"""The turn D; D2 and D' follow."""
_CHILDREN: Final = 900
"""More than 36 moves from 24 holdings, each with two ways to go on, can pass as bounds."""


class SecondsTables(NamedTuple):
    """What bounds a search, all admissible."""

    moves: npt.NDArray[np.int32]
    """Shape (190080, 18): the cross after a turn."""
    seen: npt.NDArray[np.int32]
    """Shape (4, 190080): the cross as each slot sees it."""
    pairs: npt.NDArray[np.uint8]
    """Distances of cross and pair, two in a byte."""
    rows: npt.NDArray[np.uint8]
    """Shape (190080, 192): distances of the cross and one piece."""
    alone: npt.NDArray[np.uint8]
    """Shape (190080,): distances of the cross."""
    cross: npt.NDArray[np.uint8]
    """Shape (190080, 24): units of milliseconds that solve the cross from a holding."""
    pair: npt.NDArray[np.uint8]
    """Shape (576, 24): the same for the pair of slot 0 (``24 * corner + edge``) by itself."""
    aligned: npt.NDArray[np.int32]
    """Shape (4, 190080): the cross renamed so that it is solved if it was whole at offset k."""
    still_pairs: npt.NDArray[np.uint8]
    """As ``pairs``, without turns of the cross layer; 14 stands for more, too."""
    still_corner: npt.NDArray[np.uint8]
    """Shape (4561920,): distances of the cross and slot 0's corner, likewise."""
    still_edge: npt.NDArray[np.uint8]
    """Shape (4561920,): of the cross and slot 0's edge."""
    still_pair: npt.NDArray[np.uint8]
    """As ``pair``, without turns of the cross layer; the cross may end up anywhere."""


@njit(cache=True, nogil=True)
def _parts(goal, slots, singles):  # type: ignore[no-untyped-def]
    """The whole pairs and the single pieces of a goal; how many of each."""
    whole = single = 0
    for slot in range(4):
        if goal >> slot & goal >> slot + 4 & 1:
            slots[whole] = slot
            whole += 1
        else:
            for piece in (slot, slot + 4):
                if goal >> piece & 1:
                    singles[single] = piece
                    single += 1
    return whole, single


@njit(cache=True, nogil=True)
def _reached(cross, place, goal):  # type: ignore[no-untyped-def]
    """The offset at which the cross and the goal's pieces are solved, or −1."""
    for k in range(4):
        if cross == CROSS_AT[k]:
            for piece in range(8):
                if goal >> piece & 1 and place[piece] != PLACES_AT[k, piece]:
                    return -1
            return k
    return -1


@njit(cache=True, nogil=True)
def _still_need(tables, cross, place, goal, k, most):  # type: ignore[no-untyped-def]
    """Fewest turns, none of the cross layer, to the goal at offset k.

    More than ``most``: at least so many.
    """
    renamed = tables.aligned[k, cross]
    need = np.int64(0)
    for slot in range(4):
        corner, edge = (slot - k) % 4, slot + 4
        if goal >> corner & 1:
            seen = tables.seen[slot, renamed] * 24
            index = seen + SLOT_SYMMETRY[slot, 0, place[corner]]
            if goal >> edge & 1:
                index = index * 24 + SLOT_SYMMETRY[slot, 1, place[edge]]
                need = max(need, tables.still_pairs[index >> 1] >> ((index & 1) << 2) & 15)
            else:
                need = max(need, tables.still_corner[index])
        elif goal >> edge & 1:
            index = tables.seen[slot, renamed] * 24 + SLOT_SYMMETRY[slot, 1, place[edge]]
            need = max(need, tables.still_edge[index])
        if need > most:
            break
    return need


@njit(cache=True, nogil=True)
def _still_bound(tables, hands, place, goal, k, holding):  # type: ignore[no-untyped-def]
    """Least milliseconds for each pair that must stand in one slot at offset k, the dearest."""
    bound = np.int64(0)
    for slot in range(4):
        corner, edge = (slot - k) % 4, slot + 4
        if goal >> corner & goal >> edge & 1:
            index = 24 * SLOT_SYMMETRY[slot, 0, place[corner]]
            index += SLOT_SYMMETRY[slot, 1, place[edge]]
            bound = max(bound, tables.still_pair[index, hands.seen[slot, holding]] * UNIT_MS)
    return bound


@njit(cache=True, nogil=True)
def _keep(  # type: ignore[no-untyped-def]
    cost, length, turns, moves, held, end, out_cost, out_length, out_turns, out_moves, out_held,
    out_end, found,
):  # fmt: skip
    """Enter a way among the cheapest so far, its turns once only; how many there are then."""
    most = out_cost.shape[0]
    at = found
    for row in range(found):
        if out_length[row] == length:
            same = True
            for i in range(length):
                if out_turns[row, i] != turns[i]:
                    same = False
                    break
            if same:
                if out_cost[row] <= cost:
                    return found
                at = row
                break
    if at == most:
        if out_cost[most - 1] <= cost:
            return found
        at = most - 1
    elif at == found:
        found += 1
    while at > 0 and out_cost[at - 1] > cost:
        out_cost[at] = out_cost[at - 1]
        out_length[at] = out_length[at - 1]
        out_end[at] = out_end[at - 1]
        for i in range(out_length[at]):
            out_turns[at, i] = out_turns[at - 1, i]
            out_moves[at, i] = out_moves[at - 1, i]
            out_held[at, i] = out_held[at - 1, i]
        at -= 1
    out_cost[at] = cost
    out_length[at] = length
    out_end[at] = end
    for i in range(length):
        out_turns[at, i] = turns[i]
        out_moves[at, i] = moves[i]
        out_held[at, i] = held[i]
    return found


@njit(cache=True, nogil=True)
def _deepen(  # type: ignore[no-untyped-def]
    tables, hands, cross0, places0, tasks, start, limit, within, stop, out_cost, out_length,
    out_turns, out_moves, out_held, out_end, found,
):  # fmt: skip
    """All ways from one holding that cost at most the limit; how many there are now."""
    last_part = tasks.shape[0] - 1
    goal = tasks[last_part, 0]
    tied, target = tasks[last_part, 5], tasks[last_part, 4]
    slots = np.empty(4, dtype=np.int64)
    singles = np.empty(8, dtype=np.int64)
    whole, single = _parts(goal, slots, singles)
    size = LONGEST_WAY + 1
    cross = np.empty(size, dtype=np.int64)
    place = np.empty((size, 8), dtype=np.int64)
    held = np.empty(size, dtype=np.int64)
    state = np.empty(size, dtype=np.int64)
    cost = np.empty(size, dtype=np.int64)
    part = np.empty(size, dtype=np.int64)
    begun = np.empty(size, dtype=np.bool_)
    offset = np.empty(size, dtype=np.int64)  # −1, or where the layer is left to be turned back
    viable = np.empty(size, dtype=np.int64)  # bit k: a part without D may still end at offset k
    many = np.zeros(size, dtype=np.int64)
    upcoming = np.zeros(size, dtype=np.int64)
    child_turn = np.empty((size, _CHILDREN), dtype=np.int64)
    child_move = np.empty((size, _CHILDREN), dtype=np.int64)
    child_held = np.empty((size, _CHILDREN), dtype=np.int64)
    child_cost = np.empty((size, _CHILDREN), dtype=np.int64)
    child_part = np.empty((size, _CHILDREN), dtype=np.int64)
    child_offset = np.empty((size, _CHILDREN), dtype=np.int64)
    turned = np.empty((size, 18, 8), dtype=np.int64)
    crossed = np.empty((size, 18), dtype=np.int64)
    ends = np.empty((size, 18), dtype=np.int64)
    path_turn = np.empty(size, dtype=np.int64)
    path_move = np.empty(size, dtype=np.int64)
    path_held = np.empty(size, dtype=np.int64)
    least = hands.least
    cross[0] = cross0
    for piece in range(8):
        place[0, piece] = places0[piece]
    held[0], state[0], cost[0] = start, hands.start, 0
    part[0], begun[0], offset[0] = 0, False, -1
    viable[0] = 15
    root_offset = -1
    for k in range(4):
        if cross0 == CROSS_AT[k]:
            root_offset = k
    level = 0
    fresh = True
    while level >= 0:
        if fresh:
            fresh = False
            many[level] = upcoming[level] = 0
            if stop[0]:
                return -1
            task = tasks[part[level]]
            allowed = task[1]
            if offset[level] >= 0 and part[level] == last_part and begun[level]:
                mask = 1 << _D + 3 - offset[level]  # only the turn back is left
            elif begun[level]:
                mask = allowed
            else:
                at = offset[level] if level > 0 else root_offset
                prefix = 1 if at < 0 else task[2] >> 4 * at & 15
                mask = allowed if prefix & 1 else 0
                for a in range(1, 4):
                    if prefix >> a & 1:
                        mask |= 1 << _D + a - 1
            closing = offset[level] >= 0 and begun[level]
            still = allowed == NO_D and not closing
            if not begun[level]:
                viable[level] = 1 if task[3] == NO_TAIL else 15
            before = path_turn[level - 1] // 3 if level > 0 else -1
            earlier = path_turn[level - 2] // 3 if level > 1 else -1
            children = 0
            if level == LONGEST_WAY - 1:
                mask = 0
            for turn in range(18):
                if not mask >> turn & 1:
                    continue
                face = turn // 3
                if face == before or (face == earlier and OPPOSITE[face] == before):
                    continue
                other = tables.moves[cross[level], turn]
                room = limit - cost[level] - least
                far = False
                need = 0
                for i in range(whole):
                    slot = slots[i]
                    index = (
                        tables.seen[slot, other] * 24
                        + SLOT_SYMMETRY[slot, 0, PIECE_MOVES[0, turn, place[level, slot]]]
                    ) * 24 + SLOT_SYMMETRY[slot, 1, PIECE_MOVES[1, turn, place[level, slot + 4]]]
                    distance = tables.pairs[index >> 1] >> ((index & 1) << 2) & 15
                    if distance * least > room:
                        far = True
                        break
                    need = max(need, distance)
                if far:
                    continue
                for i in range(single):
                    piece = singles[i]
                    distance = tables.rows[
                        other,
                        24 * piece + PIECE_MOVES[piece // 4, turn, place[level, piece]],
                    ]
                    need = max(need, distance)
                need = max(need, tables.alone[other])
                if need * least > room:
                    continue
                for piece in range(8):
                    turned[level, turn, piece] = PIECE_MOVES[piece // 4, turn, place[level, piece]]
                if still:
                    fewest, ends[level, turn] = np.int64(99), 0
                    for k in range(4):
                        if viable[level] >> k & 1:
                            back = 1 if k and task[3] == TURNED_BACK else 0
                            turns = back + _still_need(
                                tables, other, turned[level, turn], task[0], k, room // least
                            )
                            if turns * least <= room:
                                ends[level, turn] |= 1 << k
                                fewest = min(fewest, turns)
                    if not ends[level, turn]:
                        continue
                    need = max(need, fewest)
                crossed[level, turn] = other
                if tied:
                    one = turned[level, turn, target] == place[level, target]
                    two = turned[level, turn, target + 4] == place[level, target + 4]
                    if one != two:
                        continue
                aside = not begun[level] and face == 5 and not allowed >> turn & 1
                reached = -1
                if not closing and not aside:
                    reached = _reached(other, turned[level, turn], task[0])
                    if task[3] == NO_TAIL and reached > 0:
                        reached = -1
                done = closing or (reached == 0 and part[level] == last_part)
                for at in range(24):
                    spent = cost[level]
                    now = state[level]
                    if at != held[level]:
                        spent += hands.rotation[held[level], at]
                        now = hands.rotated
                        if spent + max(1, need + 1) * least > limit:
                            continue
                    for way in range(2):
                        move = hands.spelled[at, turn, way]
                        price = spent + hands.seconds[now, move]
                        if price + need * least > limit:
                            continue
                        to = hands.after[at, move]
                        if done:
                            total = price + hands.finish[to]
                            if total <= limit:
                                path_turn[level] = turn
                                path_move[level] = move
                                path_held[level] = at
                                found = _keep(
                                    total, level + 1, path_turn, path_move, path_held, to,
                                    out_cost, out_length, out_turns, out_moves, out_held,
                                    out_end, found,
                                )  # fmt: skip
                                limit = min(limit, out_cost[0] + within)
                                if found == out_cost.shape[0]:
                                    limit = min(limit, out_cost[found - 1])
                            continue
                        if price + tables.cross[other, to] * UNIT_MS > limit:
                            continue
                        far = False
                        for i in range(whole):
                            slot = slots[i]
                            corner = SLOT_SYMMETRY[slot, 0, turned[level, turn, slot]]
                            edge = SLOT_SYMMETRY[slot, 1, turned[level, turn, slot + 4]]
                            bound = tables.pair[24 * corner + edge, hands.seen[slot, to]]
                            if price + bound * UNIT_MS > limit:
                                far = True
                                break
                        if far:
                            continue
                        if still:
                            far = True
                            for k in range(4):
                                if ends[level, turn] >> k & 1:
                                    bound = _still_bound(
                                        tables, hands, turned[level, turn], task[0], k, to
                                    )
                                    if k and task[3] == TURNED_BACK:
                                        bound += least
                                    if price + bound <= limit:
                                        far = False
                                        break
                            if far:
                                continue
                        # Behind the end of a part that leaves the layer where it is, that part
                        # may go on, or the next begins.
                        for onward in range(2):
                            if onward and not (reached >= 0 and part[level] < last_part):
                                continue
                            if not onward and reached >= 0 and part[level] == last_part:
                                child_part[level, children] = last_part
                                child_offset[level, children] = reached
                            elif onward:
                                child_part[level, children] = part[level] + 1
                                child_offset[level, children] = reached
                            else:
                                child_part[level, children] = part[level]
                                child_offset[level, children] = -1
                            child_turn[level, children] = turn
                            child_move[level, children] = move
                            child_held[level, children] = at
                            child_cost[level, children] = price
                            children += 1
            many[level] = children
        n = upcoming[level]
        if n == many[level]:
            level -= 1
            continue
        upcoming[level] = n + 1
        if child_cost[level, n] > limit:
            continue
        turn, move = child_turn[level, n], child_move[level, n]
        now = state[level] if child_held[level, n] == held[level] else hands.rotated
        path_turn[level] = turn
        path_move[level] = move
        path_held[level] = child_held[level, n]
        cross[level + 1] = crossed[level, turn]
        for piece in range(8):
            place[level + 1, piece] = turned[level, turn, piece]
        held[level + 1] = hands.after[child_held[level, n], move]
        state[level + 1] = hands.then[now, move]
        cost[level + 1] = child_cost[level, n]
        part[level + 1] = child_part[level, n]
        offset[level + 1] = child_offset[level, n]
        begun[level + 1] = child_part[level, n] == part[level]
        viable[level + 1] = ends[level, turn]
        level += 1
        fresh = True
    return found


@njit(cache=True, nogil=True)
def fastest(  # type: ignore[no-untyped-def]
    tables, hands, cross, places, tasks, starts, ceiling, within, stop, out_cost, out_length,
    out_turns, out_moves, out_held, out_end,
):  # fmt: skip
    """The cheapest ways of one question, best first; how many, −1 if ``stop`` was set.

    ``tasks`` has shape (parts, FIELDS); what is between two parts is left as it is. ``starts``
    are the holdings from which a way may begin. Ways that cost up to ``within`` milliseconds more
    than the cheapest are found, as many as there is room for in the outputs, none dearer than
    ``ceiling``. Of ways whose turns are the same the cheapest is kept. Nothing is checked.
    """
    low = np.int64(NO_LIMIT)
    for start in starts:
        low = min(low, tables.cross[cross, start] * UNIT_MS)
        for slot in range(4):
            if tasks[-1, 0] >> slot & tasks[-1, 0] >> slot + 4 & 1:
                corner = SLOT_SYMMETRY[slot, 0, places[slot]]
                edge = SLOT_SYMMETRY[slot, 1, places[slot + 4]]
                low = min(low, tables.pair[24 * corner + edge, hands.seen[slot, start]] * UNIT_MS)
    limit = np.int64(max(low, hands.least))
    found = np.int64(0)
    while limit < NO_LIMIT:
        limit = min(limit, ceiling)
        for start in starts:
            tightest = limit
            if found:
                tightest = min(limit, out_cost[0] + within)
                if found == out_cost.shape[0]:
                    tightest = min(tightest, out_cost[found - 1])
            found = _deepen(
                tables, hands, cross, places, tasks, start, tightest, within, stop, out_cost,
                out_length, out_turns, out_moves, out_held, out_end, found,
            )  # fmt: skip
            if found < 0:
                return -1
        if found and (limit >= out_cost[0] + within or found == out_cost.shape[0]):
            break
        if limit >= ceiling:
            break
        limit = out_cost[0] + within if found else limit + _STEP_MS
    while found and out_cost[found - 1] > out_cost[0] + within:
        found -= 1
    return found
