"""Which prices are alike: the features that they share, and how to learn all from some. Pure.

The logarithm of a price against the usual one is a sum of effects: one of the person, one of each
face, amount, hand, pair of moves and so on (``GROUPS``). Effects of a group are drawn around 0 with
the group's own variance, so that prices that share many features are learned from one another, and
an effect without evidence stays 0. Given noisy means of some prices the best guess of all others is
the usual one of a linear mixed model; variances are found by maximum likelihood from the same means
(by the minorise–maximise steps of H. Zhou, L. Hu, J. Zhou and K. Lange, J. Comput. Graph. Stat. 28
(2019), 350–361), held by what is usual as if a few effects had been seen before.
"""

from __future__ import annotations

from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

import numpy as np

from livecube.hands.automaton import MOVES
from livecube.hands.executions import usual_ms

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.holding import Move
    from livecube.hands.automaton import Automaton
    from livecube.hands.executions import Array

__all__ = ["GROUPS", "Fit", "Group", "Kinship", "Means", "kinship_of"]


class Group(NamedTuple):
    """Effects of one kind."""

    name: str
    spread: float
    """Usual standard deviation of the effects, as a guess to start from."""
    held: float = 4.0
    """The guess counts as this many effects."""


GROUPS: Final = (
    Group("person", 0.3),
    Group("hand", 0.1),
    Group("face", 0.1),
    Group("half", 0.1),
    Group("turn", 0.15),
    Group("wide", 0.15),
    Group("wide turn", 0.1),
    Group("grip", 0.2),
    Group("faces", 0.05),
    Group("pair", 0.1),
    Group("three", 0.05),
    Group("rotation", 0.1, 40.0),
    Group("rotations", 0.1, 40.0),
)
"""``hand``: the hand whose finger or wrist turns. ``turn``: face and amount. ``grip``: in
proportion to the price above that of the same move at a beginning. ``faces``, ``pair``: the move
and the one before it, by their faces, and exactly. ``three``: with a turn of U between them. The
rotation in a gap is held firmly: hands that rotate often wait as well."""

_BEGINNINGS: Final = ("start", "rotated")
_RIGHT: Final = frozenset("R R2 R' U U2 F F2 D'".split())
_LEFT: Final = frozenset("L L2 L' U' F' D D2".split())


class Means(NamedTuple):
    """What was measured of some cells; arrays have one entry a cell."""

    cell: Array
    value: Array
    """Mean of the logarithm of measured against usual milliseconds."""
    variance: Array
    """Of that mean, from noise that each gap has for itself."""
    common: float
    """Variance of an error that all means have in common."""


class Fit:
    """Effects learned from means; never changed."""

    def __init__(self, of: Kinship, means: Means, variances: Array, alike: Sequence[Array]) -> None:
        """``alike``: of the cells of the means, as :meth:`Kinship.measured` takes it."""
        self.of = of
        self.means = means
        self.variances = variances
        """Of the effects of each group, shape (groups,)."""
        measured = of.measured(means, variances, alike)
        weights = np.linalg.solve(measured, means.value)
        self.values = of.values(means.cell, weights, variances)
        """Expected logarithm of each price against the usual one, shape (cells,)."""
        self._measured = measured

    @cached_property
    def inverse(self) -> Array:
        """Inverse of the means' covariance."""
        return np.linalg.inv(self._measured)

    def covariance(self, cells: Array) -> Array:
        """Covariance of what is still unknown of some cells' values, shape (n, n)."""
        across = self.of.covariance(cells, self.means.cell, self.variances)
        known: Array = across @ self.inverse @ across.T
        return self.of.covariance(cells, cells, self.variances) - known

    def unknown(self) -> Array:
        """Variance of what is still unknown of each measured cell's value."""
        own = self.means.variance
        left: Array = own - own**2 * np.diag(self.inverse)
        return left


