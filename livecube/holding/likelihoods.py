"""From counts to likelihoods: smoothed, and laid out as arrays for the kernels."""

from __future__ import annotations

from collections import defaultdict
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.holding.counts import GROUPS, LAST_LAYER, USUAL_WAYS, begin_context
from livecube.holding.observations import STAGES
from livecube.holding.written import HAND_MOVES, INVERSE, MIRRORED, MIRRORED_ROTATIONS

if TYPE_CHECKING:
    from livecube.holding.counts import Context, Counts
    from livecube.holding.kernel import Array

__all__ = ["TRUST", "Likelihoods", "likelihoods"]

_MOVES: Final = len(HAND_MOVES)
_RARE: Final = 3e-4
"""A longer context (two moves or more) is used only if it has this share of its group's counts, and
at least one: rarer ones tell more about chance than about hands."""
_LEANING: Final = 4.0
"""Counts at which a class of rotations weighs as much as its coarser class."""
_LEANING_TEMPOS: Final = 30.0
"""Counts at which the tempo of a move weighs as much as the tempo of any move."""
_UNFAMILIAR: Final = 3
"""The group of last-layer sequences that were not counted."""
_UNFAMILIAR_SHARE: Final = 0.15
"""Expected share of such sequences in the last layer: a guess, no published source."""

_ANEW: Final = (0.001, 0.001, 0.005, 0.02, 0.07, 0.2, 0.33, 0.35, 0.35)
"""How often people look again in the middle of a stage of the last layer, and begin another
sequence, by class of the gap (:data:`livecube.holding.observations.PACES`): as 80 everyday solvers
do (``tests/everyday_solver.py``, 200 to 279), of whom many take two looks."""

TRUST: Final = (0.6, 0.6, 1.0, 1.0)
"""Exponent of the likelihood of a move, by group: moves that follow from one another (a grip is
chosen for several at once) tell less than as many independent ones."""


class Likelihoods(NamedTuple):
    """All parameters of the model. A *node* is a context with enough counts."""

    rotations: Array
    """Shape (5, 3, 2, gaps, 24), float64: of a rotation before a move; sums to 1 over rotations."""
    moves: Array
    """Shape (nodes, 45), float64: of a move in a context, to the power of :data:`TRUST`."""
    follow: Array
    """Shape (nodes, 45), int32: the node after a move."""
    begin: Array
    """Shape (5, 2, 2), int32: the node at a stage's beginning or after a rotation (second index
    0, 1), for counted moves and for an unfamiliar sequence (third index 0, 1)."""
    familiar: Array
    """Shape (5, 2), float64: probability of each of these two."""
    anew: Array
    """Shape (5, gaps), float64: probability that a sequence begins in the middle of a stage and the
    cube is not rotated."""
    tempos: Array
    """Shape (classes, 45), float64: how much likelier a gap is before this move than before any."""
    slices: Array
    """Shape (2, gaps), float64: of a short gap inside two moves, and inside one slice."""
    first: Array
    """Shape (2,), float64: of each single holding at the first move, with the cross down or not."""

    def mirrored(self) -> Likelihoods:
        """The likelihoods with the hands exchanged."""
        rotations, moves, follow, tempos = (
            np.empty_like(table) for table in (self.rotations, self.moves, self.follow, self.tempos)
        )
        rotations[..., MIRRORED_ROTATIONS] = self.rotations
        moves[:, MIRRORED], follow[:, MIRRORED] = self.moves, self.follow
        tempos[:, MIRRORED] = self.tempos
        return self._replace(rotations=rotations, moves=moves, follow=follow, tempos=tempos)


def likelihoods(counts: Counts) -> Likelihoods:
    """Likelihoods from smoothed counts: rare cases lean on similar ones.

    Moves by the method of Witten and Bell (1991), each context on the one without its first
    move; rotations on coarser classes.
    """
    rows = {**counts.moves, **_unfamiliar(counts)}
    nodes = _nodes(rows)
    exponents = np.array([TRUST[context[0]] for context in nodes])
    return Likelihoods(
        _rotations(counts.rotations),
        _moves(rows, nodes) ** exponents[:, None],
        _follow(nodes),
        _begin(nodes),
        np.array([(1 - share, share) for share in _unfamiliar_shares()]),
        _anew(counts),
        _tempos(counts.tempos),
        _shares(counts.slices + 0.5),
        _shares(counts.first_tilted + 0.5) / (4, 20),
    )


def _shares(counts: Array) -> Array:
    shares: Array = counts / counts.sum(axis=-1, keepdims=True)
    return shares


def _unfamiliar_shares() -> list[float]:
    return [_UNFAMILIAR_SHARE if group == LAST_LAYER else 0.0 for group in GROUPS]


def _anew(counts: Counts) -> Array:
    """Virtual solvers, who were counted, never look twice in a stage."""
    table = np.zeros((len(GROUPS), len(_ANEW)))
    if counts.grip in USUAL_WAYS:
        table[np.array(GROUPS) == LAST_LAYER] = _ANEW
    return table


