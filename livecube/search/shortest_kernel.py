"""The kernels for the shortest sequences and for their cheapest spelling."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import OPPOSITE
from livecube.hands.automaton import NEVER
from livecube.search.table_kernels import inner, kernel
from livecube.search.task import LEFT, LONGEST, NO_TAIL, TURNED_BACK

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["empty_scratch", "run", "spell"]

# The one search kernel: depth-first with iterative deepening, its constraint as data.
#
# A task (:class:`livecube.search.task.Task` explains its fields) is a row of numbers.
#
# The tables bound a search: a node is left when the cross together with any goal pair (or, while
# the pair table is missing, any goal piece) needs more turns than are left. One D turn moves a
# goal by one, so the same bound serves goals at an offset.


_D: Final = 15
"""The turn D; D2 and D' follow."""


@inner
def _need_of_pair(pairs, cross, corner, edge):  # type: ignore[no-untyped-def]
    """Fewest turns that solve the cross and slot 0."""
    state = (cross * 24 + corner) * 24 + edge
    return pairs[state >> 1] >> ((state & 1) << 2) & 15


@inner
def _order(goal, target, with_pairs, slots, singles):  # type: ignore[no-untyped-def]
    """Split a goal into pairs and single pieces, the target's first; returns how many of each.

    Without the pair table all are single pieces.
    """
    whole = 0
    single = 0
    for i in range(4):
        slot = (target + i) % 4
        if with_pairs and goal >> slot & goal >> slot + 4 & 1:
            slots[whole] = slot
            whole += 1
            continue
        for piece in (slot, slot + 4):
            if goal >> piece & 1:
                singles[single] = piece
                single += 1
    return whole, single


@inner
def _followers(allowed, followers, many):  # type: ignore[no-untyped-def]
    """The turns that may follow a turn of each face (6: at the start), and how many."""
    for before in range(7):
        many[before] = 0
        for turn in range(18):
            face = turn // 3
            in_order = before == 6 or (
                face != before and (face > before or OPPOSITE[face] != before)
            )
            if in_order and allowed >> turn & 1:
                followers[before, many[before]] = turn
                many[before] += 1


