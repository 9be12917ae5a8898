"""The referee's walk through all sequences that a constraint allows, in milliseconds.

Depth first over written moves and changes of holding, up to a limit. A branch is left if a table of
relaxed prices (each move at its lowest price) shows that it cannot end within the limit.
Stickers of edges and of corners are numbered 0 to 23 each (``EDGE_STICKERS`` and
``CORNER_STICKERS``); piece i has to come to its own target.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numba import njit
from referee_cube import AXES, FACELETS, FACES, OPPOSITE, TURNS, clockwise, facelet

__all__ = [
    "CORNER_STICKERS",
    "CORNER_TURNS",
    "CROSS",
    "EDGE_STICKERS",
    "EDGE_TURNS",
    "LONGEST",
    "PLACES",
    "cross_bound",
    "pair_bound",
    "quick_cross_bound",
    "turn_distances",
    "walk",
]

LONGEST: Final = 24


def _stickers(count: int) -> list[int]:
    return [i for i, (p, _) in enumerate(FACELETS) if sum(map(abs, p)) == count]


EDGE_STICKERS: Final = _stickers(2)
CORNER_STICKERS: Final = _stickers(3)
_NAMES: Final = [face + amount for face in FACES for amount in ("", "2", "'")]
EDGE_TURNS: Final = np.array(
    [[EDGE_STICKERS.index(TURNS[name][s]) for s in EDGE_STICKERS] for name in _NAMES],
    dtype=np.int64,
)
"""Shape (18, 24): where an edge's sticker goes."""
CORNER_TURNS: Final = np.array(
    [[CORNER_STICKERS.index(TURNS[name][s]) for s in CORNER_STICKERS] for name in _NAMES],
    dtype=np.int64,
)
CROSS: Final = [EDGE_STICKERS.index(facelet("D" + f)) for f in "FRBL"]
CROSS_HOME: Final = np.array(CROSS)
TWO_EDGES: Final = np.array([(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)])

_ACROSS: Final = np.array([FACES.index(OPPOSITE[face]) for face in FACES])
_STEP: Final = 5
"""Milliseconds; relaxed prices are rounded down to it, so that there are few buckets."""


@njit(cache=True)
def _settle(dist, first, chain, node, count, before, rotation, undone):  # type: ignore[no-untyped-def]
    """Dijkstra backwards over (pieces, holding), by buckets of prices; the arrays are changed.

    ``before`` (24, k, 3): for each holding the holdings before it, with turn and price.
    ``undone`` (pieces, 18, 24): the place of a sticker before a turn.
    """
    pieces = undone.shape[0]
    values = np.zeros(4, dtype=np.int64)
    for bucket in range(first.shape[0]):
        while first[bucket] >= 0:
            entry = first[bucket]
            first[bucket] = chain[entry]
            state = node[entry]
            if dist[state] != bucket:
                continue
            held, rest = state % 24, state // 24
            base = rest * 24
            for i in range(pieces - 1, -1, -1):
                values[i] = rest % 24
                rest //= 24
            for other in range(24):
                price = bucket + rotation[other, held]
                if other != held and price < dist[base + other]:
                    dist[base + other] = price
                    count = _push(first, chain, node, count, price, base + other)
            for k in range(before.shape[1]):
                price = bucket + before[held, k, 2]
                new = 0
                for i in range(pieces):
                    new = new * 24 + undone[i, before[held, k, 1], values[i]]
                new = new * 24 + before[held, k, 0]
                if price < dist[new]:
                    dist[new] = price
                    count = _push(first, chain, node, count, price, new)


@njit(cache=True)
def _push(first, chain, node, count, price, state):  # type: ignore[no-untyped-def]
    node[count] = state
    chain[count] = first[price]
    first[price] = count
    return count + 1


