"""Fits the usual prices to the usual last-slot cases, and shows how far they can be trusted.

``python tests/checks/fit_hands.py judge`` judges the prices in ``usual.toml``; ``… fit`` fits them
and prints the numbers; ``… splits`` fits on a part of the cases and judges the others, mirror pairs
kept together.

For every position the ways within ``_NEAR_MS`` of the fastest are kept. A price is a number that
some cells of the table share, so the cost of a way is linear in the prices. The fit looks for
prices with which some way in use is cheaper by ``_MARGIN_MS`` than every other. With these prices
the exact search looks for further ways, and the fit is repeated with them.
"""

from __future__ import annotations

import argparse
import copy
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import beside  # noqa: F401 - before helpers are imported
import numpy as np
import numpy.typing as npt
from referee_seconds import Referee, learn_distances
from usual_cases import Case, is_odd, load_cases

from livecube.edges.automaton_file import usual_hands_text
from livecube.hands.automaton import NEVER, make_automaton
from livecube.hands.features import parse_features

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from referee_seconds import Way

Floats = npt.NDArray[np.float64]

_EACH: Final = 8
"""Questions a case: four turns of U, two ways to hold it."""
_SLOT: Final = ("green-red",)
_FRONTS: Final[tuple[Any, ...]] = ((("U", "F"),), None)
"""Judged as held with the slot at the front right, and from the best of the four fronts."""
_NEAR_MS: Final = 60
_MARGIN_MS: Final = 40.0
_ROUNDS: Final = 4
_STEPS_MS: Final = (40, 20, 10, 5)
_LOYAL: Final = 0.01
"""What it costs to leave the first guess: this times the square of each 10 ms, a position."""
_PERTURBED: Final = 0.10
_FEW: Final = 5
"""Up to this many cases, the referee's table of distances is not worth making."""


@dataclass(frozen=True)
class Price:
    """A number of the file that is fitted."""

    name: str
    places: tuple[tuple[Any, ...], ...]
    """Places in the table to which it is added."""
    guess_ms: int


def _turns(faces: str, entries: Iterable[int]) -> tuple[tuple[Any, ...], ...]:
    return tuple(("turn", face, n) for face in faces for n in entries)


def _line(text: str) -> tuple[tuple[Any, ...], ...]:
    return (("behind", text),)


# First guesses in round numbers, before any fit.
PRICES: Final = (
    Price("half U", _turns("U", [1]), 60),
    Price("F", _turns("F", [0, 1, 2]), 50),
    Price("half R, L", _turns("RL", [1]), 55),
    Price("wide R, L", (("wide", "R"), ("wide", "L")), 125),
    Price("R* F*", _line("R* F*"), 100),
    Price("R' F'", _line("R' F'"), 100),
    Price("R' F", _line("R' F"), 0),
    Price("F* R*", _line("F* R*"), 100),
    Price("F R'", _line("F R'"), 0),
    Price("R* L*", _line("R* L*"), 60),
    Price("R U2", _line("R U2"), 0),
    Price("R' U* R", _line("R' U* R"), 0),
    Price("R U* R", _line("R U* R"), 50),
    Price("R' U* R'", _line("R' U* R'"), 50),
    Price("R* U* L*", _line("R* U* L*"), 60),
    Price("R* U* F*", _line("R* U* F*"), 60),
    Price("F* U* R*", _line("F* U* R*"), 60),
)


def base_table() -> dict[str, Any]:
    """The file's table with every fitted price at its least."""
    table = tomllib.loads(usual_hands_text())
    table["turn"] |= {"U": [0.1] * 3, "R": [0.11] * 3, "L": [0.12] * 3, "F": [0.11, 0.19, 0.11]}
    table["wide"] |= {"R": 0.0, "L": 0.0}
    table["hands"]["behind"] = [
        {"moves": p.places[0][1], "extra": 0.0} for p in PRICES if p.places[0][0] == "behind"
    ]
    return table


def with_prices(values: Sequence[float]) -> dict[str, Any]:
    """The table with these prices (ms)."""
    table = copy.deepcopy(base_table())
    for price, value in zip(PRICES, values, strict=True):
        for place in price.places:
            if place[0] == "behind":
                line = next(n for n in table["hands"]["behind"] if n["moves"] == place[1])
                line["extra"] += value / 1000
            elif len(place) == 3:
                table["turn"][place[1]][place[2]] += value / 1000
            else:
                table["wide"][place[1]] += value / 1000
    return table


