"""What a technique is worth to a person: measured, by pairs done by it and the same kind plainly.

Pairs are of one kind if a review found the technique possible when they began. Their seconds are
explained by whether the technique was used, by which pair it was, by how much dearer the review
predicted the technique to be than the best plan, and by the session (least squares; sessions as
fixed effects). What is told is the mean over the pairs that were done by the technique. The
interval also holds if seconds vary more in some pairs than in others, and if sessions differ in
what the technique is worth: the variance comes from leaving out sessions (CR3; A. C. Cameron and
D. L. Miller, J. Hum. Resour. 50 (2015), 317–372), with Student's quantile for the number of
sessions that hold both.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.hands.verdict import student
from livecube.trends.measures import Interval, TechniqueWorth, WorthColumns

if TYPE_CHECKING:
    from livecube.trends.figures import Floats
    from livecube.trends.measures import Whole

__all__ = ["FEWEST_PAIRS", "PLAINLY", "comparable", "worth_of", "worths"]

PLAINLY: Final = ("plain", "shortest")
"""Names of pairs that were done without a technique."""

FEWEST_PAIRS: Final = 15
"""Pairs by a technique, and pairs done plainly, that are needed: fewer tell nothing."""
FEWEST_BLOCKS: Final = 8
"""Sessions that hold both kinds."""
_LONGEST: Final = 4.0
"""Seconds above so many times the median are a hesitation; they count as that many."""


def comparable(pairs: WorthColumns, next_ms: Whole, together: Whole) -> WorthColumns:
    """The pairs that can be compared, each with the time of as many pairs as its technique fills.

    ``pairs`` have their own times; ``next_ms`` are those of the stages after them, and ``together``
    is not 0 if such a stage is a pair that was done by the same turn. A technique fills two slots
    if most of its pairs were done together with the next one.
    """
    taken = pairs.taken != 0
    names = len(pairs.techniques)
    used = np.bincount(pairs.technique, taken, names)
    double = 2 * np.bincount(pairs.technique, taken & (together != 0), names) > used
    two = double[pairs.technique]
    ms = pairs.ms + np.where(two, next_ms, 0)
    # Two pairs against two pairs: the last pair has none behind it.
    kept = ~two | taken | (pairs.place < 4)
    return WorthColumns(
        pairs.techniques, pairs.solve[kept], pairs.technique[kept], pairs.place[kept], ms[kept],
        pairs.price_ms[kept], pairs.taken[kept],
    )  # fmt: skip


def worths(columns: WorthColumns, block: Whole) -> tuple[TechniqueWorth, ...]:
    """The worth of each technique that was used at least once; ``block`` (pairs,): sessions."""
    found = []
    for number, name in enumerate(columns.techniques):
        here = columns.technique == number
        taken = columns.taken[here] != 0
        if not taken.any():
            continue
        seconds = worth_of(
            columns.ms[here] / 1000,
            taken,
            columns.place[here],
            columns.price_ms[here] / 1000,
            block[here],
        )
        found.append(TechniqueWorth(name, int(taken.sum()), int((~taken).sum()), seconds))
    return tuple(sorted(found, key=lambda one: (-one.used, one.name)))


def worth_of(
    seconds: Floats, taken: Floats, place: Whole, price_s: Floats, block: Whole
) -> Interval | None:
    """Seconds saved by the technique for each pair, with a 95 % interval; None: too few to tell.

    All arrays have one entry a pair; ``taken``: whether it was done by the technique.
    """
    taken = np.asarray(taken, dtype=float)
    _, its = np.unique(block, return_inverse=True)
    used = np.bincount(its, taken)
    count = np.bincount(its)
    both = int(((used > 0) & (used < count)).sum())
    if min(taken.sum(), (1 - taken).sum()) < FEWEST_PAIRS or both < FEWEST_BLOCKS:
        return None
    seconds = np.minimum(seconds, _LONGEST * np.median(seconds))
    _, *later = np.unique(place)
    places = [place == one for one in later]
    dearer = taken * (price_s - float(price_s[taken > 0].mean()))
    columns = np.column_stack([taken, dearer, price_s, *places]).astype(float)
    whole = np.column_stack([columns, seconds])
    sums = np.stack([np.bincount(its, column) for column in whole.T], axis=1)
    whole = whole - (sums / count[:, None])[its]
    x, y = whole[:, :-1], whole[:, -1]  # columns that do not vary are 0, and pinv makes them 0
    inside = np.linalg.pinv(x.T @ x)
    beta = inside @ (x.T @ y)
    left = y - x @ beta
    variance = 0.0
    for number in range(len(count)):
        rows, off = x[its == number], left[its == number]
        # The change of beta without this session, by (I - H)^-1 off, in the small form.
        square = rows.T @ rows
        without = np.linalg.pinv(np.eye(len(square)) - inside @ square)
        variance += float((without @ inside @ (rows.T @ off))[0]) ** 2
    spread, free = float(np.sqrt(variance)), both - 1
    out = student(free) * spread
    return Interval(-float(beta[0]), -float(beta[0]) - out, -float(beta[0]) + out)
