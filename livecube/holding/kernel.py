"""The kernels: the holdings and moves that can have made the turns, with their likelihoods.

A *state* is a holding and a node (the hands' last moves); its key is ``holding * nodes + node``.
A turn takes two steps: the hands may rotate the cube and begin a stage (:func:`_rest`), then they
move (:func:`_move`). A slice is two turns, so it leads from the states before the first of them to
those after the second.

This module goes forward; :mod:`livecube.holding.looking_back` goes back. Weights are those of the
forward algorithm for hidden Markov models (Rabiner 1989), scaled at each turn; with ``best`` they
are those of Viterbi: the greatest instead of the sum. States with a weight below 1e-9 of the total
are dropped. Nothing is checked here: arrays must have the shapes and types that the values below
state.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

import numba
import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, Holding
from livecube.holding.written import HELD_AFTER, ROTATED, SEEN_AS_FACE, SEEN_AS_SLICE, SEEN_AS_WIDE

if TYPE_CHECKING:
    from livecube.holding.likelihoods import Likelihoods

__all__ = [
    "BETWEEN",
    "Array",
    "Quaternion",
    "Rows",
    "Seen",
    "advance",
    "begins_anew",
    "besides",
    "forward",
    "gaps",
    "is_slice",
    "nowhere",
    "room_for",
    "rows_for",
    "seen_as",
    "turned_between",
]

# The type of this room's arrays: numbers of any kind, which each docstring names.


Array: TypeAlias = npt.NDArray[Any]


# A gyroscope's evidence on rotations: how far the core of the cube has turned in space.
#
# Only the change since the turn before counts, so that the drift of a sensor does no harm. The
# evidence is soft, since hands also tilt the cube while they turn it.


Quaternion: TypeAlias = tuple[float, float, float, float]
"""w, x, y, z; see :class:`livecube.events.AttitudeReport`."""

_SWAY: Final = np.radians(25)
"""Standard deviation of the tilt of the cube between two turns: a guess."""
_ASTRAY: Final = 0.01
"""Probability that a reading of the sensor has nothing to do with the cube."""

_OUT_OF: Final = {"R": (0, 1), "L": (0, -1), "U": (1, 1), "D": (1, -1), "F": (2, 1), "B": (2, -1)}
"""Axis, and direction along it, out of each face."""


def _matrix(holding: Holding) -> Array:
    """Shape (3, 3): from the cube's axes to those of the hands."""
    matrix = np.zeros((3, 3))
    for place, face in enumerate(holding.faces):
        to, sign = _OUT_OF[FACES[place]]
        of, its = _OUT_OF[FACES[face]]
        matrix[to, of] = sign * its
    return matrix


_MATRICES: Final = np.array([_matrix(holding) for holding in HOLDINGS])


def _between() -> Array:
    """For two holdings the rotation (of 24) of the core between them, in its own axes."""
    turned = np.einsum("aji,bjk->abik", _MATRICES, _MATRICES)
    same = np.isclose(turned[:, :, None], _MATRICES[None, None]).all(axis=(3, 4))
    found: Array = same.argmax(axis=2).astype(np.int8)
    return found


BETWEEN: Final = _between()
"""Shape (24, 24), int8: the rotation of the core between two holdings; 0: no rotation."""


def turned_between(before: Quaternion | None, after: Quaternion | None) -> Array:
    """Shape (24,): likelihood of a gyroscope's readings, for each rotation of the core.

    Ones without a reading.
    """
    if before is None or after is None or not any(before) or not any(after):
        return np.ones(24)
    turned = _rotation(before).T @ _rotation(after)
    # The trace of a rotation matrix is 1 + 2 cos(angle).
    cosines = (np.einsum("aij,ij->a", _MATRICES, turned) - 1) / 2
    angles = np.arccos(np.clip(cosines, -1, 1))
    likely: Array = np.exp(-0.5 * (angles / _SWAY) ** 2) + _ASTRAY
    return likely


