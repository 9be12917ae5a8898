"""What cost time in a solve, in its words: findings of reviews that are made by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from livecube.cube.notation import parse_moves
from livecube.review.findings import find_costs
from livecube.stages.progress import SURE

if TYPE_CHECKING:
    from collections.abc import Sequence

HANDS: Any = SimpleNamespace(regrips_ms=lambda moves: [150 for move in moves if move == "wrong"])


def stage(name: str = "pair", pause: float = 0.0, **told: Any) -> Any:
    """A stage of a solve; a pair is one of the slot that its name tells."""
    slots = ("green-red",) if name == "pair" else tuple(told.get("slots", ()))
    split = SimpleNamespace(
        stage=name, slots=slots, pause=pause, shared=told.get("shared", False),
        gap=told.get("gap", False),
    )  # fmt: skip
    moves = [SimpleNamespace(move=move) for move in told.get("moves", ())]
    return SimpleNamespace(
        split=split, against_plan=told.get("against"), spare=told.get("spare"),
        predicted_s=told.get("predicted_s"), turned_s=told.get("turned_s"),
        written=SimpleNamespace(confidence=told.get("sure", 0.0), moves=moves, split=split),
    )  # fmt: skip


def row(title: str, moves: str, slots: Sequence[str] = ("green-red",)) -> Any:
    return SimpleNamespace(
        title=title, moves=parse_moves(moves), holding="white up, green front", slots=slots
    )


def found(stages: Sequence[Any], openings: Sequence[Any] = ()) -> list[tuple[float, str, str]]:
    review: Any = SimpleNamespace(stages=stages, openings=openings)
    return [(round(one.cost_s, 6), one.kind, one.sentence) for one in find_costs(review, HANDS)]


def test_a_pause_stands_out_from_at_least_two_others() -> None:
    others = [
        stage("cross", 9.0), stage("auf", 9.0), stage(pause=9.0, shared=True),
        stage(pause=9.0, gap=True),
    ]  # fmt: skip
    assert found([*others, stage(pause=0.2), stage("orient", 1.0)]) == []
    told = [
        (0.7, "measured", "The pause before the orientation was 1.00 s, against 0.30 s before the "
         "other stages."),
    ]  # fmt: skip
    assert found([*others, stage(pause=0.2), stage(pause=0.4), stage("orient", 1.0)]) == told
    for name, slots, words in (
        ("permute", (), "the permutation"), ("pair", (), "pair green-red"), ("other", (), "other"),
        ("other", ("a", "b"), "pair a and b"),
    ):  # fmt: skip
        ((_, _, sentence),) = found(
            [stage(pause=0.2), stage(pause=0.2), stage(name, 0.5, slots=slots)]
        )
        assert sentence.startswith(f"The pause before {words} was 0.50 s")


def test_a_tenth_of_a_second_is_notable_and_the_costliest_comes_first() -> None:
    pauses = [0.0, 0.0, 0.0, 0.0, 0.1, 0.099996, 0.3, 0.0999996]
    assert [cost for cost, _, _ in found([stage(pause=one) for one in pauses])] == [0.3, 0.1, 0.1]


def against(own: Any, plan: Any, slow_s: float, order_s: float) -> Any:
    return SimpleNamespace(own=own, plan=plan, slow_s=slow_s, order_s=order_s)


def test_ways_and_orders_that_were_open_are_told_with_their_moves() -> None:
    plain = SimpleNamespace(steps=[row("Plain", "R U R'"), row("Edge", "F", ("a",))])
    other = SimpleNamespace(steps=[row("X-cross", "L' U' L", ("a", "b")), row("Plain", "U")])
    assert found([stage(against=against(plain, plain, 0.5, 0.0))]) == [
        (0.5, "predicted", "Pair green-red: the right pair, the slow way; plain (R U R', white up, "
         "green front) would have saved about 0.50 s."),
    ]  # fmt: skip
    assert found([stage("cross", against=against(plain, other, 0.2, 0.4))]) == [
        (0.4, "predicted", "Before cross: a and b first, by X-cross (L' U' L, white up, green "
         "front), would have saved about 0.40 s over all pairs."),
        (0.2, "predicted", "Cross: the slow way; plain (R U R', white up, green front) would have "
         "saved about 0.20 s."),
    ]  # fmt: skip


def test_only_the_best_opening_is_told() -> None:
    openings = [
        SimpleNamespace(row=row("X-cross", "R U", ()), saved_s=0.4),
        SimpleNamespace(row=row("Pseudo X-cross", "F D", ("a", "b")), saved_s=0.7),
        SimpleNamespace(row=row("Plain", "F"), saved_s=0.5),
    ]
    assert found([], openings) == [
        (0.7, "predicted", "Inspection offered: pseudo X-cross into a and b (F D, white up, green "
         "front), about 0.70 s less than what was done."),
    ]  # fmt: skip
    assert found([], openings[:1]) == [
        (0.4, "predicted", "Inspection offered: X-cross (R U, white up, green front), about 0.40 s "
         "less than what was done."),
    ]  # fmt: skip


def spare(times: int, cost_s: float) -> Any:
    return SimpleNamespace(rotations=times, cost_s=cost_s)


def test_rotations_are_added_up_and_as_sure_as_the_least_sure_of_them() -> None:
    one = stage(spare=spare(1, 0.3), sure=0.999)
    end = "where a way into the same slot needs no rotation and is no slower: about"
    assert found([one, stage(sure=0.1)]) == [
        (0.3, "predicted",
         f"The cube was rotated once {end} 0.30 s; the holding is at least 99 % certain."),
    ]  # fmt: skip
    assert found([one, stage(spare=spare(2, 0.2), sure=0.85)]) == [
        (0.5, "predicted",
         f"The cube was rotated 3 times {end} 0.50 s; the holding is at least 85 % certain."),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("plan", "predicted_s", "turned_s", "cost_s"),
    [
        (None, 2.0, 1.0, 0.3), (0.0999, 2.0, 1.9, 0.3), (0.1, 2.0, 1.9, 0.1), (0.1, 2.0, 1.0, 0.3),
        (0.1, 2.0, 2.5, 0.0), (0.1, None, 1.0, 0.0), (0.1, 0.2, None, 0.2), (0.1, None, None, 0.0),
    ],
)  # fmt: skip
def test_what_a_slow_way_counts_is_not_counted_of_rotations_again(
    plan: float | None, predicted_s: float | None, turned_s: float | None, cost_s: float
) -> None:
    own = SimpleNamespace(steps=[row("Plain", "R U R'")])
    slow = None if plan is None else against(own, own, plan, 0.0)
    one = stage(spare=spare(1, 0.3), against=slow, predicted_s=predicted_s, turned_s=turned_s)
    two = [one, stage(spare=spare(1, 0.5))]
    costs = [cost for cost, _, sentence in found(two) if "rotated" in sentence]
    assert costs == [round(cost_s + 0.5, 6)]


def test_regrips_in_cross_and_pairs_are_added_up_where_the_holding_is_sure() -> None:
    wrong = ["right", "wrong"]
    begin = "The grip was wrong for the next move of cross or pairs"
    stages = [
        stage("cross", sure=SURE, moves=wrong), stage("orient", sure=1.0, moves=wrong),
        stage(sure=SURE - 0.001, moves=wrong),
    ]  # fmt: skip
    assert found(stages) == [
        (0.15, "predicted",
         f"{begin} once: about 0.15 s; the holding is at least {100 * SURE:.0f} % certain."),
    ]  # fmt: skip
    pair = stage(sure=0.999, moves=[*wrong, "wrong"])
    assert found([*stages[1:], pair]) == [
        (0.3, "predicted", f"{begin} 2 times: about 0.30 s; the holding is at least 99 % certain."),
    ]  # fmt: skip
