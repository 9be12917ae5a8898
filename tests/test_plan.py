"""Orders of the free slots, and the doors of keyholes."""

from __future__ import annotations

from math import prod
from typing import TYPE_CHECKING

import pytest
from advising import advisor_at
from livecube.advice.order import best_by, orders
from livecube.views.order import order_lines

from livecube.advice.rules import Level
from livecube.advice.said import Planned
from livecube.cube.holding import COLOURS
from livecube.cube.notation import parse_turns
from livecube.cube.pieces import CORNERS, PIECE_AT, piece_faces
from livecube.cube.position import SOLVED, apply_turns
from livecube.search.situation import Situation, slot_bits
from livecube.stages.frame import ALL_SLOTS
from livecube.views.text import happening_line
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.advice.advisor import Advisor
    from livecube.cube.geometry import Array

_YELLOW = COLOURS.index("yellow")
_THROUGH_A_DOOR = {"keyhole-corner", "keyhole-edge", "keyhole-flip"}


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return advisor_at(Level.BOLD)


def _settled(solves: int) -> Iterator[tuple[Array, int]]:
    """Positions of virtual solves after the cross, at which it is whole."""
    for solve in session(seed=21, solves=solves).solves:
        position = SOLVED
        for turn in solve.turns:
            position = apply_turns(position, [turn.turn])
            situation = Situation.of(position, solve.cross)
            if situation.offset is not None and situation.solved != ALL_SLOTS:
                yield position, solve.cross


def test_every_order_fills_all_slots_and_starts_where_the_one_before_ended(
    advisor: Advisor,
) -> None:
    checked = 0
    for position, face in list(_settled(4))[::7]:
        free = Situation.of(position, face).free.bit_count()
        found = orders(advisor, position, face) or ()
        singly = [order for order in found if len(order.steps) == free]
        assert len(singly) == prod(range(1, free + 1))
        assert len({order.slots for order in found}) >= len(singly)
        for order in found:
            at, held = position, order.steps[0].holding
            for step in order.steps:
                assert step.holding == held
                at, held = apply_turns(at, step.turns_fixed), step.ends
            end = Situation.of(at, face)
            assert (end.solved, end.offset) == (ALL_SLOTS, 0)
            assert order.seconds == pytest.approx(sum(step.seconds for step in order.steps))
        checked += 1
    assert checked > 5


def test_the_first_order_is_the_quickest_or_nearly_and_then_fills_back_slots_sooner(
    advisor: Advisor,
) -> None:
    back_decided = 0
    for position, face in list(_settled(12))[::5]:
        found = orders(advisor, position, face) or ()
        quickest = min(found, key=lambda order: order.seconds)
        assert found[0].seconds <= 1.05 * quickest.seconds
        assert found[0].back_first >= quickest.back_first
        back_decided += found[0].seconds > quickest.seconds
        for place in (0, -1):
            best = best_by(found, place)
            assert set(best) == {order.slots[place] for order in found}
    assert back_decided


def test_orders_are_no_line_of_plain_output() -> None:
    """They were taken for nothing at all, and what is printed to a pipe ended with the first."""
    assert happening_line(Planned(1.0, ())) is None


def test_nothing_to_order_without_a_whole_cross_or_a_free_slot(advisor: Advisor) -> None:
    broken = apply_turns(SOLVED, parse_turns("R U R' F"))
    assert orders(advisor, broken, _YELLOW) == ()
    assert orders(advisor, SOLVED, _YELLOW) == ()
    assert order_lines(()) == []
    one_free = apply_turns(SOLVED, parse_turns("R U R'"))
    assert order_lines(orders(advisor, one_free, _YELLOW) or ()) == []


def test_orders_are_dropped_when_nobody_wants_them(advisor: Advisor) -> None:
    position, face = next(_settled(1))
    assert orders(advisor, position, face, stopped=lambda: True) is None


def test_the_level_holds_for_orders_too() -> None:
    calm = advisor_at()
    for position, face in list(_settled(6))[::9]:
        for order in orders(calm, position, face) or ():
            assert {step.technique for step in order.steps} <= {
                "shortest", "plain", "made-pair", "keyhole-corner",
            }  # fmt: skip


def test_a_keyhole_goes_through_the_free_slot_under_which_it_turned_the_corners_home(
    advisor: Advisor,
) -> None:
    seen = set()
    for position, face in _settled(90):
        situation = Situation.of(position, face)
        for row in advisor.advise(position, face, inspection=False).opportunities:
            if row.technique not in _THROUGH_A_DOOR:
                assert row.door is None  # of a chain, which has two, none is told
                continue
            assert row.door is not None
            assert row.door not in {
                row.slots[0],
                *situation.slot_names(slot_bits(situation.solved)),
            }
            # Where corners go: those of the cross layer, by its offset and the first turn.
            aside = [turn for turn in row.turns_fixed[:1] if turn // 3 == face]
            offset = [3 * face + situation.offset - 1] if situation.offset else []
            turned = apply_turns(SOLVED, [*offset, *aside])
            home, goes_to = (
                (row.slots[0], row.door)
                if row.technique == "keyhole-corner"
                else (row.door, row.slots[0])
            )
            assert _cubicle(turned, home, face) == _cubicle(SOLVED, goes_to, face)
            seen.add(row.technique)
    assert seen == _THROUGH_A_DOOR


def _cubicle(position: Array, slot: str, face: int) -> int:
    """The cubicle in which the corner of a slot stands."""
    faces = {COLOURS.index(colour) for colour in slot.split("-")} | {face}
    corner = next(piece for piece in CORNERS if piece_faces(piece) == faces)
    return int(PIECE_AT[position[corner]])
