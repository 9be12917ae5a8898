"""When a technique is the best choice, with rows made for the test."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from livecube.advice.best_choice import best_row, deciding_slots, is_best_choice
from livecube.techniques.plain import Plain
from livecube.techniques.x_cross import PseudoXCross, XCross

if TYPE_CHECKING:
    from livecube.techniques.base import Technique


def row(technique: str, total: float = 2.0, **changed: Any) -> Any:
    traits = SimpleNamespace(is_plain=technique == "plain", is_yardstick=technique == "shortest")
    usual = {"turns": 7, "fastest": True, "slots": ("green-red",), "plain": None, "traits": traits}
    return SimpleNamespace(technique=technique, total=total, **(usual | changed))


def advice(*rows: Any) -> Any:
    return SimpleNamespace(opportunities=rows)


def test_the_best_row_is_a_fastest_one_that_takes_least_then_the_shortest() -> None:
    slow, quick, long = row("made-pair", 3.0), row("made-pair", 2.5), row("made-pair", 2.5, turns=9)
    few = row("made-pair", 1.0, fastest=False, turns=3)
    assert best_row(advice(few, slow, long, quick, row("plain", 0.5)), "made-pair") is quick
    assert best_row(advice(few), "made-pair") is few
    assert best_row(advice(slow), "plain") is None


@pytest.mark.parametrize(
    ("other", "best"),
    [(1.9, False), (2.0, True), (2.0 - 1e-12, True), (2.1, True)],
)
def test_of_one_slot_nothing_fast_may_take_less(other: float, best: bool) -> None:
    its = row("made-pair")
    assert is_best_choice(advice(its, row("keyhole-edge", other)), its) is best
    assert is_best_choice(advice(its, row("keyhole-edge", other, fastest=False)), its)
    assert is_best_choice(advice(its, row("made-pair", 1.0)), its)  # it is its own


@pytest.mark.parametrize(("seconds", "best"), [(1.4, False), (1.5, False), (1.6, True)])
def test_of_two_slots_it_has_to_take_less_than_both_plainly(seconds: float, best: bool) -> None:
    plain = SimpleNamespace(turns=14, seconds=seconds, looking=0.5)
    its = row("pseudo-pair", slots=("green-red", "blue-red"), plain=plain)
    assert is_best_choice(advice(its, row("plain", 0.5)), its) is best
    assert is_best_choice(advice(its), row("pseudo-pair", slots=("a", "b")))


@pytest.mark.parametrize(("turns", "best"), [(8, False), (9, True)])
def test_the_yardstick_is_two_turns_shorter_than_all(turns: int, best: bool) -> None:
    its = row("shortest", fastest=False)
    assert is_best_choice(advice(its, row("plain", turns=turns), row("x", turns=20)), its) is best


@pytest.mark.parametrize(
    ("technique", "filled", "decide"),
    [
        (XCross(), (1, 1), 1),
        (PseudoXCross(), (2, 2), 2),
        (XCross(), (), None),
        (XCross(), (1, 2), None),
        (Plain(), (1, 1), None),
    ],
)
def test_in_inspection_rows_for_as_many_slots_decide(
    technique: Technique, filled: tuple[int, ...], decide: int | None
) -> None:
    chances: list[Any] = [SimpleNamespace(slots=range(slots)) for slots in filled]
    assert deciding_slots(technique, chances) == decide
