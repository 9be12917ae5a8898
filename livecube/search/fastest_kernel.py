"""The exact search for the fastest ways: depth-first over written moves, deepening in milliseconds.

A node is a sequence of turns with all the ways in which the hands may stand after it: the cheapest
spelling for each holding and state. So bounds are looked up once for all of them. A way to stand is
left when its cost and a lower bound for the rest exceed the limit. The bounds are the least
milliseconds for the cross with each goal piece, for the cross alone, and for each goal pair alone,
from this holding
(:mod:`livecube.search.bounds`). For parts without turns of the cross layer there are separate,
higher bounds for each offset at which such a part may end. Long and slow ways are never visited,
and the limit, not a number of turns, ends the search: it is exact.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from livecube.cube.geometry import OPPOSITE
from livecube.search.fastest_arrays import KINDS, SECOND_AT
from livecube.search.situation import CROSS_AT, PIECE_MOVES, PLACES_AT, SLOT_SYMMETRY
from livecube.search.table_kernels import inner, kernel
from livecube.search.task import AT_DOORS, LONGEST_WAY, NO_D, NO_LIMIT, NO_TAIL, UNIT_MS

__all__ = ["fastest"]

_STEP_MS: Final = 90
"""By which the limit grows. With less the work is done again more often, with more the last limit
is too far; the questions of the book are answered soonest so."""
_D: Final = 15
"""The turn D; D2 and D' follow."""


@inner
def _reached(cross, place, goal):  # type: ignore[no-untyped-def]
    """The offset at which the cross and the goal's pieces are solved, or −1."""
    for k in range(4):
        if cross == CROSS_AT[k]:
            for piece in range(8):
                if goal >> piece & 1 and place[piece] != PLACES_AT[k, piece]:
                    return -1
            return k
    return -1


