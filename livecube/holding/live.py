"""How the cube is held now, from the turns so far."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.holding import HOLDINGS
from livecube.holding.attitude import turned_between
from livecube.holding.inference import NEGLIGIBLE, downs, weighed
from livecube.holding.kernel import Rows, Seen, advance, room_for, rows_for
from livecube.holding.looking_back import backward
from livecube.holding.observations import Observer, believe

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.cube.holding import Holding
    from livecube.holding.arrays import Array
    from livecube.holding.attitude import Quaternion
    from livecube.holding.inference import HoldingModel
    from livecube.holding.likelihoods import Likelihoods

__all__ = ["LiveHolding"]

_ROOM: Final = 512
"""Turns that are kept of one solve; a longer one is read on from a new beginning."""
_LAG: Final = 3
"""Turns back to which what comes later is counted in."""


class LiveHolding:
    """Follows one solve, turn by turn. ``turn`` takes well under a millisecond."""

    def __init__(self, model: HoldingModel) -> None:
        self.kinds = np.zeros(len(model.kinds))
        """What is known of the solver when the next solve begins, see
        :attr:`livecube.holding.acquaintance.Acquaintance.kinds`."""
        self._model = model
        self._rows = [rows_for(_ROOM, len(likely.moves)) for likely in model.kinds]
        self._told: int | None = None
        """Number of the holding that was stated last."""
        self._told_at = 0
        """After how many turns."""
        self._observer = Observer(room_for(0))
        self.begin()

    def begin(self) -> None:
        """Another solve begins: the cube may have been put down and held otherwise since.

        What the solver has stated last still holds.
        """
        self._seen = room_for(_ROOM)
        self._count = 0
        self._observer = Observer(self._seen, self._observer.gaps)
        self._down = downs(-1)
        self._cross = -1
        self._attitude: Quaternion | None = None
        self._weights = self.kinds.copy()
        self._followed = np.flatnonzero(weighed(self._weights) >= NEGLIGIBLE)
        if self._told is not None:
            believe(self._seen, 0, self._told)
            self._told_at = 0

    def state(self, holding: Holding | None) -> None:
        """The solver says how the cube is held now; None: that nobody knows any more."""
        self._told = None if holding is None else HOLDINGS.index(holding)
        self._told_at = self._count
        if self._told is not None:
            believe(self._seen, self._count, self._told)

    def turn(
        self, turn: int, t: float, stage: int, cross: int, attitude: Quaternion | None = None
    ) -> None:
        """The cube was turned at ``t``, in the course of a stage (0 to 7).

        ``attitude``: how its core stands in space, if it has a gyroscope. ``cross``: face of the
        cross that is done, −1 before it is. It must be down, save for moments, from the first turn
        at which it is known.
        """
        if self._count == _ROOM - 1:
            self.begin()
        i, seen = self._count, self._seen
        if cross != self._cross:
            self._cross, self._down = cross, downs(cross)
            self._look_down(i)
        self._observer.look(turn, t, stage)
        if i:
            seen.turned[i] = turned_between(self._attitude, attitude)
        self._attitude = attitude
        for number in self._followed:
            rows = self._rows[number]
            advance(i, seen, self._down, self._model.kinds[number], False, rows)
            self._weights[number] += np.log(rows.scales[i])
        self._count += 1

    def _look_down(self, turn: int) -> None:
        """Only now it is known which colour is down."""
        if self._cross >= 0:
            down, tilted = self._model.kinds[0].first
            self._seen.evidence[turn, self._down == 1] *= tilted / down

    @property
    def held(self) -> Array:
        """Shape (24,): how likely each holding is now, after the last turn."""
        likely = np.full(24, 1 / 24)
        if self._count:
            likely = np.zeros(24)
            i = self._count - 1
            for share, rows, kind in self._each():
                keys = rows.keys[i, : rows.n[i]] // len(kind.moves)
                np.add.at(likely, keys, share * rows.weights[i, : rows.n[i]])
        if self._told is not None and self._told_at == self._count:
            likely = np.zeros(24)
            likely[self._told] = 1.0
        return likely

    @property
    def from_turns_alone(self) -> bool:
        """Whether neither the solver nor a gyroscope has said anything."""
        return self._told is None and self._attitude is None

    def recent(self) -> Array:
        """Shape (1 to 3, 24): each holding before the last turns, all turns so far considered."""
        first = max(0, self._count - _LAG)
        held = np.zeros((self._count - first, 24))
        for share, rows, likely in self._each():
            its, kinds = np.zeros_like(held), np.zeros((len(held), 3))
            part = Rows._make([*(a[first : self._count] for a in rows[:-1]), rows.where])
            backward(self._part(first), self._down, likely, part, its, kinds)
            held += share * its
        return held

    def _part(self, first: int) -> Seen:
        return Seen._make(a[first : self._count] for a in self._seen)

    def _each(self) -> Iterator[tuple[float, Rows, Likelihoods]]:
        shares = weighed(self._weights[self._followed])
        for number, share in zip(self._followed, shares, strict=True):
            yield share, self._rows[number], self._model.kinds[number]
