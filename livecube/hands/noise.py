"""How gaps are spread around a price: turning, waiting, misread moves; tempo. Pure, numpy only.

The logarithm of measured against predicted time is a mixture. Hands that turn are spread a little
around 0. Hands that wait take at least about twice as long. Where the holding was read wrongly, the
gap is that of some other move. A few gaps are anything. What a gap counts for a price is the
probability that it was turning, so that a hesitation is no slow finger.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from livecube.hands.executions import Array, Gaps

__all__ = [
    "FIRST_LOOKS",
    "FIRST_NOISE",
    "Looks",
    "Noise",
    "Parts",
    "looks_refined",
    "parts_of",
    "refined",
]

_STRAY: Final = 0.01
"""Share of gaps that are anything: two turns told at once, a turn told late."""
_STRAY_DENSITY: Final = 1 / 7
"""Density of those over the logarithm, from a twentieth to fifty times the prediction."""
_MISREAD_SPREAD: Final = 0.6
"""Spread of a gap around the price of another move; common practice, no published source."""
_LEAST_WAIT: Final = float(np.log(2))
_SEEN: Final = 10.0
"""The numbers to start from count as so many gaps."""


class Noise(NamedTuple):
    """Numbers of the mixture, all on the scale of the natural logarithm."""

    spread: float
    """Standard deviation of turning, for each gap by itself."""
    waits: float
    """Share of gaps in which the hands waited."""
    waits_rotated: float
    """The same for gaps in which the cube was rotated: who looks around rotates."""
    wait: float
    """Mean of those gaps."""
    wait_spread: float
    of_execution: float = 0.06**2
    """Variance that the gaps of an execution share."""
    of_solve: float = 0.05**2
    """Variance that the executions of a solve share."""


FIRST_NOISE: Final = Noise(0.28, 0.05, 0.5, 1.0, 0.6)
"""Common practice, no published source."""


class Looks(NamedTuple):
    """How pauses before stages exceed the price of the first turn, if the eyes look."""

    share: float
    """Of pauses with a look."""
    long: float
    """Mean of the logarithm of such a pause against the price of the turn."""
    spread: float


FIRST_LOOKS: Final = Looks(0.7, 1.3, 0.6)
"""Common practice, no published source."""


class Parts(NamedTuple):
    """For each gap, what it was."""

    turned: Array
    """Probability that the hands turned, and that the move is read rightly."""
    waited: Array


def parts_of(off: Array, sure: Array, rotated: Array, noise: Noise) -> Parts:
    """What gaps were, from the logarithms of measured against predicted time.

    ``sure``: probability that the move is read rightly; ``rotated``: whether the cube was rotated.
    """
    waits = np.where(rotated, noise.waits_rotated, noise.waits)
    hasty = 1 - waits - _STRAY
    turned = hasty * sure * _normal(off, noise.spread)
    waited = waits * _normal(off - noise.wait, noise.wait_spread)
    misread = hasty * (1 - sure) * _normal(off, _MISREAD_SPREAD)
    total = turned + waited + misread + _STRAY * _STRAY_DENSITY
    return Parts(turned / total, waited / total)


def _normal(x: Array, spread: float) -> Array:
    density: Array = np.exp(-0.5 * (x / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    return density


def refined(gaps: Gaps, off: Array, apart: Array, rotated: Array, parts: Parts) -> Noise:
    """The numbers that explain these gaps best.

    ``off`` is measured against what was learned from all gaps, ``apart`` against what would have
    been learned without the gap itself. The mean of their product is not too small, as that of the
    square would be.
    """
    turned, waited = parts
    first = FIRST_NOISE
    spread = _SEEN * first.spread**2 + float((turned * off * apart).sum())
    waits = _SEEN / 5 + float(waited.sum())
    wait = max(_LEAST_WAIT, (_SEEN / 5 * first.wait + float((waited * off).sum())) / waits)
    wide = _SEEN / 5 * first.wait_spread**2 + float((waited * (off - wait) ** 2).sum())
    of_solve = _shared(*_executions(gaps, off, turned), first.of_solve)
    both = _shared(gaps.execution, off, turned, first.of_execution + first.of_solve)
    return Noise(
        float(np.sqrt(spread / (_SEEN + turned.sum()))),
        _share(waited[~rotated], first.waits),
        _share(waited[rotated], first.waits_rotated),
        wait,
        float(np.clip(np.sqrt(wide / waits), 0.4, 1.0)),
        max(both - of_solve, 0.0),
        of_solve,
    )


def looks_refined(off: Array, went_on: Array) -> Looks:
    """The numbers that explain these pauses best; ``off`` as for :func:`parts_of`."""
    looked, first = 1 - went_on, FIRST_LOOKS
    count = _SEEN / 5 + float(looked.sum())
    long = max(_LEAST_WAIT, (_SEEN / 5 * first.long + float((looked * off).sum())) / count)
    wide = _SEEN / 5 * first.spread**2 + float((looked * (off - long) ** 2).sum())
    spread = float(np.clip(np.sqrt(wide / count), 0.3, 1.0))
    return Looks(_share(looked, first.share), long, spread)


def _share(waited: Array, first: float) -> float:
    return (_SEEN * first + float(waited.sum())) / (_SEEN + len(waited))


def _executions(gaps: Gaps, off: Array, turned: Array) -> tuple[Array, Array, Array]:
    """The solve of each execution, its mean, and whether it counts."""
    _, first, number = np.unique(gaps.execution, return_index=True, return_inverse=True)
    weight = np.bincount(number, turned)
    mean = np.bincount(number, turned * off) / np.maximum(weight, 1e-9)
    return gaps.solve[first], mean, (weight > 1).astype(float)


def _shared(group: Array, off: Array, weight: Array, first: float) -> float:
    """Variance that the entries of a group share: the mean product of two of them, at least 0."""
    _, number = np.unique(group, return_inverse=True)
    one, two = np.bincount(number, weight), np.bincount(number, weight**2)
    total = np.bincount(number, weight * off)
    own = np.bincount(number, (weight * off) ** 2)
    pairs = np.maximum(one**2 - two, 1e-9)
    # A group of many entries tells its mean well, so it counts little more than one of a few.
    counts = pairs / (one**2 / 4 + 1)
    product = float((counts * (total**2 - own) / pairs).sum())
    return max((_SEEN * first + product) / (_SEEN + float(counts.sum())), 0.0)