def _unfamiliar(counts: Counts) -> dict[Context, Array]:
    """How moves follow one another in a sequence that was not counted.

    Taken from the counted sequences, forwards and backwards.
    """
    follow = np.zeros((_MOVES, _MOVES))
    for move in range(_MOVES):
        if (row := counts.moves.get((LAST_LAYER, move))) is not None:
            follow[move] += row
            follow[INVERSE, INVERSE[move]] += row
    rows: dict[Context, Array] = {(_UNFAMILIAR, move): follow[move] for move in range(_MOVES)}
    return {(_UNFAMILIAR,): follow.sum(axis=0), **rows, **_unfamiliar_triples(counts)}


def _unfamiliar_triples(counts: Counts) -> dict[Context, Array]:
    """The same for three moves in a row: sequences are made of triggers, also backwards."""
    rows: dict[Context, Array] = defaultdict(lambda: np.zeros(_MOVES))
    for (group, *last), row in counts.moves.items():
        if group == LAST_LAYER and len(last) == 2 and max(last) < _MOVES:
            one, two = last
            rows[_UNFAMILIAR, one, two] += row
            for move in np.flatnonzero(row):
                back = (_UNFAMILIAR, int(INVERSE[move]), int(INVERSE[two]))
                rows[back][INVERSE[one]] += row[move]
    return dict(rows)


def _nodes(rows: dict[Context, Array]) -> dict[Context, int]:
    groups = (*GROUPS, _UNFAMILIAR)
    kept: set[Context] = {(group,) for group in groups}
    seen = {group: float(rows[(group,)].sum()) for group in groups if (group,) in rows}
    kept |= {begin_context(stage, r) for stage in range(len(STAGES)) for r in (False, True)}
    kept |= {(_UNFAMILIAR, *context[1:]) for context in kept if len(context) > 1}
    sums = np.array([*rows.values()]).sum(axis=1).tolist()
    for context, total in zip(rows, sums, strict=True):
        if len(context) <= 2 or total >= max(1.0, _RARE * seen[context[0]]):
            kept.add(context)
    return {context: i for i, context in enumerate(sorted(kept, key=lambda c: (len(c), c)))}


def _node(nodes: dict[Context, int], context: Context) -> int:
    """The node of the longest suffix of a context that has one."""
    group, *last = context
    for begin in range(len(last) + 1):
        if (node := nodes.get((group, *last[begin:]))) is not None:
            return node
    raise AssertionError("every group has a node")


def _begin(nodes: dict[Context, int]) -> Array:
    table = np.empty((len(STAGES), 2, 2), dtype=np.int32)
    for stage in range(len(STAGES)):
        for rotated in (False, True):
            group, *mark = begin_context(stage, rotated)
            for unfamiliar, its in enumerate((group, _UNFAMILIAR)):
                table[stage, int(rotated), unfamiliar] = nodes[(its, *mark)]
    return table


def _moves(rows: dict[Context, Array], nodes: dict[Context, int]) -> Array:
    """The nodes of one length at once: they lean on shorter ones, which come first."""
    table, nothing = np.empty((len(nodes), _MOVES)), np.zeros(_MOVES)
    for length, alike in groupby(nodes, key=len):
        contexts = [*alike]
        counts = np.array([rows.get(context, nothing) for context in contexts])
        if length == 1:
            coarser = np.full_like(counts, 1 / _MOVES)
        else:
            coarser = table[[_node(nodes, (group, *last)) for group, _, *last in contexts]]
        kinds = np.maximum(1, np.count_nonzero(counts, axis=1))[:, None]
        table[[nodes[context] for context in contexts]] = (counts + kinds * coarser) / (
            counts.sum(axis=1, keepdims=True) + kinds
        )
    return table


def _follow(nodes: dict[Context, int]) -> Array:
    """The node after a context and a move: the longest suffix of both that has one."""
    children: dict[Context, list[int]] = {}
    for context in nodes:
        if len(context) > 1:
            children.setdefault(context[:-1], []).append(context[-1])

    @cache
    def row(context: Context) -> Array:
        if len(context) == 1:
            after = np.full(_MOVES, nodes[context], dtype=np.int32)
        else:
            after = row((context[0], *context[2:])).copy()
        for move in children.get(context, ()):
            if move < _MOVES:  # the others are marks of a beginning
                after[move] = nodes[(*context, move)]
        return after

    return np.stack([row(context) for context in nodes])


def _rotations(counts: Array) -> Array:
    by_tilt = _shares(counts.sum(axis=(0, 1, 3)) + 0.05)[None, None, :, None, :]
    by_gap = _leaning(counts.sum(axis=(0, 1))[None, None], by_tilt)
    by_stage = _leaning(counts.sum(axis=1)[:, None], by_gap)
    return _leaning(counts, by_stage)


def _tempos(counts: Array) -> Array:
    usual = _shares(counts[:, 1:].sum(axis=0) + 0.5)
    table = np.ones_like(counts)
    table[:, 1:] = _shares(counts[:, 1:] + _LEANING_TEMPOS * usual) / usual
    return np.ascontiguousarray(table.T)


def _leaning(counts: Array, coarser: Array) -> Array:
    seen = counts.sum(axis=-1, keepdims=True)
    shares: Array = (counts + _LEANING * coarser) / (seen + _LEANING)
    return shares
