"""The fastest ways, as Python asks for them: a position, a technique's task, some holdings."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.hands.automaton import MOVES
from livecube.search.hand_arrays import AFTER, hand_arrays
from livecube.search.task import FASTEST_MS, MOST_WAYS, NO_LIMIT, task_rows

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import numpy.typing as npt

    from livecube.cube.holding import Move
    from livecube.hands.automaton import Automaton
    from livecube.search.fastest_arrays import Kept, Scratch, SecondsTables
    from livecube.search.hand_arrays import HandArrays
    from livecube.search.situation import Situation
    from livecube.search.task import Task

__all__ = ["FastestSearch", "Way", "best_first", "way_of"]

_ROOM: Final = 24
"""Ways kept while searching; beyond the eighth there may be more with the same cost."""


class Way(NamedTuple):
    """A sequence as it is written, in the down frame."""

    ms: int
    turns: tuple[int, ...]
    moves: tuple[int, ...]
    """Numbers of the written moves, without rotations."""
    held: tuple[int, ...]
    """Number of the holding in which each is made. Where it differs from the holding after the move
    before, the cube was rotated."""
    start: int
    """Number of the holding in which it begins; a rotation may stand before the first move."""
    end: int
    """Number of the holding in which it leaves the cube; the cross need not be down."""


class FastestSearch:
    """Finds the fastest ways for one pair of hands. Not to be used by two threads at once."""

    def __init__(self, load: Callable[[], SecondsTables], automaton: Automaton) -> None:
        """``load``: called for the first question. Many runs never ask one."""
        self.automaton = automaton
        self._load = load
        self._hands = hand_arrays(automaton)

    @cached_property
    def _room(self) -> tuple[Kept, Scratch]:
        from livecube.search.fastest_arrays import empty_kept, empty_scratch

        return empty_kept(_ROOM), empty_scratch()

    @cached_property
    def tables(self) -> SecondsTables:
        """Transitions and bounds; they are loaded when they are asked for first."""
        return self._load()

    def twin(self) -> FastestSearch:
        """A search over the same tables, for another thread."""
        return FastestSearch(lambda: self.tables, self.automaton)

    def ways(
        self,
        situation: Situation,
        parts: Sequence[Task],
        starts: Sequence[int],
        *,
        within_ms: int = FASTEST_MS,
        most: int = MOST_WAYS,
        ceiling_ms: int = NO_LIMIT,
    ) -> list[Way]:
        """All ways up to ``within_ms`` slower than the fastest, best first, at most ``most``.

        ``parts``: one task, or two that follow one another, the first with the tail ``LEFT``: it
        ends where its goal is first reached, at any offset. ``starts``: numbers of the holdings (of
        the down frame) from which a way may begin. No way is slower than ``ceiling_ms``. Ways
        with the same turns are one way, in its cheapest spelling; ties stand in the order of their
        text.
        """
        return self.ways_from(
            situation.cross, situation.places, parts, starts, within_ms, most, ceiling_ms
        )

    def ways_from(
        self,
        cross: int,
        places: npt.NDArray[np.int64],
        parts: Sequence[Task],
        starts: Sequence[int],
        within_ms: int = FASTEST_MS,
        most: int = MOST_WAYS,
        ceiling_ms: int = NO_LIMIT,
    ) -> list[Way]:
        """The same for the number of a cross and the places of the slot pieces, shape (8,)."""
        from livecube.search.fastest_kernel import fastest

        out, scratch = self._room
        rows = task_rows(parts).copy()
        rows[0, 2] *= 0x1111
        count = fastest(
            self.tables, self._hands, cross, places, rows,
            np.array(starts, dtype=np.int64), ceiling_ms, within_ms, most, out, scratch,
        )  # fmt: skip
        assert count >= 0, "more ways to hold the cube than there is room for"
        found = []
        for row in range(count):
            many = int(out.length[row])
            found.append(
                way_of(
                    self._hands, starts, int(out.cost[row]), out.turns[row, :many].tolist(),
                    out.steps[row, :many].tolist(), int(out.end[row]),
                )
            )  # fmt: skip
        return best_first(self.automaton, found)[:most]


def way_of(
    hands: HandArrays,
    starts: Sequence[int],
    ms: int,
    turns: Sequence[int],
    steps: Sequence[int],
    end: int,
) -> Way:
    """A way from one of some holdings; ``steps``: ``24 * move + holding`` of each turn."""
    moves, held = zip(*(divmod(step, 24) for step in steps), strict=True)
    start = held[0]
    if start not in starts:
        start = min(starts, key=lambda one: int(hands.rotation[one, held[0]]))
    return Way(ms, tuple(turns), moves, held, start, end)


def best_first(automaton: Automaton, ways: Iterable[Way]) -> list[Way]:
    """Cheaper ways first, ties in the order of their text."""
    return sorted(ways, key=lambda way: (way.ms, " ".join(map(str, _written(automaton, way)))))


def _written(automaton: Automaton, way: Way) -> list[Move]:
    """The moves of a way, rotations among them."""
    moves: list[Move] = []
    now = way.start
    for number, at in zip(way.moves, way.held, strict=True):
        moves += [*automaton.rotation_moves[now][at], MOVES[number]]
        now = int(AFTER[at, number])
    return moves
