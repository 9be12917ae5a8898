"""One's own hands, learned from the times of written moves. Pure, numpy only.

:func:`learn_hands` learns from many solves, :meth:`OwnHands.after` from one more. What is learned
is tried on solves that it was not learned from; ``verdict.keeps`` says whether it predicts them
better than the usual prices do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.hands.automaton import NEVER
from livecube.hands.executions import Part, cells_of, gaps_of, pauses_of
from livecube.hands.kinship import Means
from livecube.hands.noise import FIRST_LOOKS, FIRST_NOISE, looks_refined, parts_of, refined
from livecube.hands.trust import believed
from livecube.hands.verdict import Verdict, judged, student

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.holding import Move
    from livecube.hands.executions import Array, Execution, Gaps
    from livecube.hands.kinship import Fit, Kinship
    from livecube.hands.noise import Looks, Noise

__all__ = ["OwnHands", "Predicted", "Sums", "learn_hands"]

_ROUNDS: Final = 8
"""Rounds of: what was each gap; then the prices from the gaps that were turning."""
_STEPS: Final = 4
"""Steps in each round towards the likeliest variances."""
_AGAIN: Final = 4
"""Rounds of: before which stages the hands went on at once; then the prices of first turns."""
_FOLDS: Final = 10
_SAME_TEMPO: Final = 20.0
"""That the other parts of a solve have the tempo of pairs counts as so many gaps."""
_LEAST_WEIGHT: Final = 0.05
"""A cell with less evidence is left out."""
_FREE: Final = 2
"""Degrees of freedom of the noise that a solve is worth: few solves tell it badly."""
_MISREAD: Final = 0.12**2
"""Variance of a pair's time, on the logarithm's scale, if no reading of its holding can be trusted;
measured on persons whose holdings were read (``tests/checks/person_check.py``)."""


class Sums(NamedTuple):
    """What the gaps say of each cell, shape (cells,). Sums of two sets of gaps can be added."""

    weight: Array
    """Sum of the probabilities that the gap was turning."""
    log_ratio: Array
    """The same, times the logarithm of measured against usual time."""
    ms: Array
    """The same, times the milliseconds measured."""

    @classmethod
    def of(cls, gaps: Gaps, kin: Kinship, turned: Array) -> Sums:
        """``turned``: for each gap the probability that it was turning."""
        ratio = np.log(gaps.ms / kin.usual_ms[gaps.cell])
        return cls(
            *(
                np.bincount(gaps.cell, turned * each, len(kin.usual_ms))
                for each in (np.ones(len(ratio)), ratio, gaps.ms)
            )
        )

    def plus(self, other: Sums, sign: int = 1) -> Sums:
        """Both together, or (−1) what is left without the other."""
        return Sums(*(one + sign * two for one, two in zip(self, other, strict=True)))

    def means(self, noise: Noise, executions: float, solves: float) -> Means:
        """The mean of each cell that was seen."""
        cell = np.flatnonzero(self.weight > _LEAST_WEIGHT)
        weight = self.weight[cell]
        common = noise.of_execution / max(executions, 1) + noise.of_solve / max(solves, 1)
        return Means(cell, self.log_ratio[cell] / weight, noise.spread**2 / weight, common)


class Predicted(NamedTuple):
    """Milliseconds of a sequence after its first turn."""

    low: float
    """With ``high``: 95 % of executions without hesitation are between."""
    expected: float
    high: float


@dataclass(frozen=True, eq=False)
class OwnHands:
    """What is known of one person's hands; never changed."""

    fit: Fit
    sums: Sums
    noise: Noise
    verdict: Verdict
    executions: int
    solves: int
    doubt: float
    """Mean probability that a gap was read in a wrong holding."""
    tempos: tuple[float, ...]
    """For each part of a solve the logarithm of its times against those of pairs."""
    looks: Looks = FIRST_LOOKS
    """How often and how long the eyes look before a stage, against its first turn."""

    @property
    def kin(self) -> Kinship:
        """The cells, and the usual prices."""
        return self.fit.of

    @cached_property
    def price_ms(self) -> Array:
        """Own prices of all cells, kept or not, shape (cells,); ``NEVER`` where never."""
        return _prices(self.fit, self.sums)

    def spread(self, cells: Array) -> Array:
        """Standard deviation of what is unknown of the logarithms of these cells' prices."""
        return np.asarray(np.sqrt(np.diag(self.fit.covariance(np.asarray(cells)))))

    def predicted(self, moves: tuple[Move, ...]) -> Predicted | None:
        """How long an execution takes after its first turn; None for a single turn."""
        cells = np.array([cell for cell in cells_of(self.kin.usual, moves) if cell >= 0])
        if not len(cells):
            return None
        prices = self.price_ms[cells]
        total = float(prices.sum())
        share = prices / total
        noise = np.expm1(self.noise.spread**2) * float((share**2).sum())
        unknown = float(share @ self.fit.covariance(cells) @ share)
        common = self.noise.of_execution + self.noise.of_solve + _MISREAD * self.doubt
        variance = np.log1p(noise + unknown + common)
        free = max(_FREE * (self.solves - 1), 1)
        out = student(free) * np.sqrt(variance)
        middle = np.log(total) - variance / 2
        return Predicted(float(np.exp(middle - out)), total, float(np.exp(middle + out)))

    def after(self, solve: Sequence[Execution]) -> OwnHands:
        """What is known after one more solve, which is first predicted.

        The spread of noise stays as it is; :func:`learn_hands` measures it anew.
        """
        gaps = gaps_of(self.kin.usual, [solve]).in_tempo(np.array(self.tempos))
        if not len(gaps.ms):
            return replace(self, solves=self.solves + 1)
        off = np.log(gaps.ms / self.kin.usual_ms[gaps.cell]) - self.fit.values[gaps.cell]
        tempo = float(self.sums.log_ratio.sum()) / max(float(self.sums.weight.sum()), 1.0)
        sure = believed(self.kin, gaps, tempo)
        turned = parts_of(off, sure, self.kin.rotated[gaps.cell], self.noise).turned
        executions, solves = self.executions + len(solve), self.solves + 1
        sums = self.sums.plus(Sums.of(gaps, self.kin, turned))
        pauses = pauses_of(self.kin.usual, [solve]).in_tempo(np.array(self.tempos))
        went_on = _went_on(pauses, self.fit, self.noise, self.looks)
        sums = sums.plus(Sums.of(pauses, self.kin, went_on))
        means = sums.means(self.noise, executions, solves)
        return replace(
            self,
            fit=self.kin.fit(means, self.fit.variances),
            sums=sums,
            verdict=self.verdict.plus(_judged(gaps, turned, self.kin.usual_ms, self.price_ms)),
            executions=executions,
            solves=solves,
        )