def _rotation(quaternion: Quaternion) -> Array:
    """Shape (3, 3): a quaternion of any length as a rotation matrix."""
    w, x, y, z = np.array(quaternion) / np.linalg.norm(quaternion)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )


_MOST: Final = 1536
"""Most states kept at a time."""
_NEGLIGIBLE: Final = 1e-9


class Seen(NamedTuple):
    """The observations of each turn; see :mod:`livecube.holding.observations`."""

    turns: Array
    """Fixed-frame turns. Shape (turns,), int8, like the next five."""
    stages: Array
    """Number of the name of the stage: 0 to 4."""
    since: Array
    """Turns since the stage began: 0, 1, or 2 for more."""
    paces: Array
    """Class of the gap before the turn, by pace."""
    close: Array
    """Class of the gap before the turn, when short."""
    tempos: Array
    """Finer class of the gap before the turn, by pace, from 1 on. 0: the gap tells nothing of the
    move, since a stage begins, or the turn goes with the one before (same or opposite face)."""
    evidence: Array
    """Shape (turns, 24), float64: likelihood of all other evidence for each holding before the
    turn; ones without evidence."""
    turned: Array
    """Shape (turns, 24), float64: likelihood of the gyroscope's reading for each rotation of the
    core since the turn before. Ones without a gyroscope."""


def room_for(turns: int) -> Seen:
    """Room for this many turns, without observations."""

    def numbers() -> Array:
        return np.zeros(turns, dtype=np.int8)

    return Seen(
        numbers(), numbers(), numbers(), numbers(), numbers(), numbers(),
        np.ones((turns, 24)), np.ones((turns, 24)),
    )  # fmt: skip


class Rows(NamedTuple):
    """States at each turn. Row t has ``n[t]`` of them; the rest of it is undefined."""

    rest_keys: Array
    """Shape (turns, most), int32: states before the turn."""
    rest_weights: Array
    """Shape (turns, most), float64."""
    rest_n: Array
    """Shape (turns,), int32."""
    keys: Array
    """States after the turn, with the same shapes."""
    weights: Array
    n: Array
    scales: Array
    """Shape (turns,), float64: the divisor of the weights after the turn."""
    where: Array
    """Shape (24 * nodes,), int32: −1 everywhere between calls."""


def rows_for(turns: int, nodes: int, where: Array | None = None) -> Rows:
    """Room for the states of this many turns; ``where``: shared by rows filled one by one."""
    both = [
        (np.empty((turns, _MOST), np.int32), np.empty((turns, _MOST)), np.zeros(turns, np.int32))
        for _ in range(2)
    ]
    if where is None:
        where = nowhere(nodes)
    return Rows(*both[0], *both[1], np.empty(turns), where[: 24 * nodes])


def nowhere(nodes: int) -> Array:
    """Shape (24 * nodes,), int32: −1 everywhere, for :attr:`Rows.where`."""
    return np.full(24 * nodes, -1, dtype=np.int32)


@numba.njit(cache=True, nogil=True)
def _put(
    key: int, weight: float, best: bool, where: Array, keys: Array, weights: Array, n: int
) -> int:
    """Add a weight to a state; returns the number of states. ``where``: −1 if not kept yet."""
    at = where[key]
    if at < 0:
        if n == len(keys):
            return n
        where[key] = n
        keys[n] = key
        weights[n] = weight
        return n + 1
    if not best:
        weights[at] += weight
    elif weight > weights[at]:
        weights[at] = weight
    return n