def _bound(pieces: Any, targets: Any, finish: Any, hands: Any, forbidden: int) -> Any:
    """Least seconds for ``pieces`` (turn tables) to reach ``targets``, for every holding."""
    cheap = hands.price.min(axis=0) // _STEP
    before = [
        [
            (other, hands.turn[other, move], cheap[move])
            for other in range(24)
            for move in range(36)
            if hands.after[other, move] == held and hands.turn[other, move] // 3 != forbidden
        ]
        for held in range(24)
    ]
    most = max(map(len, before))  # a wide turn that is not allowed is missing elsewhere
    padded = [[*row, *[row[0]] * (most - len(row))] for row in before]
    size = 24 ** (len(pieces) + 1)
    dist = np.full(size, 60000, dtype=np.uint16)
    first = np.full(4000, -1, dtype=np.int32)
    chain, node = np.empty(4 * size, dtype=np.int32), np.empty(4 * size, dtype=np.int32)
    goal, count = 0, 0
    for target in targets:
        goal = goal * 24 + target
    for held in range(24):
        price = int(finish[held]) // _STEP
        dist[goal * 24 + held] = price
        count = _push(first, chain, node, count, price, goal * 24 + held)
    undone = np.array([np.argsort(table, axis=1) for table in pieces])
    rotation = hands.rotation.astype(np.int64) // _STEP
    _settle(dist, first, chain, node, count, np.array(padded, dtype=np.int64), rotation, undone)
    return dist


def cross_bound(hands: Any, finish: Any, forbidden: int) -> Any:
    """Shape (24**4 * 24,), in steps of 5 ms: the four cross edges, D F R B L home."""
    return _bound([EDGE_TURNS] * 4, CROSS, finish, hands, forbidden)


def quick_cross_bound(hands: Any, finish: Any, forbidden: int) -> Any:
    """Shape (6 * 24**3,): every two of the four edges; a weaker bound, computed at once."""
    pieces = [EDGE_TURNS] * 2
    return np.concatenate(
        [_bound(pieces, [CROSS[i], CROSS[j]], finish, hands, forbidden) for i, j in TWO_EDGES]
    )


def pair_bound(hands: Any, corner: int, edge: int, finish: Any, forbidden: int) -> Any:
    """Shape (24 * 24 * 24,), in steps: a corner and an edge to their targets."""
    return _bound([CORNER_TURNS, EDGE_TURNS], [corner, edge], finish, hands, forbidden)


def _spun(stickers: list[int]) -> list[list[int]]:
    """The places of stickers after zero to three quarter turns of the cube about U."""
    rows = [list(range(24))]
    for _ in range(3):
        turned = [FACELETS[stickers[i]] for i in rows[-1]]
        spun = [(clockwise(p, AXES["U"]), clockwise(n, AXES["U"])) for p, n in turned]
        rows.append([stickers.index(FACELETS.index(each)) for each in spun])
    return rows


SPUN_EDGES: Final = np.array(_spun(EDGE_STICKERS))
SPUN_CORNERS: Final = np.array(_spun(CORNER_STICKERS))
PLACES: Final = [
    (CORNER_STICKERS.index(facelet("D" + name)), EDGE_STICKERS.index(facelet(name)))
    for name in ("FR", "RB", "BL", "LF")
]
"""Targets of the corner and the edge of each slot, in the order in which they are turned to FR."""


@njit(cache=True)
def _spread(dist, crosses, pairs):  # type: ignore[no-untyped-def]
    depth, found = 0, 1
    while found > 0:
        found = 0
        for x in range(crosses.shape[0]):
            for pair in range(576):
                if dist[x, pair] == depth:
                    for t in range(crosses.shape[1]):
                        other, of = crosses[x, t], pairs[pair, t]
                        if dist[other, of] == 255:
                            dist[other, of] = depth + 1
                            found += 1
        depth += 1


