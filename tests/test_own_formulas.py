"""The statistics of learned hands and eyes computed again, by scalars and loops.

The numbers that stand here a second time (shares, spreads, how firmly they are held) are those of
the modules' docstrings; whoever changes one, changes what is learned of every person.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from math import exp, expm1, lgamma, log, log1p, pi, sqrt
from statistics import NormalDist, fmean, stdev
from typing import TYPE_CHECKING

import numpy as np
import pytest

from livecube.cube.notation import parse_moves
from livecube.edges.automaton_file import load_hands
from livecube.hands.automaton import MOVES, looking_ms
from livecube.hands.executions import Execution, Gaps, Part, cells_of, first_cell, gaps_of
from livecube.hands.features import _mirrored_token
from livecube.hands.kinship import GROUPS, Means, kinship_of
from livecube.hands.noise import (
    Noise,
    Parts,
    looks_refined,
    parts_of,
    refined,
)
from livecube.hands.own_eyes import Look, _Data, _expected, learn_eyes
from livecube.hands.own_hands import Sums, _tempos, learn_hands
from livecube.hands.trust import believed
from livecube.hands.verdict import Verdict, judged, student

if TYPE_CHECKING:
    from collections.abc import Sequence

KIN = kinship_of(load_hands())
SPREADS = {
    "person": 0.3, "hand": 0.1, "face": 0.1, "half": 0.1, "turn": 0.15, "wide": 0.15,
    "wide turn": 0.1, "grip": 0.2, "faces": 0.05, "pair": 0.1, "three": 0.05,
    "rotation": 0.1, "rotations": 0.1,
}  # fmt: skip
USUAL = np.array([SPREADS[group.name] ** 2 for group in GROUPS])


def cell(text: str) -> int:
    """The price of the last turn of a sequence; of a single one, at the beginning."""
    moves = tuple(parse_moves(text))
    own = cells_of(KIN.usual, moves)[-1]
    return own if own >= 0 else first_cell(KIN.usual, moves)


def density(off: float, mean: float, spread: float) -> float:
    return NormalDist(mean, spread).pdf(off)


def test_looks_are_as_usual_until_pauses_show_others() -> None:
    none = np.zeros(0)
    assert looks_refined(none, none) == pytest.approx((0.7, 1.3, 0.6))
    long = np.random.default_rng(1).normal(2.0, 0.45, 900)
    assert looks_refined(long, np.zeros(900)) == pytest.approx((1.0, 2.0, 0.45), abs=0.04)
    # Pauses after which the hands went on at once say only how often that is.
    share, *same = looks_refined(long, np.ones(900))
    assert share < 0.05
    assert same == pytest.approx([1.3, 0.6])
    for spread, believed_spread in ((0.05, 0.3), (3.0, 1.0)):
        unlike = 9.0 + spread * (long - 2.0) / 0.45
        assert looks_refined(unlike, np.zeros(900)).spread == believed_spread


def test_a_gap_is_shared_out_by_bayes_rule_among_four_kinds() -> None:
    noise = Noise(0.3, 0.1, 0.4, 1.0, 0.5)
    cases = [(0.1, 1.0, False), (1.2, 0.9, False), (-0.8, 0.5, True), (3.0, 1.0, True)]
    off, sure, rotated = map(np.array, zip(*cases, strict=True))
    parts = parts_of(off, sure, rotated, noise)
    for number, (x, p, spun) in enumerate(cases):
        waits = 0.4 if spun else 0.1
        turned = (0.99 - waits) * p * density(x, 0.0, 0.3)
        waited = waits * density(x, 1.0, 0.5)
        misread = (0.99 - waits) * (1 - p) * density(x, 0.0, 0.6)
        total = turned + waited + misread + 0.01 / 7
        assert parts.turned[number] == pytest.approx(turned / total)
        assert parts.waited[number] == pytest.approx(waited / total)


def shared(groups: Sequence[int], off: Sequence[float], weight: Sequence[float], f: float) -> float:
    """Variance that the entries of a group share, by all pairs of two of them."""
    over, under = 10 * f, 10.0
    for group in set(groups):
        here = [number for number, own in enumerate(groups) if own == group]
        pairs = sum(weight[i] * weight[j] for i, j in permutations(here, 2))
        if not pairs:
            continue
        both = sum(weight[i] * off[i] * weight[j] * off[j] for i, j in permutations(here, 2))
        count = pairs / (sum(weight[i] for i in here) ** 2 / 4 + 1)
        over, under = over + count * both / pairs, under + count
    return max(over / under, 0.0)


def test_noise_is_that_of_the_gaps_held_as_if_ten_had_been_seen() -> None:
    execution, solve = [0, 0, 0, 1, 2, 2, 4, 4], [0, 0, 0, 0, 1, 1, 2, 2]
    off = [0.3, 0.5, 0.2, -0.4, 1.5, 0.2, -0.3, -0.1]
    apart = [1.2 * x for x in off]
    turned, waited = [0.9, 0.8, 0.9, 1.0, 0.1, 0.7, 0.95, 0.9], [0.05, 0.1, 0, 0, 0.9, 0.2, 0, 0.1]
    rotated = [False, False, True, False, True, False, False, False]
    gaps = gaps_in(execution, solve)
    parts = parts_of_lists(turned, waited)
    own = refined(gaps, np.array(off), np.array(apart), np.array(rotated), parts)
    spread = 10 * 0.28**2 + sum(t * x * y for t, x, y in zip(turned, off, apart, strict=True))
    assert own.spread == pytest.approx(sqrt(spread / (10 + sum(turned))))
    for share, first, spun in ((own.waits, 0.05, False), (own.waits_rotated, 0.5, True)):
        seen = [w for w, own_spun in zip(waited, rotated, strict=True) if own_spun == spun]
        assert share == pytest.approx((10 * first + sum(seen)) / (10 + len(seen)))
    waits = 2 + sum(waited)
    wait = (2 * 1.0 + sum(w * x for w, x in zip(waited, off, strict=True))) / waits
    assert own.wait == pytest.approx(wait)
    wide = 2 * 0.6**2 + sum(w * (x - wait) ** 2 for w, x in zip(waited, off, strict=True))
    assert own.wait_spread == pytest.approx(sqrt(wide / waits))
    means, counted = [], []
    for number in (0, 1, 2, 4):
        here = [i for i, of in enumerate(execution) if of == number]
        weight = sum(turned[i] for i in here)
        means.append(sum(turned[i] * off[i] for i in here) / weight)
        counted.append(float(weight > 1))
    of_solve = shared([0, 0, 1, 2], means, counted, 0.05**2)
    both = shared(execution, off, turned, 0.06**2 + 0.05**2)
    assert own.of_solve == pytest.approx(of_solve)
    assert own.of_execution == pytest.approx(both - of_solve)
    # Executions of a solve that counted: their tempo is shared.
    two = gaps_in([0, 0, 1, 1], [0] * 4)
    tempo = np.array([0.4, 0.4, 0.2, 0.2])
    own = refined(two, tempo, tempo, np.zeros(4, bool), parts_of_lists([1.0] * 4, [0.0] * 4))
    assert own.of_solve == pytest.approx(shared([0, 0], [0.4, 0.2], [1, 1], 0.05**2))


def gaps_in(execution: Sequence[int], solve: Sequence[int]) -> Gaps:
    """Gaps of some executions and solves, all of one cell and of a millisecond."""
    of = len(execution)
    none, some = np.zeros(of, int), np.ones(of)
    return Gaps(none, some, some, np.array(execution, int), np.array(solve, int), none)


def parts_of_lists(turned: list[float], waited: list[float]) -> Parts:
    return Parts(np.array(turned), np.array(waited))


def test_without_gaps_and_with_odd_ones_noise_stays_within_reason() -> None:
    none = gaps_in([], [])
    nothing = np.zeros(0)
    first = refined(none, nothing, nothing, np.zeros(0, bool), parts_of_lists([], []))
    assert first == pytest.approx((0.28, 0.05, 0.5, 1.0, 0.6, 0.06**2, 0.05**2))
    many = gaps_in(range(40), range(40))
    for off, wait, wide in ((np.zeros(40), log(2), 0.689), (np.full(40, 1.0), 1.0, 0.4)):
        own = refined(many, off, off, np.zeros(40, bool), parts_of_lists([0.0] * 40, [1.0] * 40))
        assert own.wait == pytest.approx(wait)  # hands that wait take at least twice as long
        # 40 waits at once, log(2) from their mean: sqrt((2 · 0.36 + 40 · 0.48) / 42). Waits that
        # are all alike would have no spread; the least is 0.4.
        assert own.wait_spread == pytest.approx(wide, abs=0.001)
    wild = np.tile([4.0, -4.0], 20)
    own = refined(many, wild, wild, np.zeros(40, bool), parts_of_lists([0.0] * 40, [1.0] * 40))
    assert own.wait_spread == 1.0
    # Eight in each solve, two in each execution: what differs within is not shared.
    one, two = np.arange(40) // 2, np.arange(40) // 8
    pairs = gaps_in(one.tolist(), two.tolist())
    for within, shared_by in ((wild, 0), (np.tile([4.0, 4.0, -4.0, -4.0], 10), 1)):
        parts = parts_of_lists([1.0] * 40, [0.0] * 40)
        own = refined(pairs, within, within, np.zeros(40, bool), parts)
        assert own.of_solve == (0.0 if shared_by else pytest.approx(0.0, abs=0.002))
        assert (own.of_execution > 5) is bool(shared_by)


@pytest.mark.parametrize(
    ("solves", "student"),
    [(5, 2.776), (6, 2.571), (11, 2.228), (21, 2.086), (121, 1.980)],
)
def test_own_prices_are_kept_by_students_t_test(solves: int, student: float) -> None:
    # Quantiles of 97.5 %, one-sided: M. Abramowitz, I. Stegun, Handbook of Mathematical Functions,
    # table 26.10.
    rng = np.random.default_rng(solves)
    drawn = rng.normal(size=solves)
    drawn = (drawn - fmean(drawn)) / stdev(drawn)
    for factor, keeps in ((1.02, True), (0.96, False)):
        gains = drawn + factor * student / sqrt(solves)
        # Two times in each solve, on either side of the measured time.
        usual = np.repeat(50 + gains / 2, 2) * np.tile([1, -1], solves)
        verdict = judged(usual, np.full(2 * solves, -50.0), np.repeat(7 + np.arange(solves), 2))
        assert (verdict.solves, verdict.predicted) == (solves, 2 * solves)
        assert verdict.usual_ms - verdict.own_ms == pytest.approx(gains.sum())
        assert verdict.keeps is keeps
        half = judged(usual[:2], np.full(2, -50.0), np.zeros(2))
        rest = judged(usual[2:], np.full(2 * solves - 2, -50.0), np.repeat(np.arange(1, solves), 2))
        assert half.plus(rest).squares == pytest.approx(verdict.squares)
        assert half.plus(rest).keeps is keeps
        assert not half.keeps


def test_without_a_gain_nothing_is_kept() -> None:
    assert not Verdict().keeps
    assert not Verdict(5, 20, 1000.0, 1000.0, 0.0).keeps
    # Each solve gains the same: no doubt, unless there are two solves only.
    assert Verdict(3, 20, 1060.0, 1000.0, 1200.0).keeps
    assert not Verdict(2, 20, 1040.0, 1000.0, 800.0).keeps


def test_a_wrong_reading_is_mostly_half_a_turn_of_the_cube() -> None:
    around = str.maketrans("RLFB", "LRBF")
    texts = ["R U' R' F R F'", "y L' U L Fw", "R B' R'", "U R U' R'"]
    sures, tempo = [0.6, 0.3, 1.0, 0.9], 0.2
    rng = np.random.default_rng(1)
    executions = [
        Execution(moves, tuple(np.cumsum(rng.uniform(80, 400, len(moves))).tolist()), sure)
        for moves, sure in zip((tuple(parse_moves(text)) for text in texts), sures, strict=True)
    ]
    gaps = gaps_of(KIN.usual, [executions])
    told = believed(KIN, gaps, tempo)

    def bell(off: float, spread: float) -> float:
        return exp(-0.5 * (off / spread) ** 2) / spread

    for number, (one, text) in enumerate(zip(executions, texts, strict=True)):
        other = tuple(parse_moves(text.translate(around)))
        evidence = 0.0
        for written, turned_round, ms in zip(
            (own for own in cells_of(KIN.usual, one.moves) if own >= 0),
            (own for own in cells_of(KIN.usual, other) if own >= 0),
            gaps.ms[gaps.execution == number],
            strict=True,
        ):
            off, off_round = (
                log(ms / KIN.usual_ms[own]) - tempo for own in (written, turned_round)
            )
            wrong = 0.75 * bell(off_round, 0.4) + 0.25 * bell(off, 0.6)
            evidence += log((bell(off, 0.4) + 0.01) / (wrong + 0.01))
        odds = one.sure / (1 - one.sure) * exp(0.7 * evidence) if one.sure < 1 else 1e12
        assert told[gaps.execution == number] == pytest.approx(odds / (1 + odds))
    assert len(np.unique(told.round(6))) == 4


@pytest.mark.parametrize(
    ("one", "other", "groups"),
    [
        # The right hand turns U, the left U'. At a beginning nothing is gripped wrongly.
        ("U", "U'", {"face": 1, "faces": 1}),
        ("U", "R", {"hand": 1}),
        ("F", "R", {"hand": 1}),
        ("F", "D'", {"hand": 1}),
        ("F'", "L", {"hand": 1}),
        ("F'", "D", {"hand": 1}),
        ("F'", "R", {}),
        ("B", "D2", {}),
        ("B2", "F2", {"half": 1}),
        ("B", "B", {"face": 1, "turn": 1, "faces": 1, "pair": 1}),
        ("U2", "R2", {"hand": 1, "half": 1}),
        ("Rw", "R", {"hand": 1, "face": 1, "turn": 1, "faces": 1}),
        ("Rw", "Rw'", {"hand": 1, "face": 1, "wide": 1, "faces": 1}),
        (
            "Rw",
            "Rw",
            {"hand": 1, "face": 1, "turn": 1, "wide": 1, "wide turn": 1, "faces": 1, "pair": 1},
        ),
        ("R U", "F U", {"hand": 1, "face": 1, "turn": 1}),
        ("L U", "L' U'", {"face": 1, "faces": 1}),
        ("L F", "B U L F", {"face": 1, "turn": 1, "hand": 1, "faces": 1, "pair": 1}),
        ("L U F", "R U F", {"face": 1, "turn": 1, "hand": 1, "faces": 1, "pair": 1}),
        ("L U F", "R L U F", {"face": 1, "turn": 1, "hand": 1, "faces": 1, "pair": 1, "three": 1}),
    ],
)
def test_prices_are_as_alike_as_what_they_share(
    one: str, other: str, groups: dict[str, float]
) -> None:
    grips = [
        log(KIN.usual_ms[cell(text)] / KIN.usual_ms[cell(text.split()[-1])])
        for text in (one, other)
    ]
    expected = sum(share * SPREADS[name] ** 2 for name, share in groups.items())
    expected += 0.3**2 + 0.2**2 * grips[0] * grips[1]
    found = KIN.covariance(np.array([cell(one)]), np.array([cell(other)]), USUAL)
    assert found[0, 0] == pytest.approx(expected)


def test_a_gap_with_a_rotation_is_shared_between_it_and_its_turn() -> None:
    # y costs 320 ms: of "R y U" the turn has its own share of both.
    turn = KIN.usual.seconds_ms[KIN.usual.rotated, [str(move) for move in MOVES].index("U")]
    share, share_x = (turn / (turn + KIN.usual.single_rotation_ms[axis]) for axis in "yx")
    assert KIN.usual_ms[cell("R y U")] == turn + 320
    of_turn = 0.1**2 + 0.1**2 + 0.15**2 + 0.05**2 + 0.1**2  # hand, face, turn, faces, pair
    for other, other_share, of_rotation in (("R x U", share_x, 0.1**2), ("R y U", share, 0.02)):
        found = KIN.covariance(np.array([cell("R y U")]), np.array([cell(other)]), USUAL)
        rotations = (1 - share) * (1 - other_share) * of_rotation
        assert found[0, 0] == pytest.approx(0.3**2 + share * other_share * of_turn + rotations)
    alone = KIN.covariance(np.array([cell("R y U")]), np.array([cell("R U")]), USUAL)
    assert alone[0, 0] == pytest.approx(0.3**2 + share * (0.1**2 + 0.1**2 + 0.15**2))
    assert KIN.rotated[cell("R y U")]
    assert not KIN.rotated[cell("R U")]


MEASURED = Means(
    np.array([cell(text) for text in ("R U", "R U R'", "U R", "R' F", "Rw U", "F y U", "L2 U2")]),
    np.array([0.3, 0.1, -0.2, 0.5, 0.25, 0.9, -0.4]),
    np.array([0.01, 0.02, 0.05, 0.04, 0.1, 0.2, 0.02]),
    0.003,
)


def test_all_prices_follow_from_some_as_in_a_normal_distribution() -> None:
    """The cells are measured one after the other, by the formulas for one number."""
    fit = KIN.fit(MEASURED)
    assert fit.variances == pytest.approx(USUAL)
    others = np.array([cell(text) for text in ("R U'", "B", "L U", "x R")])
    cells = np.concatenate([MEASURED.cell, others])
    size = len(cells) + 1  # the error that all have in common is the last one
    covariance = np.zeros((size, size))
    covariance[:-1, :-1] = KIN.covariance(cells, cells, USUAL)
    covariance[-1, -1] = MEASURED.common
    mean = np.zeros(size)
    for number, (value, variance) in enumerate(zip(MEASURED.value, MEASURED.variance, strict=True)):
        look = np.zeros(size)
        look[[number, -1]] = 1
        gain = covariance @ look / (look @ covariance @ look + variance)
        mean = mean + gain * (value - look @ mean)
        covariance = covariance - np.outer(gain, look @ covariance)
    assert fit.values[cells] == pytest.approx(mean[:-1])
    assert fit.covariance(cells) == pytest.approx(covariance[:-1, :-1])
    both = np.zeros((len(MEASURED.cell), size))
    both[:, : len(MEASURED.cell)] = np.eye(len(MEASURED.cell))
    both[:, -1] = 1
    assert fit.unknown() == pytest.approx(np.diag(both @ covariance @ both.T))


def test_variances_become_the_likeliest_held_by_the_usual_ones() -> None:
    """At the end no variance can be changed so that what was measured gets likelier."""
    held = np.array([40.0 if group.name.startswith("rotation") else 4.0 for group in GROUPS])

    def likelihood(logs: np.ndarray) -> float:
        variances = np.exp(logs)
        matrix = KIN.measured(MEASURED, variances)
        fits = MEASURED.value @ np.linalg.solve(matrix, MEASURED.value)
        prior = held @ (logs + USUAL / variances)
        return -0.5 * float(np.linalg.slogdet(matrix)[1] + fits + prior)

    found = np.log(KIN.fit(MEASURED, None, 60).variances)
    step = 1e-4 * np.eye(len(GROUPS))
    for one in step:
        slope = (likelihood(found + one) - likelihood(found - one)) / 2e-4
        assert slope == pytest.approx(0, abs=2e-3)
    # Each step makes it likelier, and goes on from the variances that it is given.
    told = [KIN.fit(MEASURED, USUAL, steps).variances for steps in range(4)]
    rising = [likelihood(np.log(one)) for one in told]
    assert rising == sorted(set(rising))
    assert KIN.fit(MEASURED, told[1], 2).variances == pytest.approx(told[3])


def test_sums_become_means_of_the_cells_with_evidence() -> None:
    sums = Sums(np.array([2.0, 0.04, 0.06]), np.array([0.5, 1.0, 0.03]), np.zeros(3))
    means = sums.means(Noise(0.3, 0.1, 0.1, 1.0, 0.5, 0.02, 0.03), 4, 2)
    assert means.cell.tolist() == [0, 2]
    assert means.value == pytest.approx([0.25, 0.5])
    assert means.variance == pytest.approx([0.045, 1.5])
    assert means.common == pytest.approx(0.005 + 0.015)
    few = sums.means(Noise(0.3, 0.1, 0.1, 1.0, 0.5, 0.02, 0.03), 0, 0)
    assert few.common == pytest.approx(0.05)
    assert sums.plus(sums, -1).weight.tolist() == [0, 0, 0]


def test_what_is_predicted_without_knowing_the_person_is_the_usual_price_and_wide() -> None:
    nothing = learn_hands(KIN, [])
    cells = np.array([cell("R U"), cell("R U F")])
    prior = KIN.covariance(cells, cells, USUAL)
    assert nothing.spread(cells) == pytest.approx(np.sqrt(np.diag(prior)))
    prices = KIN.usual_ms[cells]
    total = prices.sum()
    share = prices / total
    unknown = sum(share[i] * share[j] * prior[i, j] for i in range(2) for j in range(2))
    noise = expm1(0.28**2) * (share[0] ** 2 + share[1] ** 2)
    variance = log1p(noise + unknown + 0.06**2 + 0.05**2)
    # Student's quantiles of 97.5 %, two degrees of freedom for each solve beyond the first.
    for solves, quantile in ((3, 2.776), (6, 2.228), (11, 2.086), (61, 1.980)):
        told = replace(nothing, solves=solves).predicted(tuple(parse_moves("R U F")))
        assert told is not None
        assert told.expected == pytest.approx(total)
        middle, out = log(total) - variance / 2, quantile * sqrt(variance)
        assert middle - log(told.low) == pytest.approx(out, rel=5e-4)
        assert log(told.high) - middle == pytest.approx(out, rel=5e-4)


def test_prices_add_up_to_what_was_measured() -> None:
    moves = tuple(parse_moves("R U R' F R F'"))
    at = [0.0, 120.0, 300.0, 480.0, 560.0, 830.0]
    own = learn_hands(
        KIN, [[Execution(moves, tuple(at))], [Execution(moves, (0, 100, 210, 380, 480, 650))]]
    )
    assert own.executions == own.solves == 2
    assert (own.verdict.solves, own.verdict.predicted) == (2, 2)  # each from the other
    alone = learn_hands(KIN, [[Execution(moves, tuple(at))] * 2])
    assert (alone.solves, alone.verdict) == (1, Verdict())
    seen = own.fit.means.cell
    assert own.sums.weight[seen] @ own.price_ms[seen] == pytest.approx(own.sums.ms[seen].sum())


def test_two_turns_told_at_once_are_a_millisecond_apart() -> None:
    moves = tuple(parse_moves("R U R'"))
    gaps = gaps_of(
        KIN.usual, [[], [Execution(moves, (5.0, 5.0, 9.0), 0.5)], [Execution(moves, (1, 2.5, 2))]]
    )
    assert gaps.ms.tolist() == [1.0, 4.0, 1.5, 1.0]
    assert gaps.sure.tolist() == [0.5, 0.5, 1.0, 1.0]
    assert gaps.execution.tolist() == [0, 0, 1, 1]
    assert gaps.solve.tolist() == [1, 1, 2, 2]
    assert gaps.chosen(gaps.solve == 2).ms.tolist() == [1.5, 1.0]


def test_each_part_of_a_solve_has_a_tempo_of_its_own() -> None:
    moves = tuple(parse_moves("R U R'"))
    solve = [
        Execution(moves, (0.0, 100.0, 300.0)),
        Execution(moves, (0.0, 80.0, 240.0), part=Part.LAST_LAYER),
        Execution(moves, (0.0, 200.0, 600.0), part=Part.CROSS),
    ]
    gaps = gaps_of(KIN.usual, [solve])
    assert gaps.part.tolist() == [0, 0, 2, 2, 1, 1]
    even = gaps.in_tempo(np.log([1.0, 2.0, 0.8]))
    assert even.ms == pytest.approx([100, 200] * 3)
    own = learn_hands(KIN, [solve] * 400)
    assert own.tempos[Part.PAIRS] == 0.0
    assert own.tempos[Part.CROSS] == pytest.approx(log(2.0), rel=0.1)
    assert own.tempos[Part.LAST_LAYER] == pytest.approx(log(0.8), rel=0.1)
    assert own.verdict.predicted == 400  # pairs alone are predicted


def test_a_difference_of_tempos_counts_as_much_as_its_two_means_are_sure() -> None:
    """Of n and m gaps it is as sure as n · m / (n + m); twenty gaps say that there is none."""
    moves = [tuple(parse_moves(text)) for text in ("R U", "U R")]
    solves = [
        [Execution(moves[0], (0.0, 100.0))] * 2,
        [Execution(moves[0], (0.0, 200.0), part=Part.CROSS)] * 6,
        [Execution(moves[1], (0.0, 100.0))] * 8,
        [Execution(moves[1], (0.0, 50.0), part=Part.CROSS)] * 8,
    ]
    gaps = gaps_of(KIN.usual, solves)
    ratio = np.log(gaps.ms / 100)
    tempos = _tempos(gaps, ratio, np.ones(len(ratio)))
    pairs = 2 * 6 / 8, 8 * 8 / 16
    told = (pairs[0] * log(2.0) + pairs[1] * log(0.5)) / (sum(pairs) + 20)
    assert tempos == pytest.approx([0.0, told, 0.0])


def test_eyes_that_were_never_seen_look_as_the_usual_ones() -> None:
    usual = KIN.usual.looking
    nothing = learn_eyes(usual, [])
    assert (nothing.solves, nothing.known, nothing.new_share) == (0, 0.0, 0.0)
    assert not nothing.effects.any()
    assert nothing.looking.table == usual.table
    for technique, corner, edge, alone in (
        ("plain", (3, 1), (7, 0), False), ("keyhole-corner", (0, 0), None, True),
        ("keyhole-corner", (3, 1), None, True), ("x-cross", (14, 0), (23, 1), False),
        ("shortest", None, (12, 1), False),
    ):  # fmt: skip
        expected = looking_ms(
            usual, technique, [corner] if corner else (), [edge] if edge else (), corner_alone=alone
        )
        look = Look(0.0, technique, corner, edge, alone)
        assert nothing.expected_ms([look]) == pytest.approx(float(expected))
    # A tempo is unsure by 35 %, a term by 20 % more.
    assert nothing.spread("edge") == pytest.approx(sqrt(0.35**2 + 0.2**2))
    assert nothing.spread("new") == pytest.approx(sqrt(0.35**2 + 0.4**2))
    assert nothing.after([]).solves == 1
    one = nothing.after([Look(400.0, "plain", (3, 1), (7, 0))])
    assert (one.solves, one.verdict.solves, one.verdict.predicted) == (1, 1, 1)
    assert not one.verdict.keeps
    looks = [Look(400.0, "plain", (3, 1), (7, 0)), Look(500.0, "plain", (3, 0), (7, 0))]
    assert learn_eyes(usual, [looks]).verdict == Verdict()
    assert learn_eyes(usual, [looks[:1], looks[1:]]).verdict.solves == 2


PUBLISHED = {
    1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365, 8: 2.306, 9: 2.262,
    10: 2.228, 12: 2.179, 15: 2.131, 20: 2.086, 25: 2.060, 30: 2.042, 40: 2.021, 60: 2.000,
    120: 1.980,
}  # fmt: skip
"""Abramowitz and Stegun, Handbook of Mathematical Functions (1964), table 26.10, at 95 % on both
sides together."""


def test_students_quantile_is_the_published_one_at_all_degrees_of_freedom() -> None:
    for free, published in PUBLISHED.items():
        assert student(free) == pytest.approx(published, abs=0.0006), free
    for free in (*range(1, 8), 50, 400, 999, 1000, 1001, 1002, 20_000):
        # The density, summed by Simpson's rule up to the quantile, is 0.475.
        x = np.linspace(0, student(free), 20_001)
        scale = exp(lgamma((free + 1) / 2) - lgamma(free / 2)) / sqrt(free * pi)
        density = scale * (1 + x**2 / free) ** (-(free + 1) / 2)
        ends, odd, even = density[[0, -1]].sum(), density[1:-1:2].sum(), density[2:-1:2].sum()
        assert (ends + 4 * odd + 2 * even) * (x[1] - x[0]) / 3 == pytest.approx(0.475, abs=1e-9)
    rising = [student(free) for free in range(200, 0, -1)]
    assert rising == sorted(rising)


@pytest.mark.parametrize(("solves", "needed"), [(3, 4.303), (4, 3.182), (5, 2.776)])
def test_few_solves_keep_prices_only_if_students_quantile_is_reached(
    solves: int, needed: float
) -> None:
    def keeps(t: float) -> bool:
        # Gains with mean 1 and a standard error of 1 / t.
        off = np.linspace(-1, 1, solves)
        off *= sqrt(solves * (solves - 1)) / t / sqrt(float((off**2).sum()))
        gain = 1 + off
        return judged(100 + gain, np.full(solves, 100.0), np.arange(solves)).keeps

    assert keeps(1.01 * needed)
    assert not keeps(0.99 * needed)


def test_a_mirrored_move_goes_the_other_way_with_the_other_hand() -> None:
    """Written as in a table of prices: a star stands for any amount."""
    for token, mirrored in (
        ("R", "L'"), ("R'", "L"), ("R2", "L2"), ("Rw", "Lw'"), ("Rw'", "Lw"), ("Rw2", "Lw2"),
        ("U", "U'"), ("Fw'", "Fw"), ("B2", "B2"), ("R*", "L*"), ("Lw*", "Rw*"),
        ("start", "start"), ("rotated", "rotated"),
    ):  # fmt: skip
        assert (_mirrored_token(token), _mirrored_token(mirrored)) == (mirrored, token)


def test_a_look_is_never_expected_to_take_less_than_a_fifth_of_the_usual() -> None:
    columns = np.array([[100.0, 100.0], [200.0, 0.0]])
    data = _Data(np.ones(2), np.ones(2), columns, np.zeros(2, dtype=int))
    assert data.usual_ms.tolist() == [100.0, 200.0]
    assert _expected(data, np.array([-3.0, 0.0])).tolist() == pytest.approx([20.0, 40.0])
    assert _expected(data, np.array([0.0, -0.5])).tolist() == pytest.approx([50.0, 200.0])