@numba.njit(cache=True, nogil=True)
def _begin(
    held: Array, nodes: Array, familiar: Array, best: bool, where: Array, keys: Array,
    weights: Array, n: int,
) -> int:  # fmt: skip
    """Add the states at a beginning, by the weight of each holding; returns their number."""
    for holding in range(24):
        if held[holding] > 0.0:
            first = holding * (len(where) // 24)
            for unfamiliar in range(2):
                share = held[holding] * familiar[unfamiliar]
                if share > 0.0:
                    n = _put(first + nodes[unfamiliar], share, best, where, keys, weights, n)
    return n


@numba.njit(cache=True, nogil=True)
def _greater_or_sum(so_far: float, weight: float, best: bool) -> float:
    if best:
        return max(so_far, weight)
    return so_far + weight


@numba.njit(cache=True, nogil=True)
def begins_anew(t: int, seen: Seen, likely: Likelihoods) -> float:
    """Probability that a sequence begins at turn ``t`` if the cube is not rotated before it."""
    if seen.since[t] == 0:
        return 1.0
    chance: float = likely.anew[seen.stages[t], seen.paces[t]]
    return chance


@numba.njit(cache=True, nogil=True)
def _rest(t: int, seen: Seen, down: Array, likely: Likelihoods, best: bool, rows: Rows) -> None:
    """Fill in the states before turn ``t``, from those after the turn before."""
    nodes = len(likely.moves)
    stage = seen.stages[t]
    begin, familiar, evidence = likely.begin[stage], likely.familiar[stage], seen.evidence[t]
    where, keys, weights = rows.where, rows.rest_keys[t], rows.rest_weights[t]
    begun = np.zeros(24)
    none: Any = np.int64(0)  # not a literal, for which callees would be compiled again
    if t == 0:
        for holding in range(24):
            begun[holding] = likely.first[down[holding]] * evidence[holding]
        rows.rest_n[t] = _begin(begun, begin[0], familiar, best, where, keys, weights, none)
        return
    chances = likely.rotations[stage, seen.since[t], :, seen.paces[t]]
    anew = begins_anew(t, seen, likely)
    keys_before, weights_before = rows.keys[t - 1], rows.weights[t - 1]
    turned = seen.turned[t]
    held = np.zeros(24)
    count = none
    for i in range(rows.n[t - 1]):
        weight = weights_before[i]
        key: Any = np.int64(keys_before[i])
        holding = key // nodes
        held[holding] = _greater_or_sum(held[holding], weight, best)
        weight *= chances[down[holding], 0] * evidence[holding] * turned[0]
        if anew > 0.0:
            begun[holding] = _greater_or_sum(begun[holding], weight * anew, best)
        if anew < 1.0:
            count = _put(key, weight * (1.0 - anew), best, where, keys, weights, count)
    count = _begin(begun, begin[0], familiar, best, where, keys, weights, count)
    rotated = np.zeros(24)
    for holding in range(24):
        if held[holding] > 0.0:
            for rotation in range(1, 24):
                after = ROTATED[holding, rotation]
                weight = held[holding] * chances[down[holding], rotation]
                weight *= turned[BETWEEN[holding, after]] * evidence[after]
                rotated[after] = _greater_or_sum(rotated[after], weight, best)
    rows.rest_n[t] = _begin(rotated, begin[1], familiar, best, where, keys, weights, count)


@numba.njit(cache=True, nogil=True)
def is_slice(turns: Array, t: int) -> bool:
    """Whether turn ``t`` and the one before can be one slice, in any holding."""
    return t > 0 and SEEN_AS_SLICE[0, turns[t - 1], turns[t]] >= 0


@numba.njit(cache=True, nogil=True)
def gaps(t: int, seen: Seen, likely: Likelihoods) -> tuple[float, float]:
    """Likelihood of the gap before turn ``t`` between two moves, and inside one slice."""
    if is_slice(seen.turns, t):
        return likely.slices[0, seen.close[t]], likely.slices[1, seen.close[t]]
    return 1.0, 0.0


@numba.njit(cache=True, nogil=True)
def seen_as(kind: int, holding: int, turn: int) -> int:
    """The face turn (kind 0) or the wide turn (1) that shows as a turn in a holding."""
    if kind == 0:
        return int(SEEN_AS_FACE[holding, turn])
    return int(SEEN_AS_WIDE[holding, turn])


@numba.njit(cache=True, nogil=True)
def besides(
    node: int, holding: int, move: int, after: int, begin: Array, ratios: Array, turned: Array
) -> float:
    """Likelihood ratio of a move from the other observations: the gap, and the gyroscope.

    ``ratios``: of the gap before the turn, by move; ``turned``: of this turn's gyroscope reading.
    ``begin``: the nodes at a beginning. There the gap tells nothing of the move. If the hands
    rotated before it, the rotation of the core has been counted already, too.
    """
    if node == begin[1, 0] or node == begin[1, 1]:
        return 1.0
    likelier: float = 1.0 if node == begin[0, 0] or node == begin[0, 1] else ratios[move]
    if holding != after:
        likelier *= turned[BETWEEN[holding, after]] / turned[0]
    return likelier


@numba.njit(cache=True, nogil=True)
def _move(t: int, seen: Seen, likely: Likelihoods, best: bool, rows: Rows) -> None:
    """Fill in the states after turn ``t``, from those before it and before the one before."""
    nodes = len(likely.moves)
    turn = seen.turns[t]
    apart, together = gaps(t, seen, likely)
    where, keys, weights = rows.where, rows.keys[t], rows.weights[t]
    rest_keys, rest_weights = rows.rest_keys[t], rows.rest_weights[t]
    begin, turned = likely.begin[seen.stages[t]], seen.turned[t]
    ratios = likely.tempos[seen.tempos[t]]
    count: Any = np.int64(0)
    for i in range(rows.rest_n[t]):
        holding, node = rest_keys[i] // nodes, rest_keys[i] % nodes
        for kind in range(2):
            move = seen_as(kind, holding, turn)
            after = HELD_AFTER[holding, move]
            key = after * nodes + likely.follow[node, move]
            weight = rest_weights[i] * likely.moves[node, move] * apart
            weight *= besides(node, holding, move, after, begin, ratios, turned)
            count = _put(key, weight, best, where, keys, weights, count)
    if together > 0.0:
        rest_keys, rest_weights = rows.rest_keys[t - 1], rows.rest_weights[t - 1]
        begin, turned = likely.begin[seen.stages[t - 1]], seen.turned[t - 1]
        ratios = likely.tempos[seen.tempos[t - 1]]
        for i in range(rows.rest_n[t - 1]):
            holding, node = rest_keys[i] // nodes, rest_keys[i] % nodes
            move = SEEN_AS_SLICE[holding, seen.turns[t - 1], turn]
            after = HELD_AFTER[holding, move]
            key = after * nodes + likely.follow[node, move]
            weight = rest_weights[i] * likely.moves[node, move]
            weight *= besides(node, holding, move, after, begin, ratios, turned)
            weight *= together / rows.scales[t - 1]
            count = _put(key, weight, best, where, keys, weights, count)
    for i in range(count):
        where[keys[i]] = -1
    _scale(t, count, best, rows)


@numba.njit(cache=True, nogil=True)
def _scale(t: int, count: int, best: bool, rows: Rows) -> None:
    """Scale the first ``count`` states after turn ``t``, and drop those of negligible weight."""
    keys, weights = rows.keys[t], rows.weights[t]
    scale = weights[:count].max() if best else weights[:count].sum()
    kept = 0
    for i in range(count):
        if weights[i] >= scale * _NEGLIGIBLE:
            keys[kept] = keys[i]
            weights[kept] = weights[i] / scale
            kept += 1
    rows.n[t], rows.scales[t] = kept, scale


@numba.njit(cache=True, nogil=True)
def advance(t: int, seen: Seen, down: Array, likely: Likelihoods, best: bool, rows: Rows) -> None:
    """Fill in row ``t``; those before it are filled in.

    ``down``: shape (24,), int8, 0 for each holding with the cross down, as far as known, and 1
    for the others.
    """
    _rest(t, seen, down, likely, best, rows)
    for i in range(rows.rest_n[t]):
        rows.where[rows.rest_keys[t, i]] = -1
    _move(t, seen, likely, best, rows)


@numba.njit(cache=True, nogil=True)
def forward(seen: Seen, down: Array, likely: Likelihoods, best: bool, rows: Rows) -> None:
    """Fill in all rows."""
    for t in range(len(seen.turns)):
        advance(t, seen, down, likely, best, rows)