def printed(table: dict[str, Any]) -> dict[str, Any]:
    """The output of ``livecube hands --table --json`` for it."""
    return make_automaton(parse_features(table, "fit"), "fit").to_json()


def _milliseconds(table: dict[str, Any]) -> Floats:
    seconds = make_automaton(parse_features(table, "fit"), "fit").seconds_ms.astype(float)
    return np.where(seconds >= NEVER, 0.0, seconds).ravel()


class Pool:
    """Ways for many positions, and their costs by any prices."""

    def __init__(self, cases: Sequence[Case]) -> None:
        self.cases = cases
        zero = [0.0] * len(PRICES)
        self._base = _milliseconds(with_prices(zero))
        self._each = np.array(
            [
                _milliseconds(with_prices([100.0 * (i == n) for i in range(len(PRICES))]))
                - self._base
                for n in range(len(PRICES))
            ]
        ) / 100  # fmt: skip
        self._known: set[tuple[int, str]] = set()
        self._cells: list[list[int]] = []
        self._position: list[int] = []
        self._good: list[bool] = []
        self._more: list[int] = []

    def add(self, values: Sequence[float]) -> None:
        """Look for fast ways by these prices."""
        referee = Referee(printed(with_prices(values)))
        for number, (case, ways) in enumerate(ways_of(referee, self.cases, _NEAR_MS)):
            for way in ways:
                if (number, way.moves) not in self._known:
                    self._known.add((number, way.moves))
                    cells, more = _cells(referee, way)
                    self._cells.append([*cells, *[-1] * (24 - len(cells))])
                    self._more.append(more)
                    self._position.append(number)
                    self._good.append(case.uses(way))

    def fitted(self, start: Sequence[float], of: Sequence[Case] | None = None) -> list[float]:
        """Prices by which ways in use are the fastest, as far as possible; a descent.

        With ``of`` nothing is learned from the other cases.
        """
        wanted = {n for n, case in enumerate(self.cases) if of is None or case in of}
        rows = [n for n, at in enumerate(self._position) if at // _EACH in wanted]
        cells = np.array(self._cells)[rows]
        base = np.append(self._base, 0.0)[cells].sum(axis=1) + np.array(self._more)[rows]
        counts = np.array([np.append(each, 0.0)[cells].sum(axis=1) for each in self._each])
        position, good = np.array(self._position)[rows], np.array(self._good)[rows]
        guess = np.array([price.guess_ms for price in PRICES], dtype=float)
        many = len(self.cases) * _EACH

        def loss(values: Floats) -> float:
            ms = base + values @ counts
            best, other = np.full(many, 4000.0), np.full(many, 4000.0)
            np.minimum.at(best, position[good], ms[good])
            np.minimum.at(other, position[~good], ms[~good])
            late = np.clip(best - other + _MARGIN_MS, 0, 3 * _MARGIN_MS) / _MARGIN_MS
            late[best == other] = 0.0  # positions that are not learned from
            loyal = _LOYAL * len(wanted) / 41 * (((values - guess) / 10) ** 2).sum()
            return float(late.sum() + loyal)

        values, least = np.array(start, dtype=float), loss(np.array(start, dtype=float))
        for step in _STEPS_MS:
            improved = True
            while improved:
                improved = False
                for n in range(len(values)):
                    for change in (step, -step):
                        trial = values.copy()
                        trial[n] = max(0.0, trial[n] + change)
                        if (now := loss(trial)) < least - 1e-9:
                            values, least, improved = trial, now, True
        return [float(value) for value in values]


def _cells(referee: Referee, way: Way) -> tuple[list[int], int]:
    """Cells of the table that a way uses, and the cost of its rotations."""
    hands = referee.hands
    (state, rotated), cells, ms = hands.states, list[int](), 0
    for name in way.moves.split():
        if name in hands.table["rotations"]:
            state = rotated
        else:
            move = hands.table["moves"].index(name)
            cells.append(36 * state + move)
            ms += int(hands.price[state, move])
            state = int(hands.next[state, move])
    return cells, way.ms - ms


def ways_of(referee: Referee, cases: Sequence[Case], near_ms: int, turns: int = 4) -> Any:
    """(case, ways) for each case, turn of U and way to hold it."""
    for case in cases:
        for view in case.positions()[:turns]:
            for fronts in _FRONTS:
                yield case, referee.fastest(view, "plain", _SLOT, fronts, near_ms)


def judged(
    table: dict[str, Any], cases: Sequence[Case], turns: int = 4, *, unused: bool = False
) -> list[tuple[int, int, int]]:
    """For both ways to hold it: cases in use, positions in use (of four each), odd ones.

    ``unused``: also print the fastest ways that are not in use.
    """
    counts = [[0, 0, 0] for _ in _FRONTS]
    referee = Referee(printed(table))
    for number, (case, ways) in enumerate(ways_of(referee, cases, 0, turns)):
        row, first = counts[number % 2], min(ways, key=lambda way: (way.ms, way.moves))
        used = case.uses(first)
        row[0] += used and number // 2 % turns == 0
        row[1] += used
        row[2] += not used and is_odd(first)
        if unused and not used:
            print("   ", case.place, number // 2 % turns, first.ms, first.moves, *first.start)
    return [(a, b, c) for a, b, c in counts]


def _fit(cases: Sequence[Case], say: bool) -> list[float]:
    pool = Pool(cases)
    values = [float(price.guess_ms) for price in PRICES]
    for _ in range(_ROUNDS):
        pool.add(values)
        values = pool.fitted(values)
        if say:
            print({p.name: v for p, v in zip(PRICES, values, strict=True)}, flush=True)
    return values


def _report(name: str, rows: Sequence[Sequence[int]], many: int, turns: int = 4) -> None:
    words = [
        f"{a} of {many}" + f" ({b} of {4 * many} after turns of U)" * (turns == 4) + f", {c} odd"
        for a, b, c in rows
    ]
    print(f"{name}: slot held front right {words[0]}; best front {words[1]}", flush=True)


def _perturbed(table: dict[str, Any], random: np.random.Generator) -> dict[str, Any]:
    """Every price of the hands moved by up to a tenth."""

    def moved(value: Any) -> Any:
        if isinstance(value, bool | str):
            return value
        if isinstance(value, list):
            return [moved(each) for each in value]
        if isinstance(value, dict):
            return {key: moved(each) for key, each in value.items()}
        return value * (1 + random.uniform(-_PERTURBED, _PERTURBED))

    return {key: value if key == "eyes" else moved(value) for key, value in table.items()}


def _splits(cases: Sequence[Case], folds: int = 3) -> None:
    """Fit on two thirds, judge the rest; each case is left out once in each of three splits."""
    pairs = sorted({_pair(case) for case in cases})
    guesses = [float(price.guess_ms) for price in PRICES]
    pool = Pool(cases)
    pool.add(guesses)
    pool.add(pool.fitted(guesses))  # adds ways only, without marking any
    sums = np.zeros(2)
    for split in range(3):
        random = np.random.default_rng(split)
        fold = dict(zip(pairs, random.permutation(len(pairs)) % folds, strict=True))
        total = np.zeros((2, 3), dtype=int)
        for left in range(folds):
            out = [case for case in cases if fold[_pair(case)] == left]
            values = pool.fitted(guesses, [case for case in cases if case not in out])
            total += np.array(judged(with_prices(values), out, turns=1))
        _report(f"left out, split {split}", total.tolist(), len(cases), turns=1)
        sums += total[:, 0] / 3
    print(f"mean of three splits: {sums[0]:.1f}; best front {sums[1]:.1f}")


def _pair(case: Case) -> tuple[tuple[int, int], ...]:
    return tuple(sorted((case.place, case.mirror)))


def main() -> None:
    """Judge, fit, or fit on a part."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("act", choices=("judge", "fit", "splits"))
    parser.add_argument("--cases", type=int, help="only this many cases")
    parser.add_argument(
        "--draws", type=int, default=12, help="number of tables with random changes of prices"
    )
    parser.add_argument("--unused", action="store_true", help="print fastest ways not in use, too")
    asked = parser.parse_args()
    cases = load_cases()[: asked.cases]
    if len(cases) > _FEW:
        learn_distances(free=False, folder=Path(tempfile.gettempdir()))
    if asked.act == "judge":
        table = tomllib.loads(usual_hands_text())
        _report("usual.toml", judged(table, cases, unused=asked.unused), len(cases))
        random = np.random.default_rng(1)
        for draw in range(asked.draws):
            rows = judged(_perturbed(table, random), cases, turns=1)
            _report(f"moved, draw {draw}", rows, len(cases), turns=1)
    elif asked.act == "fit":
        values = [float(round(v)) for v in _fit(cases, say=True)]
        guesses = [float(price.guess_ms) for price in PRICES]
        _report("before", judged(with_prices(guesses), cases), len(cases))
        _report("fitted", judged(with_prices(values), cases), len(cases))
    else:
        _splits(cases)


if __name__ == "__main__":
    main()