@inner
def _piece_bounds(  # type: ignore[no-untyped-def]
    views, pieces, cross, place, order, k, more, rooms, bounds
):  # fmt: skip
    """Least milliseconds, from each kind of holding, until pieces are solved at offset k.

    Counts the cross, each of the pieces ``order``, and ``more``; returns whether any kind stays
    within its entry of ``rooms``. A piece that exceeds them all is moved to the front, so that
    it is tried first next time.
    """
    for kind in range(KINDS):
        bounds[kind] = more
    for i in range(order.shape[0]):
        piece = order[i]
        # At offset k the corner of a slot stands in the slot k places further on.
        slot = piece + k & 3 if piece < 4 else piece - 4
        row = np.int64(views[cross, k, slot]) * 24
        row += SLOT_SYMMETRY[slot, piece // 4, place[piece]]
        which = piece // 4
        fits = False
        for kind in range(KINDS):
            # Slot 1 sees the holding with slot 1 at the front right as slot 0 sees the one with
            # slot 0 there.
            seen = kind if kind == KINDS - 1 else kind - slot & 3
            bounds[kind] = max(bounds[kind], np.int64(pieces[which, row, seen]) * UNIT_MS + more)
            fits |= bounds[kind] <= rooms[kind]
        if not fits:
            for j in range(i, 0, -1):
                order[j] = order[j - 1]
            order[0] = piece
            return False
    return True


@inner
def _sift(  # type: ignore[no-untyped-def]
    views, pieces, crossed, place, piece, k, more, rooms, turns, many
):  # fmt: skip
    """Drop the turns after which one piece exceeds the room; returns how many are left.

    The same test as ``_piece_bounds``, for all turns at once and without a branch, so that the
    processor waits for memory once and not for each turn.
    """
    kept = 0
    corner_or_edge = piece // 4
    slot = piece + k & 3 if piece < 4 else piece - 4
    at = place[piece]
    for n in range(many):
        turn = turns[n]
        row = np.int64(views[crossed[turn], k, slot]) * 24
        row += SLOT_SYMMETRY[slot, corner_or_edge, PIECE_MOVES[corner_or_edge, turn, at]]
        units = np.int64(pieces[corner_or_edge, row, KINDS - 1])
        fits = units * UNIT_MS + more <= rooms[turn, KINDS - 1]
        for kind in range(KINDS - 1):
            seen = kind - slot & 3
            units = np.int64(pieces[corner_or_edge, row, seen])
            fits |= units * UNIT_MS + more <= rooms[turn, kind]
        turns[kept] = turn
        kept += fits
    return kept


@inner
def _pair_bound(pairs, seen, place, goal, k, holding):  # type: ignore[no-untyped-def]
    """Least milliseconds for each pair that must stand in one slot at offset k, the dearest."""
    bound = np.int64(0)
    for slot in range(4):
        corner, edge = (slot - k) % 4, slot + 4
        if goal >> corner & goal >> edge & 1:
            index = 24 * np.int64(SLOT_SYMMETRY[slot, 0, place[corner]])
            index += SLOT_SYMMETRY[slot, 1, place[edge]]
            bound = max(bound, np.int64(pairs[index, seen[slot, holding]]) * UNIT_MS)
    return bound


@inner
def _may_end(  # type: ignore[no-untyped-def]
    pairs, seen, turning, place, goal, ends, last, holding, room
):  # fmt: skip
    """Whether the pairs of a part without turns of the layer can be in within ``room``.

    ``ends``, bit k: it may end at offset k.
    """
    for k in range(4):
        if ends >> k & 1:
            bound = _pair_bound(pairs, seen, place, goal, k, holding)
            if bound + turning[k if last else 4] <= room:
                return True
    return False


@inner
def _doors(place, slot, k):  # type: ignore[no-untyped-def]
    """Bit b: after D^b a keyhole into the slot has a door, the pieces being at offset k.

    The same question as the techniques ask, of a position in the middle of a sequence.
    """
    doors = 0
    waits_for_corner = place[slot] != PLACES_AT[k, slot]
    if waits_for_corner == (place[slot + 4] != PLACES_AT[k, slot + 4]):
        return doors  # nothing of it is home, or all
    for b in range(1, 4):
        # The home of a slot's corner lies under the slot that is k + b places further on.
        door = (slot + k + b if waits_for_corner else slot - k - b) & 3
        free = place[door] != PLACES_AT[k, door]
        if waits_for_corner:
            free |= place[door + 4] != PLACES_AT[k, door + 4]
        if free and door != slot:
            doors |= 1 << b
    return doors


@inner
def _solved_pieces(place, k):  # type: ignore[no-untyped-def]
    """The pieces that are solved up to offset k, as the bits of a goal."""
    pieces = 0
    for piece in range(8):
        pieces |= (place[piece] == PLACES_AT[k, piece]) << piece
    return pieces


@inner
def _keep(cost, length, turns, steps, end, out, found):  # type: ignore[no-untyped-def]
    """Enter a way among the cheapest so far, its turns only once; returns how many there are.

    Opposite turns may stand in either order.
    """
    most = out.cost.shape[0]
    at = found
    for row in range(found):
        if out.length[row] == length:
            i = 0
            while i < length:
                one, other = turns[i], out.turns[row, i]
                if one == other:
                    i += 1
                elif (
                    i + 1 < length
                    and OPPOSITE[one // 3] == other // 3
                    and one == out.turns[row, i + 1]
                    and turns[i + 1] == other
                ):
                    i += 2  # opposite turns, in the other order
                else:
                    break
            if i >= length:
                if out.cost[row] < cost:
                    return found
                if out.cost[row] == cost and not _stands_before(steps, out.steps[row], length):
                    return found
                at = row
                break
    if at == most:
        if out.cost[most - 1] <= cost:
            return found
        at = most - 1
    elif at == found:
        found += 1
    while at > 0 and out.cost[at - 1] > cost:
        out.cost[at] = out.cost[at - 1]
        out.length[at] = out.length[at - 1]
        out.end[at] = out.end[at - 1]
        for i in range(out.length[at]):
            out.turns[at, i] = out.turns[at - 1, i]
            out.steps[at, i] = out.steps[at - 1, i]
        at -= 1
    out.cost[at] = cost
    out.length[at] = length
    out.end[at] = end
    for i in range(length):
        out.turns[at, i] = turns[i]
        out.steps[at, i] = steps[i]
    return found


@inner
def _stands_before(steps, others, length):  # type: ignore[no-untyped-def]
    """Whether of two equally cheap spellings this one is chosen, in whatever order they are met."""
    for i in range(length):
        if steps[i] != others[i]:
            return steps[i] < others[i]
    return False


@inner
def _trace(stands, at, length, steps):  # type: ignore[no-untyped-def]
    """Write the steps that led to a stand before index ``length``."""
    for i in range(length - 1, -1, -1):
        steps[i] = stands[at, 4]
        at = stands[at, 3]


@inner
def _enter(  # type: ignore[no-untyped-def]
    stands, first, many, price, to, then, behind, step, length, paths
):  # fmt: skip
    """Enter a way to stand among those from ``first``; returns how many there are in all.

    Of spellings that leave the hands alike the cheapest is kept.
    """
    row = first
    while row < many and (stands[row, 0] != to or stands[row, 1] != then):
        row += 1
    if row < many:
        if stands[row, 2] < price:
            return many
        if stands[row, 2] == price:
            _trace(stands, behind, length, paths[0])
            _trace(stands, stands[row, 3], length, paths[1])
            paths[0, length], paths[1, length] = step, stands[row, 4]
            if not _stands_before(paths[0], paths[1], length + 1):
                return many
    stands[row, 0], stands[row, 1], stands[row, 2] = to, then, price
    stands[row, 3], stands[row, 4] = behind, step
    return max(many, row + 1)


@kernel
def fastest(  # type: ignore[no-untyped-def]
    tables, hands, cross0, places0, tasks, starts, ceiling, within, most, out, scratch
):  # fmt: skip
    """The cheapest ways of one question, best first; returns how many.

    ``tasks`` has shape (parts, FIELDS); the second part begins where the first ends. ``starts``
    are the holdings from which a way may begin. Finds the ways up to ``within`` milliseconds
    slower than the cheapest, none slower than ``ceiling``. If there are more than ``most``, it
    keeps those up to the cost of number ``most``, as many as fit into ``out``. Of ways with the
    same turns it keeps the cheapest. Nothing is checked. -1: there was not enough room.
    """
    (
        orders, counts, cross, place, stands, first_stand, after_stand, filled, part, begun, offset,
        more_goal, viable, many, upcoming, children_of, turned, crossed, ends, path_turn,
        path_step, paths, bounds, own, at_offset, rooms, turns,
    ) = scratch  # fmt: skip
    moves, views, cross_ms, pairs, pieces, still_pieces, left_ms, more_ms, turning_ms = tables
    pair_ms, still_pair_ms = pairs[0], pairs[1]
    parts = tasks.shape[0]
    for number in range(parts):
        counts[number] = 0
        for piece in range(8):
            if tasks[number, 0] >> piece & 1:
                orders[number, counts[number]] = piece
                counts[number] += 1
    zero, one = np.int64(0), np.int64(1)  # plain numbers would each have a compilation
    last_part = parts - 1
    goal = tasks[last_part, 0]
    # A second part behind a first with turns of the cross layer says at which offset it stands.
    standing = zero
    if last_part > 0 and tasks[1, 2] != AT_DOORS:
        while not tasks[1, 2] >> standing & 1:
            standing += 1
    second_ms = more_ms[SECOND_AT[standing]]
    tied, target = tasks[last_part, 5], tasks[last_part, 4]
    order = orders[last_part, : counts[last_part]]
    root_offset = 0  # the first part has one prefix for all offsets
    for k in range(4):
        if cross0 == CROSS_AT[k]:
            root_offset = k
    for kind in range(KINDS):
        rooms[0, kind] = NO_LIMIT
    _piece_bounds(views, pieces, np.int64(cross0), places0, order, zero, zero, rooms[0], bounds)
    horizon = np.int64(NO_LIMIT)
    for start in starts:
        low = np.int64(cross_ms[cross0, start]) * UNIT_MS
        horizon = min(horizon, max(low, bounds[hands.kind[start]]))
    horizon = min(max(horizon, np.int64(hands.least)), ceiling)
    limit, found, level = horizon, np.int64(0), -1
    begun_search = fresh = False
    if not starts.shape[0]:
        return found
    while True:
        if level < 0:  # all within the limit is known: begin with the first limit, or the next
            if begun_search:
                if horizon >= ceiling or found >= most:
                    break
                if found and horizon >= out.cost[0] + within:
                    break
                if found:
                    horizon = out.cost[0] + within
                else:
                    horizon += _STEP_MS * parts  # the first of two parts often needs far less
                horizon = min(horizon, ceiling)
            begun_search = True
            limit = horizon
            if found:
                limit = min(limit, out.cost[0] + within)
                if found >= most:
                    limit = min(limit, out.cost[most - 1])
            cross[0] = cross0
            for piece in range(8):
                place[0, piece] = places0[piece]
            for n in range(starts.shape[0]):
                stands[n, 0], stands[n, 1], stands[n, 2] = starts[n], hands.start, 0
            first_stand[0], after_stand[0] = 0, starts.shape[0]
            part[0], begun[0], offset[0], more_goal[0] = 0, False, -1, 0
            viable[0] = 15
            level = 0
            fresh = True
        if fresh:
            fresh = False
            many[level] = upcoming[level] = 0
            task = tasks[part[level]]
            allowed = task[1]
            last = part[level] == last_part
            closing = offset[level] >= 0 and begun[level]
            if closing:
                mask = 1 << _D + 3 - offset[level]  # only the turn back is left
            elif begun[level]:
                mask = allowed
            else:
                at = offset[level] if level > 0 else root_offset
                prefix = task[2] >> 4 * at & 15
                if part[level] > 0:
                    solved = _solved_pieces(place[level], at)
                    slots = solved & solved >> 4
                    more_goal[level] = slots | slots << 4
                    if task[2] == AT_DOORS:
                        prefix = _doors(place[level], target, at)
                    elif solved & task[0] & ~tasks[0, 0]:
                        prefix = zero  # nothing is left for it that is one insertion
                mask = allowed if prefix & 1 else 0
                for a in range(1, 4):
                    if prefix >> a & 1:
                        mask |= 1 << _D + a - 1
            still = allowed == NO_D and not closing
            free = not still and not last
            asked = orders[part[level], : counts[part[level]]]
            if not begun[level]:
                viable[level] = 1 if task[3] == NO_TAIL else 15
            before = path_turn[level - 1] // 3 if level > 0 else -1
            earlier = path_turn[level - 2] // 3 if level > 1 else -1
            children = 0
            if level == LONGEST_WAY - 1:
                mask = 0
            begin, end = first_stand[level], after_stand[level]
            top = filled[level - 1] if level > 0 else end
            cheapest = stands[begin, 2]
            for stand in range(begin + 1, end):
                cheapest = min(cheapest, stands[stand, 2])
            # The milliseconds left after a turn, by the kind of holding that it leads to.
            count = zero
            for turn in range(18):
                face = turn // 3
                if not mask >> turn & 1 or face == before:
                    continue
                if face == earlier and OPPOSITE[face] == before:
                    continue
                crossed[level, turn] = moves[cross[level], turn]
                for kind in range(KINDS):
                    rooms[turn, kind] = limit - cheapest - hands.turned
                for stand in range(begin, end):
                    here, now = stands[stand, 0], stands[stand, 1]
                    for way in range(2):
                        move = hands.spelled[here, turn, way]
                        kind = hands.kind[hands.after[here, move]]
                        left = limit - stands[stand, 2] - np.int64(hands.seconds[now, move])
                        rooms[turn, kind] = max(rooms[turn, kind], left)
                turns[count] = turn
                count += 1
            sifted, ends_at, more = asked, standing, second_ms
            if still:
                ends_at = zero
                while ends_at < 3 and not viable[level] >> ends_at & 1:
                    ends_at += one
                more = more_ms[ends_at if last else 4]
            elif last:
                sifted, ends_at, more = order, zero, zero
            # A part that may end at several offsets has no bound for all of them.
            if not still or viable[level] == 1 << ends_at:
                for i in range(min(3, asked.shape[0])):
                    count = _sift(
                        views, still_pieces if still else pieces, crossed[level], place[level],
                        sifted[i], ends_at, more, rooms, turns, count,
                    )  # fmt: skip
            for nth_turn in range(count):
                turn = turns[nth_turn]
                face = turn // 3
                room = rooms[turn]
                other = crossed[level, turn]
                places = turned[level, turn]
                for piece in range(8):
                    places[piece] = PIECE_MOVES[piece // 4, turn, place[level, piece]]
                if tied:
                    first = places[target] == place[level, target]
                    second = places[target + 4] == place[level, target + 4]
                    if first != second:
                        continue
                for kind in range(KINDS):
                    bounds[kind] = own[kind] = 0
                if free and not _piece_bounds(
                    views, pieces, other, places, asked, standing, second_ms, room, own
                ):
                    continue
                if not (still and last) and not _piece_bounds(
                    views, pieces, other, places, order, zero, zero, room, bounds
                ):
                    continue
                if still:
                    ends[level, turn] = 0
                    for kind in range(KINDS):
                        own[kind] = NO_LIMIT
                    for k in range(4):
                        if viable[level] >> k & 1 and _piece_bounds(
                            views, still_pieces, other, places, asked, zero + k,
                            more_ms[k if last else 4], room, at_offset,
                        ):  # fmt: skip
                            ends[level, turn] |= 1 << k
                            for kind in range(KINDS):
                                own[kind] = min(own[kind], at_offset[kind])
                    if not ends[level, turn]:
                        continue
                lowest = np.int64(NO_LIMIT)
                for kind in range(KINDS):
                    bounds[kind] = max(bounds[kind], own[kind])
                    lowest = min(lowest, bounds[kind])
                aside = not begun[level] and face == 5 and not allowed >> turn & 1
                reached = -1
                if not closing and not aside:
                    reached = _reached(other, places, task[0] | more_goal[level])
                    if task[3] == NO_TAIL and reached > 0:
                        reached = -1
                done = closing or (reached == 0 and last)
                path_turn[level] = turn
                child_begin = top
                for stand in range(begin, end):
                    here, now, cost = stands[stand, 0], stands[stand, 1], stands[stand, 2]
                    turnable = cost + hands.turned + lowest <= limit
                    for nth in range(24 if turnable else 1):
                        at = (here + nth) % 24
                        spent, state = cost, now
                        if nth:
                            spent += hands.rotation[here, at]
                            state = zero + hands.rotated
                            if spent + hands.least + lowest > limit:
                                continue
                        for way in range(2):
                            move = hands.spelled[at, turn, way]
                            price = spent + hands.seconds[state, move]
                            to = hands.after[at, move]
                            if price + bounds[hands.kind[to]] > limit:
                                continue
                            if done:
                                total = price + hands.finish[to]
                                if total <= limit:
                                    _trace(stands, stand, level, path_step)
                                    path_step[level] = 24 * move + at
                                    found = _keep(
                                        total, level + 1, path_turn, path_step, to, out, found
                                    )
                                    limit = min(limit, out.cost[0] + within)
                                    if found >= most:
                                        limit = min(limit, out.cost[most - 1])
                                continue
                            if last and reached > 0 and price + left_ms[reached, to] > limit:
                                continue
                            if price + cross_ms[other, to] * UNIT_MS > limit:
                                continue
                            pairs = _pair_bound(pair_ms, hands.seen, places, goal, zero, to)
                            if price + pairs > limit:
                                continue
                            if still and not _may_end(
                                still_pair_ms, hands.seen, turning_ms, places, task[0],
                                ends[level, turn], last, to, limit - price,
                            ):  # fmt: skip
                                continue
                            if top == stands.shape[0]:
                                return -one
                            top = _enter(
                                stands, child_begin, top, price, to, hands.then[state, move],
                                stand, 24 * move + at, level, paths,
                            )  # fmt: skip
                if top > child_begin:
                    # A part that leaves the layer where it is ends, and the next begins.
                    onward = reached >= 0 and not last
                    child = children_of[level, children]
                    child[0], child[1], child[2] = turn, child_begin, top
                    child[3], child[4] = part[level] + onward, reached
                    children += 1
            filled[level] = top
            many[level] = children
        n = upcoming[level]
        if n == many[level]:
            level -= 1
            continue
        upcoming[level] = n + 1
        child = children_of[level, n]
        turn, onto = child[0], child[3]
        path_turn[level] = turn
        first_stand[level + 1], after_stand[level + 1] = child[1], child[2]
        cross[level + 1] = crossed[level, turn]
        for piece in range(8):
            place[level + 1, piece] = turned[level, turn, piece]
        part[level + 1] = onto
        offset[level + 1] = child[4]
        begun[level + 1] = onto == part[level]
        more_goal[level + 1] = more_goal[level]
        viable[level + 1] = ends[level, turn]
        level += 1
        fresh = True
    while found and out.cost[found - 1] > out.cost[0] + within:
        found -= 1
    return found