def learn_hands(kin: Kinship, solves: Sequence[Sequence[Execution]]) -> OwnHands:
    """A person's hands from all their solves, each a list of executions."""
    as_told = gaps_of(kin.usual, solves)
    executions = sum(map(len, solves))
    whole, rotated = np.log(as_told.ms / kin.usual_ms[as_told.cell]), kin.rotated[as_told.cell]
    tempo = float(np.median(whole[as_told.part == Part.PAIRS])) if len(whole) else 0.0
    tempos = _tempos(as_told, whole, np.ones(len(whole)))
    gaps, ratio = as_told.in_tempo(tempos), whole - tempos[as_told.part]
    sure = believed(kin, gaps, tempo)
    noise, variances, inside, off = FIRST_NOISE, None, np.zeros(len(ratio)), ratio - tempo
    for _ in range(_ROUNDS):
        parts = parts_of(off / (1 - inside), sure, rotated, noise)
        noise = refined(gaps, off, off / (1 - inside), rotated, parts)
        sums = Sums.of(gaps, kin, parts.turned)
        fit = kin.fit(sums.means(noise, executions, len(solves)), variances, _STEPS)
        tempos = _tempos(as_told, whole, parts.turned)
        gaps, ratio = as_told.in_tempo(tempos), whole - tempos[as_told.part]
        variances, off = fit.variances, ratio - fit.values[gaps.cell]
        unknown = np.zeros(len(kin.usual_ms))
        unknown[fit.means.cell] = fit.unknown()
        inside = np.minimum(parts.turned * unknown[gaps.cell] / noise.spread**2, 0.9)
    doubt = 1 - float(sure.mean()) if len(sure) else 0.0
    told = tuple(tempos.tolist())
    one = OwnHands(fit, sums, noise, Verdict(), executions, len(solves), doubt, told)
    one = _with_first_turns(one, pauses_of(kin.usual, solves).in_tempo(tempos))
    return replace(one, verdict=_tried(one, gaps, parts.turned))


