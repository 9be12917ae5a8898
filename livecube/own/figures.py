"""What there is to say about a person's hands and eyes. Pure.

Each figure says how often it was measured. One that was never measured follows from what is alike.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import PIECES
from livecube.hands.automaton import MOVES, NEVER
from livecube.hands.features import EYES
from livecube.own.taking import looks_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.hands.verdict import Verdict
    from livecube.own.learning import OwnLearned
    from livecube.own.taking import Case, Taken

__all__ = ["CaseTime", "Measured", "OwnFigures", "case_name", "figures_of"]

_LEAST: Final = 5.0
"""A pair of moves, or a case, is named from so many times on."""
_DEAREST: Final = 8
_HELD: Final = 6.0
"""A case's time is drawn to what the table says as if it had been seen so often more."""
_LONGEST: Final = 20
_RIGHT: Final = ("R", "R2", "R'")
_LEFT: Final = ("L'", "L2", "L")


@dataclass(frozen=True, slots=True)
class Measured:
    """The price of a move, of moves in a row, or of a term of looking."""

    name: str
    ms: float
    usual_ms: float
    times: int
    """How often it was measured; 0: its price follows from others."""


@dataclass(frozen=True, slots=True)
class CaseTime:
    """How long the person looks before a case."""

    name: str
    ms: float
    times: int


@dataclass(frozen=True, slots=True)
class OwnFigures:
    """A person's hands and eyes in figures."""

    solves: int
    moves_verdict: Verdict
    looks_verdict: Verdict
    tempo: float
    """Seconds of all turns against the usual prices, as a share."""
    left: float | None
    """By which share the left hand's turns are slower than the right hand's, against the usual
    prices; None: one of them was not measured."""
    moves: tuple[Measured, ...]
    """Each face turn, over all that came before it, as often as they did."""
    dearest: tuple[Measured, ...]
    """Moves in a row that cost most more than the usual prices in the person's tempo."""
    looks: tuple[Measured, ...]
    cases: tuple[CaseTime, ...]
    """Those that take longest to see, the longest first."""

    @property
    def sides(self) -> tuple[tuple[Measured, Measured], ...]:
        """The turns of L, each with its mirror image, which the right hand makes."""
        by_name = {one.name: one for one in self.moves}
        return tuple(
            (by_name[left], by_name[right]) for left, right in zip(_LEFT, _RIGHT, strict=True)
        )


def figures_of(own: OwnLearned, solves: Sequence[Sequence[Taken]]) -> OwnFigures:
    """The figures of a person, from what was learned and the solves it was learned from."""
    hands, usual = own.hands, own.hands.kin.usual
    size = usual.seconds_ms.size
    weight = hands.sums.weight[:size].reshape(usual.seconds_ms.shape)
    mine = hands.price_ms[:size].reshape(weight.shape)
    theirs = usual.seconds_ms.astype(float)
    tempo = float((weight * mine).sum() / (weight * theirs).sum()) if weight.any() else 1.0
    names = [str(move) for move in MOVES]
    moves = []
    for number, name in enumerate(names[:18]):
        share = weight[:, number]
        if share.sum() < 0.5:
            share = (np.arange(len(share)) == usual.start).astype(float)
        share = share / share.sum()
        columns = (np.where(p[:, number] < NEVER, p[:, number], 0.0) for p in (mine, theirs))
        price, plain = (float(share @ column) for column in columns)
        moves.append(Measured(name, price, plain, round(float(weight[:, number].sum()))))
    often = np.argwhere(weight >= _LEAST)
    rows = [
        Measured(
            f"{usual.state_names[state]} {names[move]}",
            float(mine[state, move]),
            float(theirs[state, move]),
            round(float(weight[state, move])),
        )
        for state, move in often.tolist()
        if state not in (usual.start, usual.rotated)
    ]
    rows.sort(key=lambda one: tempo * one.usual_ms - one.ms)
    dearest = tuple(one for one in rows[:_DEAREST] if one.ms > tempo * one.usual_ms)
    by_name = {one.name: one for one in moves}
    sides = [_against([by_name[name] for name in side]) for side in (_LEFT, _RIGHT)]
    left = None if None in sides else float(np.log(sides[0] / sides[1]))  # type: ignore[operator]
    return OwnFigures(
        own.solves,
        hands.verdict,
        own.eyes.verdict,
        tempo,
        left,
        tuple(moves),
        dearest,
        _looks(own),
        _cases(own, solves),
    )


def _against(those: Sequence[Measured]) -> float | None:
    times = sum(one.times for one in those)
    if times < _LEAST:
        return None
    mine = sum(one.times * one.ms for one in those)
    return mine / sum(one.times * one.usual_ms for one in those)


def _looks(own: OwnLearned) -> tuple[Measured, ...]:
    eyes = own.eyes
    table, theirs = ({**one.table, **one.table["techniques"]} for one in (eyes.looking, eyes.usual))
    seen = np.diag(eyes.sums.square)[2:] > 0
    names = [name for name in (*EYES, *eyes.usual.technique_ms) if theirs[name] > 0]
    known = dict(zip(_terms(), seen.tolist(), strict=True))
    looks = eyes.verdict.predicted
    return tuple(
        Measured(
            name.replace("_", " "),
            1000 * table[name],
            1000 * theirs[name],
            looks if known[name] else 0,
        )
        for name in names
    )


def _terms() -> tuple[str, ...]:
    from livecube.hands.own_eyes import EFFECTS

    return EFFECTS[2:]


def _cases(own: OwnLearned, solves: Sequence[Sequence[Taken]]) -> tuple[CaseTime, ...]:
    """Mean looks of each case, hesitations bounded, drawn to what the table says."""
    took: dict[Case, list[float]] = defaultdict(list)
    said: dict[Case, list[float]] = defaultdict(list)
    met: Counter[Case] = Counter()
    for solve in solves:
        seen = [pair for pair in solve if pair.seen is not None]
        looks = [
            (pair, look)
            for pair in seen
            for look in looks_of([pair], own.hands.kin.usual, own.hands.price_ms, met)
        ]
        if not looks:
            continue
        expected = own.eyes.expected_ms([look for _, look in looks])
        for (pair, look), ms in zip(looks, expected.tolist(), strict=True):
            assert pair.seen is not None
            took[pair.seen.case].append(min(max(look.ms, 0.0), 4 * ms))
            said[pair.seen.case].append(ms)
    found = [
        CaseTime(
            case_name(case),
            (sum(its) + _HELD * float(np.mean(said[case]))) / (len(its) + _HELD),
            len(its),
        )
        for case, its in took.items()
        if len(its) >= _LEAST
    ]
    return tuple(sorted(found, key=lambda one: -one.ms)[:_LONGEST])


def case_name(case: Case) -> str:
    """A case in words: where the two pieces are, seen from their slot at the front right."""
    corner, edge = case
    place, side = PIECES[corner // 3], PIECES[8 + edge // 2]
    turned = ("up", "turned clockwise", "turned counter-clockwise")[corner % 3]
    if place[0] == "D":
        turned = ("down", "turned clockwise", "turned counter-clockwise")[corner % 3]
    flipped = " flipped" if edge % 2 else ""
    return f"corner at {place} {turned}, edge at {side}{flipped}"
