"""The cheapest spelling of given turns: an exact shortest path over holdings and hands' states."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from livecube.hands.automaton import NEVER
from livecube.search.book import FIRST_ROTATION
from livecube.search.hand_arrays import ROTATED_BY
from livecube.search.task import Written

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.search.hand_arrays import HandArrays

__all__ = ["spelled"]


def spelled(
    hands: HandArrays, sequences: Sequence[Sequence[int]], starts: Sequence[int]
) -> list[Written]:
    """The cheapest written form of each sequence of down-frame turns, from the best of ``starts``.

    The price includes the time to bring the cross down again.
    """
    begin = np.array(starts, dtype=np.int64)
    longest = max(map(len, sequences), default=0)
    moves, held = np.empty(longest, dtype=np.int64), np.empty(longest, dtype=np.int64)
    shape = longest + 1, 24 * hands.seconds.shape[0]
    cost, way = np.full(shape, NEVER, dtype=np.int64), np.empty((4, *shape), dtype=np.int16)
    written = []
    for turns in sequences:
        row = np.array(turns, dtype=np.int64)
        ms, start, end = _spell(hands, row, begin, moves, held, cost, way)
        tokens: list[int] = []
        now = start
        for move, at in zip(moves[: len(row)].tolist(), held[: len(row)].tolist(), strict=True):
            if at != now:
                tokens.append(FIRST_ROTATION + int(np.flatnonzero(ROTATED_BY[now] == at).item()))
            tokens.append(move)
            now = int(hands.after[at, move])
        written.append(Written(int(ms), tuple(turns), tuple(tokens), int(start), int(end)))
    return written


@njit(cache=True, nogil=True)
def _spell(hands, turns, starts, moves, held, cost, way):  # type: ignore[no-untyped-def]
    """Write the cheapest moves and the holdings of each; returns price, start, end.

    ``cost`` is ``NEVER`` everywhere, and is so again in the end; ``way`` is scratch.
    """
    states = hands.seconds.shape[0]
    count = turns.shape[0]
    came_from, made_in, made_as, reached = way[0], way[1], way[2], way[3]
    many = np.zeros(count + 1, dtype=np.int64)
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