# The first turn of a stage comes after a pause, most of which is a look. Where the hands went on at
# once the pause is as short as a turn: such pauses are gaps like others.


def _with_first_turns(own: OwnHands, pauses: Gaps) -> OwnHands:
    fit, sums, looks = own.fit, own.sums, own.looks
    for _ in range(_AGAIN):
        went_on = _went_on(pauses, fit, own.noise, looks)
        looks = looks_refined(_off(pauses, fit), went_on)
        sums = own.sums.plus(Sums.of(pauses, own.kin, went_on))
        means = sums.means(own.noise, own.executions, own.solves)
        fit = own.kin.fit(means, own.fit.variances)
    return replace(own, fit=fit, sums=sums, looks=looks)


def _went_on(pauses: Gaps, fit: Fit, noise: Noise, looks: Looks) -> Array:
    """For each pause the probability that the hands went on without a look."""
    wide = float(np.sqrt(noise.spread**2 + noise.of_execution + noise.of_solve))
    as_waits = noise._replace(
        spread=wide, waits=looks.share, wait=looks.long, wait_spread=looks.spread
    )
    rotated = np.zeros(len(pauses.ms), dtype=bool)
    return parts_of(_off(pauses, fit), pauses.sure, rotated, as_waits).turned


def _off(pauses: Gaps, fit: Fit) -> Array:
    usual = fit.of.usual_ms[pauses.cell]
    return np.asarray(np.log(pauses.ms / usual) - fit.values[pauses.cell])


def _tempos(gaps: Gaps, ratio: Array, turned: Array) -> Array:
    """For each part the mean logarithm of its times against those of the same cells in pairs.

    ``ratio``: the logarithms of measured against usual times.
    """
    shape = len(Part), int(gaps.cell.max(initial=0)) + 1
    row = gaps.part * shape[1] + gaps.cell
    weight, total = (
        np.bincount(row, each, shape[0] * shape[1]).reshape(shape)
        for each in (turned, turned * ratio)
    )
    mean = total / np.maximum(weight, _LEAST_WEIGHT)
    # A difference of two means is as sure as so many gaps.
    both = weight * weight[0] / np.maximum(weight + weight[0], _LEAST_WEIGHT)
    tempos: Array = (both * (mean - mean[0])).sum(axis=1) / (both.sum(axis=1) + _SAME_TEMPO)
    return tempos


def _prices(fit: Fit, sums: Sums) -> Array:
    """Prices whose sum over what was measured is the sum measured.

    The exponential of a mean logarithm is too small as a mean (N. Duan's smearing estimate, J. Am.
    Stat. Assoc. 78 (1983), 605–610).
    """
    usual = fit.of.usual_ms
    prices = usual * np.exp(fit.values)
    cell = fit.means.cell[~fit.of.first[fit.means.cell]]  # a first turn may hide a short look
    predicted = float(sums.weight[cell] @ prices[cell])
    factor = float(sums.ms[cell].sum()) / predicted if predicted else 1.0
    return np.where(usual < NEVER, prices * factor, usual)


def _tried(own: OwnHands, gaps: Gaps, turned: Array) -> Verdict:
    """Predict each part of the solves from the others, with the same noise and variances."""
    total, folds = Verdict(), min(_FOLDS, own.solves)
    fold = np.arange(own.solves) % max(folds, 1)
    for number in range(folds) if folds > 1 else ():
        here = fold == number
        part, turning = gaps.chosen(here[gaps.solve]), turned[here[gaps.solve]]
        sums = own.sums.plus(Sums.of(part, own.kin, turning), -1)
        left = 1 - float(here.mean())
        means = sums.means(own.noise, left * own.executions, left * own.solves)
        prices = _prices(own.kin.fit(means, own.fit.variances), sums)
        total = total.plus(_judged(part, turning, own.kin.usual_ms, prices))
    return total


def _judged(gaps: Gaps, turned: Array, usual_ms: Array, own_ms: Array) -> Verdict:
    used = (turned > 0.5) & (gaps.part == Part.PAIRS)
    if not used.any():
        return Verdict()
    _, first, number = np.unique(gaps.execution[used], return_index=True, return_inverse=True)
    cell, ms = gaps.cell[used], gaps.ms[used]
    usual, own = (np.bincount(number, ms - prices[cell]) for prices in (usual_ms, own_ms))
    return judged(usual, own, gaps.solve[used][first])
