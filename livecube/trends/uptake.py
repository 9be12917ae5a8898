"""Chances taken and missed: by technique, by slot, and in all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.trends.figures import block_sums, drawn, interval
from livecube.trends.measures import FocusUptake, Uptake

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from livecube.trends.figures import Floats
    from livecube.trends.measures import ChanceColumns, FocusColumns, Interval, Whole

__all__ = ["focus_uptake", "left_a_solve", "left_behind", "share_taken", "uptake_sums", "uptakes"]

_CAME, _TAKEN, _LEFT, _REVIEWED = range(4)


def uptakes(
    chances: ChanceColumns,
    names: Sequence[str],
    kind: Whole,
    row: Whole,
    block: Whole,
    weights: Floats,
) -> tuple[Uptake, ...]:
    """The uptake of each name that has chances, the most missed seconds first.

    ``kind`` (chances,) is the index of each chance's name, ``row`` (chances,) the index of its
    solve among the solves with chances, and ``block`` (solves,) the bootstrap block of each solve.
    """
    table = uptake_sums(chances, len(names), kind, row, block)
    found = []
    for at, name in enumerate(names):
        sums = table[:, at]
        if sums[:, _CAME].any():
            found.append(_uptake(name, sums, weights))
    return tuple(sorted(found, key=lambda one: (-one.left.value, one.name)))


def uptake_sums(
    chances: ChanceColumns, names: int, kind: Whole, row: Whole, block: Whole
) -> Floats:
    """Sums (blocks, names, 4) for :func:`share_taken` and :func:`left_behind`; see :func:`uptakes`.

    They are the chances that came and that were taken, the predicted seconds missed, and the
    reviewed solves.
    """
    missed = np.where(chances.taken != 0, 0, np.maximum(chances.saved_ms, 0)) / 1000
    reviewed = np.bincount(block)
    cell = block[row] * names + kind
    counted = [
        np.bincount(cell, worth, minlength=len(reviewed) * names).reshape(-1, names)
        for worth in (None, chances.taken, missed)
    ]
    solves = np.repeat(reviewed[:, None], names, axis=1)
    return np.stack([*counted, solves], axis=2).astype(np.float64)


def share_taken(sums: Floats) -> Floats:
    """Chances taken, divided by those that came."""
    return _divided(sums[..., _TAKEN], sums[..., _CAME])


def left_behind(sums: Floats) -> Floats:
    """Predicted seconds missed, for each reviewed solve."""
    return _divided(sums[..., _LEFT], sums[..., _REVIEWED])


def _uptake(name: str, sums: Floats, weights: Floats) -> Uptake:
    samples, whole = weights @ sums, sums.sum(0)
    return Uptake(
        name,
        int(whole[_CAME]),
        int(whole[_TAKEN]),
        interval(sums, samples, share_taken),
        interval(sums, samples, left_behind),
    )


def left_a_solve(chances: ChanceColumns, row: Whole, block: Whole, weights: Floats) -> Interval:
    """Seconds a solve that the best missed chance of each pair would have saved; predicted.

    Only one chance of a pair can be taken, so only the best counts. A pair with a taken chance
    still counts with the seconds that its best missed chance would have saved.
    """
    stages, its = np.unique(chances.stage, return_inverse=True)
    best = np.zeros((len(block), len(stages)))
    missed: npt.NDArray[np.float64] = np.where(chances.taken != 0, 0, chances.saved_ms) / 1000
    np.maximum.at(best, (row, its), missed)
    sums = block_sums(np.stack([best.sum(1), np.ones(len(block))], axis=1), block)
    return interval(sums, weights @ sums, lambda s: _divided(s[..., 0], s[..., 1]))


def focus_uptake(focus: FocusColumns, block: Whole, rng: np.random.Generator) -> FocusUptake:
    """The uptake within a focus; ``block`` (chances,) is the bootstrap block of each chance."""
    share = price = None
    if len(block):
        its = np.unique(block, return_inverse=True)[1]
        columns = (focus.taken, focus.price_ms / 1000, np.ones(len(its)))
        sums = np.stack([np.bincount(its, one) for one in columns], axis=1).astype(np.float64)
        samples = drawn(len(sums), rng) @ sums
        share = interval(sums, samples, lambda s: _divided(s[..., 0], s[..., 2]))
        price = interval(sums, samples, lambda s: _divided(s[..., 1], s[..., 2]))
    return FocusUptake(
        focus.techniques, focus.within_s, len(block), int(focus.taken.sum()), share, price
    )


def _divided(above: Floats, below: Floats) -> Floats:
    nan = np.full(np.shape(above), np.nan)
    result: Floats = np.divide(above, below, out=nan, where=below > 0)
    return result
