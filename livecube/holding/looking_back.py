"""The kernels' way back: probabilities given later turns, and single paths through all turns.

Both use the rows that :func:`livecube.holding.kernel.forward` filled in; see there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numba
import numpy as np

from livecube.holding.kernel import BETWEEN, begins_anew, besides, gaps, is_slice, seen_as
from livecube.holding.written import HELD_AFTER, ROTATED, SEEN_AS_SLICE

if TYPE_CHECKING:
    from livecube.holding.kernel import Array, Rows, Seen
    from livecube.holding.likelihoods import Likelihoods

__all__ = ["backward", "trace"]


@numba.njit(cache=True)
def _ahead(before: Array, holding: int, nodes: int, begin: Array, familiar: Array) -> float:
    """Weight of all later turns at a beginning in a holding."""
    first = holding * nodes
    ahead: float = familiar[0] * before[first + begin[0]] + familiar[1] * before[first + begin[1]]
    return ahead


@numba.njit(cache=True)
def _back_to_rest(
    t: int,
    seen: Seen,
    likely: Likelihoods,
    rows: Rows,
    after: Array,
    beyond: Array,
    before: Array,
    held: Array,
    kinds: Array,
) -> None:
    """Weight of all later turns for the states before turn ``t``; adds to ``held``, ``kinds``."""
    nodes = len(likely.moves)
    turn = seen.turns[t]
    apart, _ = gaps(t, seen, likely)
    sliced, together = t + 1 < len(seen.turns) and is_slice(seen.turns, t + 1), 0.0
    if sliced:
        together = gaps(t + 1, seen, likely)[1] / (rows.scales[t] * rows.scales[t + 1])
    keys, weights, scale = rows.rest_keys[t], rows.rest_weights[t], rows.scales[t]
    begin, turned = likely.begin[seen.stages[t]], seen.turned[t]
    ratios = likely.tempos[seen.tempos[t]]
    for i in range(rows.rest_n[t]):
        key, weight = keys[i], weights[i]
        holding, node = key // nodes, key % nodes
        total = 0.0
        for kind in range(2 + sliced):
            if kind == 2:
                move = SEEN_AS_SLICE[holding, turn, seen.turns[t + 1]]
            else:
                move = seen_as(kind, holding, turn)
            held_after = HELD_AFTER[holding, move]
            to = held_after * nodes + likely.follow[node, move]
            share = likely.moves[node, move]
            share *= besides(node, holding, move, held_after, begin, ratios, turned)
            share *= beyond[to] * together if kind == 2 else after[to] * apart / scale
            total += share
            for report in range(1 + (kind == 2)):
                held[t + report, holding] += weight * share
                kinds[t + report, kind] += weight * share
        before[key] = total


@numba.njit(cache=True)
def _back_to_turn(
    t: int, seen: Seen, down: Array, likely: Likelihoods, rows: Rows, before: Array, after: Array
) -> None:
    """Weight of all later turns for the states after the turn before ``t``."""
    nodes = len(likely.moves)
    stage = seen.stages[t]
    begin, familiar, evidence = likely.begin[stage], likely.familiar[stage], seen.evidence[t]
    chances = likely.rotations[stage, seen.since[t], :, seen.paces[t]]
    anew = begins_anew(t, seen, likely)
    begun, rotated, turned = np.empty(24), np.empty(24), seen.turned[t]
    for holding in range(24):
        begun[holding] = _ahead(before, holding, nodes, begin[0], familiar)
        rotated[holding] = evidence[holding] * _ahead(before, holding, nodes, begin[1], familiar)
    for i in range(rows.n[t - 1]):
        key = rows.keys[t - 1, i]
        holding = key // nodes
        ahead = anew * begun[holding] + (1.0 - anew) * before[key]
        total = chances[down[holding], 0] * evidence[holding] * turned[0] * ahead
        for rotation in range(1, 24):
            to = ROTATED[holding, rotation]
            total += chances[down[holding], rotation] * rotated[to] * turned[BETWEEN[holding, to]]
        after[key] = total


def backward(seen: Seen, down: Array, likely: Likelihoods, rows: Rows) -> tuple[Array, Array]:
    """For each turn the probability of each holding before it, and of each kind of move.

    Shapes (turns, 24) and (turns, 3): face turn, wide turn, slice. ``rows``: from :func:`forward`
    without ``best``.
    """
    held, kinds = np.zeros((len(seen.turns), 24)), np.zeros((len(seen.turns), 3))
    _backward(seen, down, likely, rows, held, kinds)
    return held, kinds


@numba.njit(cache=True)
def _backward(
    seen: Seen, down: Array, likely: Likelihoods, rows: Rows, held: Array, kinds: Array
) -> None:
    last = len(seen.turns) - 1
    after = np.zeros(len(rows.where))  # weights of the states after turn t
    beyond = np.zeros(len(rows.where))  # of the states after turn t + 1
    before = np.zeros(len(rows.where))  # of the states before turn t
    for i in range(rows.n[last]):
        after[rows.keys[last, i]] = 1.0
    for t in range(last, -1, -1):
        _back_to_rest(t, seen, likely, rows, after, beyond, before, held, kinds)
        if t < last:
            for i in range(rows.n[t + 1]):
                beyond[rows.keys[t + 1, i]] = 0.0
        for i in range(rows.n[t]):
            beyond[rows.keys[t, i]] = after[rows.keys[t, i]]
            after[rows.keys[t, i]] = 0.0
        if t > 0:
            _back_to_turn(t, seen, down, likely, rows, before, after)
        for i in range(rows.rest_n[t]):
            before[rows.rest_keys[t, i]] = 0.0


@numba.njit(cache=True)
def _choose(weights: Array, n: int, draw: float) -> int:
    """Index of the greatest weight if ``draw`` is below 0; else of one drawn by weight."""
    if draw < 0:
        return int(np.argmax(weights[:n]))
    left = draw * weights[:n].sum()
    for i in range(n):
        left -= weights[i]
        if left <= 0:
            return i
    return n - 1


@numba.njit(cache=True)
def _moves_to(
    state: int, t: int, seen: Seen, likely: Likelihoods, rows: Rows, choice: Array, what: Array
) -> int:
    """The moves that end in a state after turn ``t``: their number, weights and indices.

    ``what``: shape (options, 3): first turn, index of the state before it, hand move.
    """
    nodes = len(likely.moves)
    apart, together = gaps(t, seen, likely)
    options = 0
    for first in range(t, t - 1 - (together > 0.0), -1):
        keys, weights = rows.rest_keys[first], rows.rest_weights[first]
        begin, turned = likely.begin[seen.stages[first]], seen.turned[first]
        ratios = likely.tempos[seen.tempos[first]]
        for i in range(rows.rest_n[first]):
            holding, node = keys[i] // nodes, keys[i] % nodes
            for kind in range(2 if first == t else 1):
                if first < t:
                    move = SEEN_AS_SLICE[holding, seen.turns[first], seen.turns[t]]
                    rate = together / rows.scales[first]
                else:
                    move = seen_as(kind, holding, seen.turns[t])
                    rate = apart
                after = HELD_AFTER[holding, move]
                if after * nodes + likely.follow[node, move] == state:
                    rate *= besides(node, holding, move, after, begin, ratios, turned)
                    choice[options] = weights[i] * likely.moves[node, move] * rate
                    what[options, 0], what[options, 1], what[options, 2] = first, i, move
                    options += 1
    return options


@numba.njit(cache=True)
def _states_to(
    key: int, t: int, seen: Seen, down: Array, likely: Likelihoods, rows: Rows, choice: Array
) -> None:
    """Weight of each state after the turn before ``t`` that leads to a state before ``t``."""
    nodes = len(likely.moves)
    holding, node = key // nodes, key % nodes
    stage = seen.stages[t]
    chances = likely.rotations[stage, seen.since[t], :, seen.paces[t]]
    anew = begins_anew(t, seen, likely)
    begin = likely.begin[stage]
    was_rotated = node in (begin[1, 0], begin[1, 1])
    was_begun = node in (begin[0, 0], begin[0, 1])
    for i in range(rows.n[t - 1]):
        before = rows.keys[t - 1, i]
        held = before // nodes
        choice[i] = 0.0
        if was_rotated:
            for rotation in range(1, 24):
                if ROTATED[held, rotation] == holding:
                    choice[i] = rows.weights[t - 1, i] * chances[down[held], rotation]
                    choice[i] *= seen.turned[t, BETWEEN[held, holding]]
        elif held == holding and (was_begun or before == key):
            choice[i] = rows.weights[t - 1, i] * chances[down[held], 0]
            choice[i] *= anew if was_begun else 1.0 - anew


@numba.njit(cache=True)
def trace(
    seen: Seen, down: Array, likely: Likelihoods, rows: Rows, draws: Array, steps: Array
) -> int:
    """One path back through the rows of :func:`forward`; returns its number of steps.

    The best path if ``draws`` (shape (2 * turns,)) are below 0. Else one drawn by likelihood with
    these numbers from 0 to 1. ``steps``: shape (turns, 4), int32, filled from the last step to the
    first: first turn, reports, holding, hand move.
    """
    nodes = len(likely.moves)
    t, count = len(seen.turns) - 1, 0
    choice = np.empty(4 * len(rows.keys[0]))
    what = np.empty((len(choice), 3), dtype=np.int64)
    state = rows.keys[t, _choose(rows.weights[t], rows.n[t], draws[0])]
    while True:
        options = _moves_to(state, t, seen, likely, rows, choice, what)
        chosen = _choose(choice, options, draws[2 * count + 1])
        first, move = what[chosen, 0], what[chosen, 2]
        key = rows.rest_keys[first, what[chosen, 1]]
        steps[count, 0], steps[count, 1] = first, t - first + 1
        steps[count, 2], steps[count, 3] = key // nodes, move
        count += 1
        if first == 0:
            return count
        t = first - 1
        _states_to(key, first, seen, down, likely, rows, choice)
        state = rows.keys[t, _choose(choice, rows.n[t], draws[2 * count])]
