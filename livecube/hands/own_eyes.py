"""One's own eyes, learned from the pauses before insertions. Pure, numpy only.

The expected seconds of a look are a sum of terms, as in the table of the eyes: the base, each piece
by its kind, place and movement, the technique. A person has a tempo of looking, each term departs
from it a little, and a case that was met seldom takes longer. The noise of looks is large, in
proportion to the look, so departures are shrunk more strongly than those of the hands.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import PIECES
from livecube.hands.automaton import make_looking
from livecube.hands.features import EYES, TECHNIQUES
from livecube.hands.noise import Noise, parts_of
from livecube.hands.verdict import Verdict, judged

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.hands.automaton import Looking
    from livecube.hands.executions import Array

__all__ = ["EFFECTS", "EyeSums", "Look", "OwnEyes", "learn_eyes"]

_TERMS: Final = (*EYES, *TECHNIQUES)
EFFECTS: Final = ("tempo", "new", *_TERMS)
"""Names of the effects that are learned, in order."""
_TEMPO: Final = 0.35
"""Usual spread of the tempo between persons, as a share."""
_NEW: Final = 0.4
"""Usual spread of the share that a case takes longer when it is first met."""
_TERM: Final = 0.2
"""Usual spread of a term against the tempo."""
_HELD: Final = 20.0
"""That spread counts as so many terms."""
_GETS_KNOWN: Final = 5.0
"""A case that was met so often takes half as much longer as a new one."""
_ROUNDS: Final = 8
_FOLDS: Final = 10
_LEAST_MS: Final = 30.0
_FIRST: Final = Noise(0.45, 0.05, 0.05, 1.2, 0.6)
"""Common practice, no published source."""
_SEEN: Final = 20.0
"""Its spread counts as so many looks."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the hands did not need of the pause before an insertion, and what was to be seen."""

    ms: float
    """The pause less the price of the first turn, rotations included; it may be below 0."""
    technique: str
    corner: tuple[int, int] | None
    """Place and whether the sequence before moved it, as for ``looking_ms``; None: it is home."""
    edge: tuple[int, int] | None
    corner_alone: bool = False
    met: int = 0
    """How often the person had met this case before."""
    sure: float = 1.0
    """Probability that the places are seen from the true holding."""


class _Data(NamedTuple):
    """Looks as arrays, one entry or row each."""

    ms: Array
    sure: Array
    columns: Array
    """Milliseconds by the usual prices for an effect of 1: tempo, newness, each term."""
    solve: Array

    @property
    def usual_ms(self) -> Array:
        return self.columns[:, 0]

    def some(self, here: Array) -> _Data:
        return _Data(*(each[here] for each in self))


class EyeSums(NamedTuple):
    """Sufficient statistics of weighted least squares."""

    square: Array
    product: Array

    def effects(self, variances: Array) -> tuple[Array, Array]:
        """Expected effects, and their covariance."""
        covariance = np.linalg.inv(self.square + np.diag(1 / variances))
        return covariance @ self.product, covariance


@dataclass(frozen=True, slots=True, eq=False)
class OwnEyes:
    """What is known of one person's eyes; never changed."""

    usual: Looking
    effects: Array
    """Of tempo, newness and each term, as shares."""
    covariance: Array
    """Of what is unknown of them."""
    variances: Array
    sums: EyeSums
    noise: Noise
    verdict: Verdict
    solves: int
    known: float
    """Mean newness of the looks so far, 1 for a case never met."""

    def expected_ms(self, looks: Sequence[Look]) -> Array:
        """Expected milliseconds of each look, kept or not, shape (looks,)."""
        data = _data(self.usual, [looks])
        return _expected(data, self.effects)

    def spread(self, name: str) -> float:
        """Standard deviation of what is unknown of a term, as a share of its usual price."""
        both = np.zeros(len(self.effects))
        both[0] = both[EFFECTS.index(name)] = 1.0
        return float(np.sqrt(both @ self.covariance @ both))

    @property
    def new_share(self) -> float:
        """How much longer a case takes that was never met, as a share."""
        return float(self.effects[1])

    @property
    def looking(self) -> Looking:
        """The own table, with cases as well known as those so far."""
        whole = 1 + self.effects[0] + self.effects[1] * self.known
        own = np.maximum(np.rint(_prices(self.usual) * (whole + self.effects[2:])), 0).astype(int)
        named = dict(zip(_TERMS, own.tolist(), strict=True))
        places = {place: name for name, own in self.usual.table["places"].items() for place in own}
        return make_looking(
            {name: named[name] for name in EYES},
            places,
            {name: named[name] for name in self.usual.technique_ms},
        )

    def after(self, looks: Sequence[Look]) -> OwnEyes:
        """What is known after one more solve, which is first predicted."""
        data = _data(self.usual, [looks])
        if not len(data.ms):
            return replace(self, solves=self.solves + 1)
        weight = _weights(data, self.effects, self.noise)
        more = _summed(data, self.effects, self.noise, weight)
        sums = EyeSums(self.sums.square + more.square, self.sums.product + more.product)
        effects, covariance = sums.effects(self.variances)
        return replace(
            self,
            effects=effects,
            covariance=covariance,
            sums=sums,
            verdict=self.verdict.plus(_judged(data, self.effects, weight)),
            solves=self.solves + 1,
        )