class Kinship:
    """The features of all cells of one automaton."""

    def __init__(self, automaton: Automaton) -> None:
        self.usual = automaton
        self.usual_ms = usual_ms(automaton)
        self.rotated = np.arange(len(self.usual_ms)) >= automaton.seconds_ms.size
        """Whether a cell is that of a rotation and the turn after it."""
        self.first = np.arange(len(self.usual_ms)) // len(MOVES) == automaton.start
        """Whether a cell is that of a first turn."""
        self.codes, self.shares = _features(automaton)
        self._effects = int(self.codes.max()) + 1
        self._last: tuple[bytes, list[Array]] | None = None

    def covariance(self, some: Array, others: Array, variances: Array) -> Array:
        """Covariance of the values of cells before anything is measured, shape (n, m)."""
        return _weighted(self._alike(some, others), variances)

    def _alike(self, some: Array, others: Array) -> list[Array]:
        """For each group 1 for two cells that share an effect, times the shares that they have."""
        return [self._alike_in(group, some, others) for group in range(len(GROUPS))]

    def _alike_cells(self, cells: Array) -> list[Array]:
        """The same among some cells; kept, since most fits in a row are of the same ones."""
        key = cells.tobytes()
        last = self._last
        if last is None or last[0] != key:
            last = self._last = key, self._alike(cells, cells)
        return last[1]

    def _alike_in(self, group: int, some: Array, others: Array) -> Array:
        codes, shares = self.codes[group], self.shares[group]
        alike: Array = (codes[some][:, None] == codes[others][None, :]).astype(float)
        one, two = shares[some], shares[others]
        if (one != 1).any() or (two != 1).any():
            alike = alike * one[:, None] * two[None, :]
        return alike

    def fit(self, means: Means, variances: Array | None = None, steps: int = 0) -> Fit:
        """Learn from means; ``steps`` of maximum likelihood for the groups' variances."""
        usual = np.array([group.spread**2 for group in GROUPS])
        held = np.array([group.held for group in GROUPS])
        now = usual if variances is None else variances
        alike = self._alike_cells(means.cell)
        for _ in range(steps):
            inverse = np.linalg.inv(self.measured(means, now, alike))
            weights = inverse @ means.value
            up, down = held * usual / now**2, held / now
            for group, shared in enumerate(alike):
                up[group] += weights @ shared @ weights
                down[group] += np.vdot(inverse, shared)
            now = now * np.sqrt(up / down)
        return Fit(self, means, now, alike)

    def measured(
        self, means: Means, variances: Array, alike: Sequence[Array] | None = None
    ) -> Array:
        """Covariance of means, their errors included; ``alike``: of their cells, if known."""
        if alike is None:
            alike = self._alike_cells(means.cell)
        total = _weighted(alike, variances) + means.common
        total[np.diag_indices(len(total))] += means.variance
        return total

    def values(self, cells: Array, weights: Array, variances: Array) -> Array:
        """The values of all cells from the weights of the measured ones."""
        values = np.zeros(len(self.usual_ms))
        for codes, shares, variance in zip(self.codes, self.shares, variances, strict=True):
            effects = np.bincount(codes[cells], weights * shares[cells], self._effects)
            values += variance * shares * effects[codes]
        return values


def _weighted(alike: Sequence[Array], variances: Array) -> Array:
    total, part = np.zeros_like(alike[0]), np.empty_like(alike[0])
    for shared, variance in zip(alike, variances, strict=True):
        total += np.multiply(shared, variance, out=part)
    return total


@lru_cache(maxsize=4)
def kinship_of(automaton: Automaton) -> Kinship:
    """The features of an automaton, made once: it takes a moment."""
    return Kinship(automaton)


def _features(automaton: Automaton) -> tuple[Array, Array]:
    """For each group and cell the number of its effect and its share, both (groups, cells).

    A cell has a share of 0 where it has no effect of the group. Two prices in one gap, of a
    rotation and a turn, have shares in proportion to their usual seconds.
    """
    # Where a move is never written this means nothing, and nobody asks for it.
    log_grip = np.log(automaton.seconds_ms / automaton.seconds_ms[automaton.start])
    contexts: list[tuple[_Effects, float]] = []
    for state, name in enumerate(automaton.state_names):
        before, _, between = name.partition(" ")
        for number, move in enumerate(MOVES):
            grip = float(log_grip[state, number])
            contexts.append((_effects(before, between, move, grip, None), 1.0))
    for rotation, spun in enumerate(automaton.rotation_ms[0].tolist()):
        for number, move in enumerate(MOVES):
            turn = float(automaton.seconds_ms[automaton.rotated, number])
            effects = _effects("rotated", "", move, 0.0, rotation)
            contexts.append((effects, turn / (turn + spun)))
    codes = np.zeros((len(GROUPS), len(contexts)), dtype=np.int32)
    shares = np.zeros((len(GROUPS), len(contexts)))
    for group, name in enumerate(group.name for group in GROUPS):
        numbers: dict[object, int] = {}
        for cell, (effects, turn_share) in enumerate(contexts):
            effect, share = effects.get(name, (None, 0.0))
            codes[group, cell] = numbers.setdefault(effect, len(numbers))
            of_rotation = name in ("rotation", "rotations")
            whole = name == "person"
            shares[group, cell] = share * (
                1.0 if whole else 1 - turn_share if of_rotation else turn_share
            )
    return codes, shares


_Effects: TypeAlias = "dict[str, tuple[object, float]]"
"""By group the effect and its share."""


def _effects(before: str, between: str, move: Move, grip: float, rotation: int | None) -> _Effects:
    face, name = move.symbol[0], str(move)
    single, last = name.replace("w", ""), between or before
    found: _Effects = {
        "person": ("all", 1.0),
        "face": (face, 1.0),
        "turn": (single, 1.0),
        "grip": ("all", grip),
        "faces": ((last if last in _BEGINNINGS else last[0], face), 1.0),
        "pair": ((last, name), 1.0),
    }
    if single in _RIGHT or single in _LEFT:
        found["hand"] = (single in _RIGHT, 1.0)
    if move.quarters == 2:
        found["half"] = ("all", 1.0)
    if move.symbol != face:
        found["wide"], found["wide turn"] = (face, 1.0), (name, 1.0)
    if between:
        found["three"] = ((before, between, name), 1.0)
    if rotation:
        found["rotation"], found["rotations"] = ("all", 1.0), (rotation, 1.0)
    return found
