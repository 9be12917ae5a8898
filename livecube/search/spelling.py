"""The cheapest spelling of given turns: an exact shortest path over holdings and hands' states."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from livecube.hands.automaton import NEVER
from livecube.search.book import FIRST_ROTATION
from livecube.search.hand_arrays import ROTATED_BY
from livecube.search.task import Written
from livecube.search.uncompiled import Spelling, cheapest_spelling

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.search.hand_arrays import HandArrays

__all__ = ["spelled"]


def spelled(
    hands: HandArrays,
    sequences: Sequence[Sequence[int]],
    starts: Sequence[int],
    *,
    compiled: bool = True,
) -> list[Written]:
    """The cheapest written form of each sequence of down-frame turns, from the best of ``starts``.

    The price includes the time to bring the cross down again. ``compiled``: whether by the kernel,
    which takes half a second to load; the answers are the same.
    """
    longest = len(max(sequences, key=len, default=()))
    spell = _kernel(hands, longest) if compiled else partial(cheapest_spelling, hands)
    written = []
    for turns in sequences:
        ms, start, end, moves, held = spell(turns, starts)
        tokens: list[int] = []
        now = start
        for move, at in zip(moves, held, strict=True):
            if at != now:
                tokens.append(FIRST_ROTATION + int(np.flatnonzero(ROTATED_BY[now] == at).item()))
            tokens.append(move)
            now = int(hands.after[at, move])
        written.append(Written(ms, tuple(turns), tuple(tokens), start, end))
    return written


def _kernel(hands: HandArrays, longest: int) -> Callable[[Sequence[int], Sequence[int]], Spelling]:
    """The kernel with its scratch, for sequences of up to ``longest`` turns."""
    from livecube.search.shortest_kernel import spell

    moves, held = np.empty(longest, dtype=np.int64), np.empty(longest, dtype=np.int64)
    shape = longest + 1, 24 * hands.seconds.shape[0]
    cost, way = np.full(shape, NEVER, dtype=np.int64), np.empty((4, *shape), dtype=np.int16)
    many = np.empty(longest + 1, dtype=np.int64)

    def spelling(turns: Sequence[int], starts: Sequence[int]) -> Spelling:
        row, begin = np.array(turns, dtype=np.int64), np.array(starts, dtype=np.int64)
        ms, start, end = spell(hands, row, begin, moves, held, cost, way, many)
        count = len(turns)
        return Spelling(
            int(ms), int(start), int(end), moves[:count].tolist(), held[:count].tolist()
        )

    return spelling