@inner
def _look_ahead(  # type: ignore[no-untyped-def]
    moves, rows, alone, pairs, piece_moves, turn_seen, turns, count,
    whole, single, cross, slot, seen, corner, edge, piece, place, need,
):  # fmt: skip
    """Fewest turns for the first part of the goal after each of some turns.

    All turns of a node are looked up at once, before any is judged: the tables are larger than
    the processor's caches, so the loads then wait together and not one after another.
    """
    if whole:
        for n in range(count):
            turn = turn_seen[slot, turns[n]]
            need[n] = _need_of_pair(
                pairs, moves[seen, turn], piece_moves[0, turn, corner], piece_moves[1, turn, edge]
            )
    elif single:
        for n in range(count):
            turn = turns[n]
            need[n] = rows[moves[cross, turn], 24 * piece + piece_moves[piece // 4, turn, place]]
    else:
        for n in range(count):
            need[n] = alone[moves[cross, turns[n]]]


@inner
def _offset(  # type: ignore[no-untyped-def]
    cross, corner, edge, place, whole, singles, single, solved_cross, solved_places
):
    """The offset at which the cross and the goal's pieces are solved, or −1.

    Pairs are given as their slots see them, so all look like slot 0.
    """
    for k in range(4):
        if cross == solved_cross[k]:
            for i in range(whole):
                if corner[i] != solved_places[k, 0] or edge[i] != solved_places[k, 4]:
                    return -1
            for i in range(single):
                if place[i] != solved_places[k, singles[i]]:
                    return -1
            return k
    return -1


def empty_scratch() -> tuple[npt.NDArray[np.int64], ...]:
    """What a search remembers of the turns that it is trying: the shapes are below.

    Pairs are indexed by cross, corner and edge as their slots see them, single pieces and the cross
    alone as they are.
    """
    level = LONGEST + 1
    followers, many, slots, singles = (7, 18), 7, 4, 8
    cross, crosses, corner, edge, place = level, (level, 4), (level, 4), (level, 4), (level, 8)
    need, last, upcoming = (level, 18), level, level
    shapes = (
        followers, many, slots, singles, cross, crosses, corner, edge, place, need, last, upcoming
    )  # fmt: skip
    return tuple(np.zeros(shape, dtype=np.int64) for shape in shapes)


@inner
def _search(  # type: ignore[no-untyped-def]
    moves, rows, alone, seen, pairs, symmetry, turn_seen, piece_moves, solved_cross,
    solved_places, cross0, places0, task, prefix, depth, scratch, out_turns, out_length, found,
):  # fmt: skip
    """All solutions of exactly ``depth`` turns after one prefix; returns the new number found."""
    goal, tail, target, tied = task[0], task[3], task[4], task[5]
    (
        followers, many, slots, singles, cross, crosses, corner, edge, place, need, last, upcoming
    ) = scratch  # fmt: skip
    whole, single = _order(goal, target, pairs.shape[0] > 0, slots, singles)
    start = 1 if prefix else 0
    turn = _D + prefix - 1
    spare = 1 if tail == LEFT else 0
    cross[0] = moves[cross0, turn] if prefix else cross0
    most = alone[cross[0]]
    for i in range(whole):
        slot = slots[i]
        before = places0[slot], places0[slot + 4]
        crosses[0, i] = seen[slot, cross[0]]
        corner[0, i] = symmetry[slot, 0, piece_moves[0, turn, before[0]] if prefix else before[0]]
        edge[0, i] = symmetry[slot, 1, piece_moves[1, turn, before[1]] if prefix else before[1]]
        most = max(most, _need_of_pair(pairs, crosses[0, i], corner[0, i], edge[0, i]))
    for i in range(single):
        piece = singles[i]
        place[0, i] = places0[piece]
        if prefix:
            place[0, i] = piece_moves[piece // 4, turn, places0[piece]]
        most = max(most, rows[cross[0], 24 * piece + place[0, i]])
    if most > depth - start + spare or depth == start:
        return found
    last[0] = 6
    level = 0
    fresh = True
    while level >= 0:
        turns = followers[last[level]]
        if fresh:
            _look_ahead(
                moves, rows, alone, pairs, piece_moves, turn_seen, turns, many[last[level]],
                whole, single, cross[level], slots[0], crosses[level, 0], corner[level, 0],
                edge[level, 0], singles[0], place[level, 0], need[level],
            )  # fmt: skip
            upcoming[level] = 0
            fresh = False
        n = upcoming[level]
        if n == many[last[level]]:
            level -= 1
            continue
        upcoming[level] = n + 1
        left = depth - start - level - 1
        most = need[level, n]
        if most > left + spare:
            continue
        turn = turns[n]
        for i in range(whole):
            own = turn_seen[slots[i], turn]
            crosses[level + 1, i] = moves[crosses[level, i], own]
            corner[level + 1, i] = piece_moves[0, own, corner[level, i]]
            edge[level + 1, i] = piece_moves[1, own, edge[level, i]]
            if i > 0:
                most = max(most, _need_of_pair(
                    pairs, crosses[level + 1, i], corner[level + 1, i], edge[level + 1, i]
                ))  # fmt: skip
                if most > left + spare:
                    break
        if most > left + spare:
            continue
        cross[level + 1] = moves[cross[level], turn]
        for i in range(single):
            piece = singles[i]
            place[level + 1, i] = piece_moves[piece // 4, turn, place[level, i]]
            most = max(most, rows[cross[level + 1], 24 * piece + place[level + 1, i]])
            if most > left + spare:
                break
        if most > left + spare:
            continue
        if tied:
            if whole:
                one = corner[level, 0] == corner[level + 1, 0]
                other = edge[level, 0] == edge[level + 1, 0]
            else:
                one = place[level, 0] == place[level + 1, 0]
                other = place[level, 1] == place[level + 1, 1]
            if one != other:
                continue
        if most <= 1:
            offset = _offset(
                cross[level + 1], corner[level + 1], edge[level + 1], place[level + 1],
                whole, singles, single, solved_cross, solved_places,
            )  # fmt: skip
            if offset == 0 or (offset > 0 and tail != NO_TAIL):
                turned_back = offset > 0 and tail == TURNED_BACK
                if start + level + 1 + turned_back == depth and found < out_length.shape[0]:
                    length = 0
                    if prefix:
                        out_turns[found, 0] = _D + prefix - 1
                        length = 1
                    for j in range(level + 1):
                        out_turns[found, length] = followers[last[j], upcoming[j] - 1]
                        length += 1
                    if turned_back:
                        out_turns[found, length] = _D + 3 - offset
                        length += 1
                    out_length[found] = length
                    found += 1
                continue
        if left > 0:
            level += 1
            last[level] = turn // 3
            fresh = True
    return found


@inner
def _among(tasks, number, out_turns, out_length, out_task, found):  # type: ignore[no-untyped-def]
    """Answer a task from an earlier one that differs only by allowing more turns.

    If some of the shortest sequences of the freer task satisfy the narrower constraint, they and
    the longer such sequences are the narrower task's answer. Returns the new number found.
    """
    task = tasks[number]
    if task[2] != 1 or task[3] != NO_TAIL or task[5]:
        return found
    for earlier in range(number):
        other = tasks[earlier]
        same = other[0] == task[0] and other[2] == 1 and other[3] == NO_TAIL
        if not same or other[5] or task[1] & ~other[1]:
            continue
        first = found
        shortest = -1
        for row in range(first):
            if out_task[row] != earlier:
                continue
            if shortest < 0:
                shortest = out_length[row]
            fits = found < out_length.shape[0]
            for i in range(out_length[row]):
                fits = fits and task[1] >> out_turns[row, i] & 1
            if fits:
                for i in range(out_length[row]):
                    out_turns[found, i] = out_turns[row, i]
                out_length[found] = out_length[row]
                out_task[found] = number
                found += 1
        if found > first and out_length[first] == shortest:
            return found
        return first
    return found


@kernel
def run(  # type: ignore[no-untyped-def]
    moves, rows, alone, seen, pairs, symmetry, turn_seen, piece_moves, solved_cross,
    solved_places, cross, places, tasks, scratch, out_turns, out_length, out_task,
):  # fmt: skip
    """Answer all tasks about one position; returns the number of sequences found.

    ``pairs`` may be empty: then the corner and edge tables bound the search. ``tasks`` has
    shape (n, FIELDS), int64, ``scratch`` is :func:`empty_scratch`. Sequences are written to
    ``out_turns`` (m, LONGEST), uint8, their lengths and task numbers to ``out_length`` and
    ``out_task``, int64; shorter ones of a task come first. At most m are found: a return value of
    m means that there was not enough room. Nothing is checked.
    """
    # Plain literals as arguments have types of their own, and would compile everything once more.
    found = np.int64(0)
    for number in range(tasks.shape[0]):
        task = tasks[number]
        before = found
        found = _among(tasks, number, out_turns, out_length, out_task, found)
        if found > before:
            continue
        _followers(task[1], scratch[0], scratch[1])
        shortest = np.int64(LONGEST)
        depth = np.int64(1)
        while depth < LONGEST and depth <= shortest:
            for prefix in range(4):
                if task[2] >> prefix & 1:
                    found = _search(
                        moves, rows, alone, seen, pairs, symmetry, turn_seen, piece_moves,
                        solved_cross, solved_places, cross, places, task, prefix, depth, scratch,
                        out_turns, out_length, found,
                    )  # fmt: skip
            if found > before and shortest == LONGEST:
                shortest = depth
            depth += 1
        for row in range(before, found):
            out_task[row] = number
    return found


@kernel
def spell(hands, turns, starts, moves, held, cost, way, many):  # type: ignore[no-untyped-def]
    """Write the cheapest moves and the holdings of each; returns price, start, end.

    ``cost`` is ``NEVER`` everywhere, and is so again in the end; ``way`` and ``many`` are scratch.
    """
    states = hands.seconds.shape[0]
    count = turns.shape[0]
    came_from, made_in, made_as, reached = way[0], way[1], way[2], way[3]
    for i in range(count + 1):
        many[i] = 0
    for start in starts:
        at = start * states + hands.start
        cost[0, at] = 0
        reached[0, many[0]] = at
        many[0] += 1
    for i in range(count):
        for n in range(many[i]):
            at = np.int64(reached[i, n])
            holding, state = at // states, at % states
            for other in range(24):
                spent = cost[i, at] + hands.rotation[holding, other]
                now = state if other == holding else hands.rotated
                for either in range(2):
                    move = hands.spelled[other, turns[i], either]
                    price = spent + hands.seconds[now, move]
                    if price >= NEVER:
                        continue
                    to = hands.after[other, move] * states + hands.then[now, move]
                    if price < cost[i + 1, to]:
                        if cost[i + 1, to] == NEVER:
                            reached[i + 1, many[i + 1]] = to
                            many[i + 1] += 1
                        cost[i + 1, to] = price
                        came_from[i + 1, to] = at
                        made_in[i + 1, to] = other
                        made_as[i + 1, to] = move
    best = np.int64(-1)
    total = np.int64(NEVER)
    for n in range(many[count]):
        at = np.int64(reached[count, n])
        price = cost[count, at] + hands.finish[at // states]
        if price < total:
            best, total = at, price
    at = best
    for i in range(count, 0, -1):
        moves[i - 1] = made_as[i, at]
        held[i - 1] = made_in[i, at]
        at = np.int64(came_from[i, at])
    for i in range(count + 1):
        for n in range(many[i]):
            cost[i, reached[i, n]] = NEVER
    return total, at // states, best // states
