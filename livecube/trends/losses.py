"""What practising would bring: where pairs take longer than the best plan from their beginning.

What a pair took, and the best plan that goes on from it, less the best plan from its beginning, is
the sum of four parts. *Looking*: the measured pause, less the expected looking and the price of the
first turn. *Turning*: the measured time of the turns after the first one, less their price. *Way*:
the price of the turns that were made, less that of the fastest way into the same slot. *Pair*: the
best plan that begins with this pair, less the best plan of all. The first two are measured times
less predicted ones; the last two are predicted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.trends.figures import drawn, interval
from livecube.trends.measures import LOSSES, Losses, LossPart

if TYPE_CHECKING:
    from livecube.trends.figures import Floats, Statistic
    from livecube.trends.measures import LossColumns, Whole

__all__ = ["losses_of"]


def losses_of(columns: LossColumns, block: Whole, rng: np.random.Generator) -> Losses:
    """Seconds lost for each pair; ``block`` (pairs,) is the bootstrap block of each pair."""
    if not len(block):
        return Losses(0, 0, None, ())
    its = np.unique(block, return_inverse=True)[1]
    table = [np.ones(len(its)), *(columns.parts_ms.T / 1000)]
    sums = np.stack([np.bincount(its, column) for column in table], axis=1).astype(np.float64)
    samples = drawn(len(sums), rng) @ sums
    return Losses(
        len(its),
        int((columns.own != 0).sum()),
        interval(sums, samples, lambda s: s[..., 1:].sum(-1) / s[..., 0]),
        tuple(_part(at, sums, samples) for at in range(len(LOSSES))),
    )


def _part(at: int, sums: Floats, samples: Floats) -> LossPart:
    seconds = interval(sums, samples, lambda s: s[..., 1 + at] / s[..., 0])
    share = interval(sums, samples, _share(at))
    return LossPart(LOSSES[at], seconds, share if np.isfinite(share.value) else None)


def _share(at: int) -> Statistic:
    """The share of a part in the parts that cost time; nan if none does."""

    def of(sums: Floats) -> Floats:
        cost = np.maximum(sums[..., 1:], 0)
        whole = cost.sum(-1)
        nan = np.full(np.shape(whole), np.nan)
        result: Floats = np.divide(cost[..., at], whole, out=nan, where=whole > 0)
        return result

    return of