def turn_distances(forbidden: int) -> Any:
    """Shape (24**4, 576): turns until the cross and the front right pair are home; 191 MB."""
    allowed = [t for t in range(18) if t // 3 != forbidden]
    edges, corners = EDGE_TURNS[allowed].T, CORNER_TURNS[allowed].T
    crosses = np.zeros((1, len(allowed)), dtype=np.int32)
    for _ in range(4):
        crosses = (crosses[:, None, :] * 24 + edges[None]).reshape(-1, len(allowed))
    pairs = (corners[:, None, :] * 24 + edges[None]).reshape(-1, len(allowed))
    dist = np.full((24**4, 576), 255, dtype=np.uint8)
    home = ((CROSS[0] * 24 + CROSS[1]) * 24 + CROSS[2]) * 24 + CROSS[3]
    dist[home, PLACES[0][0] * 24 + PLACES[0][1]] = 0
    _spread(dist, crosses.astype(np.int32), pairs.astype(np.int32))
    return dist


@njit(cache=True)
def _within(  # type: ignore[no-untyped-def]
    at_x, at_c, at_e, at, to, left, bound_of, cross_table, pair_tables, deep_of, distances, worth
):  # fmt: skip
    """Whether the pieces of row ``at`` can get home for ``left`` ms from holding ``to``.

    By the tables, beginning with the target's pieces.
    """
    for b in range(bound_of.shape[0]):
        place = (at_c[at, bound_of[b, 0]] * 24 + at_e[at, bound_of[b, 1]]) * 24 + to
        if pair_tables[bound_of[b, 2], place] * 5 > left:
            return False
    for b in range(deep_of.shape[0]):
        spin, spun = deep_of[b, 2], 0
        for i in range(4):
            spun = spun * 24 + SPUN_EDGES[spin, at_x[at, (i + spin) % 4]]
        edge = SPUN_EDGES[spin, at_e[at, deep_of[b, 1]]]
        pair = SPUN_CORNERS[spin, at_c[at, deep_of[b, 0]]] * 24 + edge
        if worth[distances[spun, pair]] > left:
            return False
    if cross_table.shape[0] > 6 * 13824:
        number = 0
        for i in range(4):
            number = number * 24 + at_x[at, i]
        return cross_table[number * 24 + to] * 5 <= left
    for i in range(6):
        one, two = at_x[at, TWO_EDGES[i, 0]], at_x[at, TWO_EDGES[i, 1]]
        if cross_table[((24 * i + one) * 24 + two) * 24 + to] * 5 > left:
            return False
    return True


@njit(cache=True)
def walk(  # type: ignore[no-untyped-def]
    cross, corners, edges, corner_targets, edge_targets, bound_of, cross_table, pair_tables,
    deep_of, distances, worth, glued, allowed, price, follow, turn, after, rotation, order,
    rotated, starts, finish_ms, rest_ms, limit, slack, out_moves, out_info,
):  # fmt: skip
    """All sequences within ``limit`` ms; returns (how many were written out, least price found).

    ``starts`` (n, 4): holding, state, ms so far, 1 if the turn of U is spent. ``bound_of``
    (n, 3): for each bound its corner, its edge and its row of ``pair_tables``; ``deep_of``
    (n, 3): the same for ``distances``, with the quarters that turn the slot to the front right;
    ``worth`` (256,): least ms of this many turns. ``order`` (24, 24): from each holding the
    holdings, cheapest rotation first. ``finish_ms`` (24, states): price at the end.
    ``rest_ms``: least price after it, not in the tables. ``out_moves`` (room, LONGEST):
    36 * holding before the move + move; ``out_info`` (room, 5): ms, number of moves, start,
    holding and state at the end. The limit falls to the least found + slack. A count of −1: there
    was no room. No turn is written as two.
    """
    pieces_e, pieces_c = edges.shape[0], corners.shape[0]
    at_x = np.zeros((LONGEST + 1, 4), dtype=np.int64)
    at_c = np.zeros((LONGEST + 1, 8), dtype=np.int64)
    at_e = np.zeros((LONGEST + 1, 8), dtype=np.int64)
    held = np.zeros(LONGEST + 1, dtype=np.int64)
    state = np.zeros(LONGEST + 1, dtype=np.int64)
    spent = np.zeros(LONGEST + 1, dtype=np.int64)
    step = np.zeros(LONGEST + 1, dtype=np.int64)
    path = np.zeros(LONGEST + 1, dtype=np.int64)
    count, best = 0, 1 << 28
    for n in range(starts.shape[0]):
        if starts[n, 2] > limit:
            continue
        depth = 0
        for i in range(4):
            at_x[0, i] = cross[i]
        for i in range(pieces_c):
            at_c[0, i] = corners[i]
        for i in range(pieces_e):
            at_e[0, i] = edges[i]
        held[0], state[0], spent[0] = starts[n, 0], starts[n, 1], starts[n, 2]
        step[0] = 0
        only_u = starts[n, 3]
        while depth >= 0:
            if step[depth] == 864:
                depth -= 1
                continue
            spin, move = step[depth] // 36, step[depth] % 36
            h = order[held[depth], spin]
            so_far = spent[depth]
            if spin > 0:
                so_far += rotation[held[depth], h]
                if so_far > limit:
                    step[depth] = 864
                    continue
                if move == 0 and not _within(
                    at_x, at_c, at_e, depth, h, limit - so_far - rest_ms, bound_of, cross_table,
                    pair_tables, deep_of, distances, worth,
                ):  # fmt: skip
                    step[depth] += 36
                    continue
            step[depth] += 1
            stands = rotated if spin > 0 else state[depth]
            so_far += price[stands, move]
            if so_far > limit:
                continue
            t = turn[h, move]
            if not allowed[t // 3] or (depth == 0 and only_u == 1 and t // 3 == 0):
                continue
            if depth > 0:
                last = turn[path[depth - 1] // 36, path[depth - 1] % 36] // 3
                before = path[depth - 2] if depth > 1 else path[depth - 1]
                before = turn[before // 36, before % 36] // 3
                if last == t // 3 or (_ACROSS[last] == t // 3 and before == t // 3):
                    continue
            to = after[h, move]
            new = depth + 1
            for i in range(pieces_c):
                at_c[new, i] = CORNER_TURNS[t, at_c[depth, i]]
            for i in range(pieces_e):
                at_e[new, i] = EDGE_TURNS[t, at_e[depth, i]]
            for i in range(4):
                at_x[new, i] = EDGE_TURNS[t, at_x[depth, i]]
            if not _within(
                at_x, at_c, at_e, new, to, limit - so_far - rest_ms, bound_of, cross_table,
                pair_tables, deep_of, distances, worth,
            ):  # fmt: skip
                continue
            if glued:
                moved_c = at_c[new, pieces_c - 1] != at_c[depth, pieces_c - 1]
                moved_e = at_e[new, pieces_e - 1] != at_e[depth, pieces_e - 1]
                if moved_c != moved_e:
                    continue
            path[depth] = 36 * h + move
            done = True
            for i in range(4):
                done = done and at_x[new, i] == CROSS_HOME[i]
            for i in range(pieces_c):
                done = done and at_c[new, i] == corner_targets[i]
            for i in range(pieces_e):
                done = done and at_e[new, i] == edge_targets[i]
            stands = follow[stands, move]
            if done:
                total = so_far + finish_ms[to, stands]
                if total <= limit:
                    if count == out_info.shape[0]:
                        return -1, best
                    for i in range(new):
                        out_moves[count, i] = path[i]
                    out_info[count, 0] = total
                    out_info[count, 1] = new
                    out_info[count, 2] = n
                    out_info[count, 3] = to
                    out_info[count, 4] = stands
                    count += 1
                    if total < best:
                        best = total
                        limit = min(limit, best + slack)
                continue
            if new == LONGEST:
                continue
            held[new], state[new], spent[new], step[new] = to, stands, so_far, 0
            depth = new
    return count, best