def learn_eyes(usual: Looking, solves: Sequence[Sequence[Look]]) -> OwnEyes:
    """A person's eyes from all their solves, each a list of looks."""
    data = _data(usual, solves)
    effects, noise = np.zeros(len(EFFECTS)), _FIRST
    prior = np.array([_TEMPO**2, _NEW**2, *[_TERM**2] * len(_TERMS)])
    variances = prior.copy()
    if len(data.ms):
        effects[0] = float(np.median(data.ms / data.usual_ms)) - 1
    for _ in range(_ROUNDS):
        weight = _weights(data, effects, noise)
        noise = _refined(data, effects, weight, noise)
        sums = _summed(data, effects, noise, weight)
        effects, covariance = sums.effects(variances)
        seen = np.diag(sums.square)[2:] > 0
        drawn = (effects[2:] ** 2 + np.diag(covariance)[2:])[seen]
        variances[2:] = (_HELD * _TERM**2 + drawn.sum()) / (_HELD + seen.sum())
    effects, covariance = sums.effects(variances)
    known = float(data.columns[:, 1].sum() / data.usual_ms.sum()) if len(data.ms) else 0.0
    one = OwnEyes(usual, effects, covariance, variances, sums, noise, Verdict(), len(solves), known)
    return replace(one, verdict=_tried(one, data, weight))


def _prices(usual: Looking) -> Array:
    table: dict[str, Any] = {**usual.table, **usual.table["techniques"]}
    return np.array([1000 * table.get(name, 0.0) for name in _TERMS])


def _data(usual: Looking, solves: Sequence[Sequence[Look]]) -> _Data:
    where = {
        PIECES.index(place): name for name, own in usual.table["places"].items() for place in own
    }
    rows, looks = [], [(number, look) for number, solve in enumerate(solves) for look in solve]
    for _, look in looks:
        row = dict.fromkeys(_TERMS, 0)
        row["base"] = row[look.technique] = 1
        for kind, piece, place in (("corner", look.corner, 3), ("edge", look.edge, 2)):
            if piece is not None:
                row[kind] += 1
                row[where[piece[0] // place + (8 if kind == "edge" else 0)]] += 1
                row["moved" if piece[1] else "stayed"] += 1
        if look.corner_alone and look.corner is not None and look.corner[0] in _FACING_UP:
            row["keyhole_corner_up"] = 1
        rows.append(list(row.values()))
    terms = np.array(rows, dtype=float).reshape(len(rows), len(_TERMS)) * _prices(usual)
    usual_ms = terms.sum(axis=1)
    met = np.array([look.met for _, look in looks], dtype=float)
    new = usual_ms * _GETS_KNOWN / (_GETS_KNOWN + met)
    return _Data(
        np.array([look.ms for _, look in looks], dtype=float),
        np.array([look.sure for _, look in looks], dtype=float),
        np.column_stack([usual_ms, new, terms]),
        np.array([number for number, _ in looks], dtype=int),
    )


_FACING_UP: Final = frozenset(3 * PIECES.index(name) for name in PIECES[:8] if name[0] == "U")


def _expected(data: _Data, effects: Array) -> Array:
    ms: Array = np.maximum(data.usual_ms + data.columns @ effects, 0.2 * data.usual_ms)
    return ms


def _weights(data: _Data, effects: Array, noise: Noise) -> Array:
    """What each look counts: less, if the hands waited for something else."""
    # Who looked ahead needs no pause: no look is too short to count.
    off = np.maximum(_off(data, effects, noise), 0.0)
    return parts_of(off, data.sure, np.zeros(len(off), dtype=bool), noise).turned


def _off(data: _Data, effects: Array, noise: Noise) -> Array:
    """The logarithm of each look against its median."""
    median = _expected(data, effects) * np.exp(-(noise.spread**2) / 2)
    off: Array = np.log(np.maximum(data.ms, _LEAST_MS) / median)
    return off


def _summed(data: _Data, effects: Array, noise: Noise, weight: Array) -> EyeSums:
    each = weight / (noise.spread * _expected(data, effects)) ** 2
    scaled = data.columns * each[:, None]
    return EyeSums(scaled.T @ data.columns, scaled.T @ (data.ms - data.usual_ms))


def _refined(data: _Data, effects: Array, weight: Array, noise: Noise) -> Noise:
    off = np.maximum(_off(data, effects, noise), -2 * noise.spread)
    waited = 1 - weight
    spread = (_SEEN * _FIRST.spread**2 + (weight * off**2).sum()) / (_SEEN + weight.sum())
    share = (_SEEN * _FIRST.waits + (waited * (off > 0)).sum()) / (_SEEN + len(off))
    return _FIRST._replace(spread=float(np.sqrt(spread)), waits=float(min(share, 0.3)))


def _tried(own: OwnEyes, data: _Data, weight: Array) -> Verdict:
    """Predict each part of the solves from the others, with the same noise and variances."""
    total, folds = Verdict(), min(_FOLDS, own.solves)
    for number in range(folds) if folds > 1 else ():
        here = data.solve % folds == number
        rest, kept = data.some(~here), weight[~here]
        effects = _summed(rest, own.effects, own.noise, kept).effects(own.variances)[0]
        total = total.plus(_judged(data.some(here), effects, weight[here]))
    return total


def _judged(data: _Data, effects: Array, weight: Array) -> Verdict:
    used = weight > 0.5
    if not used.any():
        return Verdict()
    part = data.some(used)
    return judged(part.ms - part.usual_ms, part.ms - _expected(part, effects), part.solve)
