"""Plans: the price of each step, the holdings between steps, no faster simple plan; doors."""

from __future__ import annotations

import random
from itertools import islice, product
from math import inf
from typing import TYPE_CHECKING, Final, cast

import numpy as np
import pytest
from advising import advisor_at, written_ms
from examples import part_of, thorough

from livecube.advice.advisor import Focus
from livecube.advice.examples import broken_pairs
from livecube.advice.pieces import slot_stickers
from livecube.advice.plan import Beam, _Batch, _best, _Nodes, _part
from livecube.advice.rows import _orders
from livecube.advice.speaker import Planned, Speaker
from livecube.advice.words import Level
from livecube.composition.assembly import late_advisor
from livecube.cube.geometry import CORNERS, FACES, PIECE_AT, piece_faces
from livecube.cube.holding import COLOURS, HOLDINGS, Holding, fixed_turns
from livecube.cube.notation import parse_moves, parse_turns
from livecube.cube.position import SOLVED, TURN_NAMES, apply_turns, inverse_turns
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import load_bounds
from livecube.search.book import usual_book
from livecube.search.situation import SLOT_PIECES, Situation, slot_bits
from livecube.search.task import Task
from livecube.stages.frame import ALL_SLOTS
from livecube.techniques.base import traits
from livecube.techniques.registry import TECHNIQUES
from livecube.views.happenings import happening_json, happening_line
from livecube.views.live_screen import plan_line, plan_lines
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.advice.advisor import Advisor
    from livecube.advice.plan import Plan
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.hands.automaton import Automaton
    from livecube.search.book import Entries
    from livecube.search.fastest_arrays import SecondsTables
    from livecube.techniques.base import Chance

_YELLOW: Final = COLOURS.index("yellow")
_DOWN: Final = FACES.index("D")
_THROUGH_A_DOOR: Final = {"keyhole-corner", "keyhole-edge", "keyhole-flip"}
_CALM: Final = {"plain", "made-pair", "keyhole-corner"}
_USUAL: Final = [
    one
    for one in TECHNIQUES
    if not traits(one).in_inspection and one.id not in ("shortest", "keyhole-chain")
]
"""The techniques that a beam plans with."""


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return advisor_at(Level.BOLD)


def _settled(solves: int, seed: int = 21) -> Iterator[tuple[Array, int]]:
    """Positions of virtual solves after the cross, with the cross whole."""
    for solve in session(seed=seed, solves=solves).solves:
        position = SOLVED
        for turn in solve.turns:
            position = apply_turns(position, [turn.turn])
            situation = Situation.of(position, solve.cross)
            if situation.offset is not None and situation.solved != ALL_SLOTS:
                yield position, solve.cross


def _places(count: int, seed: int) -> Iterator[tuple[Array, int, Holding | None]]:
    """Positions of virtual solves, and some with randomly broken pairs, in many holdings."""
    rng = random.Random(seed)
    for position, face in islice(_settled(3, seed), 0, 7 * count // 2, 7):
        yield position, face, rng.choice([None, rng.choice(HOLDINGS)])
    for _ in range(count // 2):
        face = rng.randrange(6)
        down = broken_pairs(rng, rng.randint(1, 4))
        aside = rng.choice([[], [3 * _DOWN + rng.randrange(3)]])
        turns = Situation.of(SOLVED, face).fixed([*down, *aside])
        yield apply_turns(SOLVED, turns), face, rng.choice([None, *_down_holdings(face)])


def test_of_each_position_in_a_beam_the_cheapest_way_is_kept() -> None:
    rng, count = np.random.default_rng(1), 150
    places = rng.choice([3, 15, 16, 23], (count, 8))
    places[:, 1:] = places[0, 1:]  # so that many are nearly equal
    moved = rng.random((count, 8)) < 0.1
    front, ms, first = (rng.integers(most, size=count) for most in (2, 50, 3))
    numbers = np.arange(count)
    one = _Nodes(places[:1], front[:1], moved[:1], ms[:1], first[:1], [()])
    no_chances, no_entries = cast("list[Chance]", [None]), cast("Entries", None)
    behind = _Batch(
        one, 0 * numbers, no_entries, numbers, no_chances, 0 * numbers, numbers, places, front,
        moved, ms, first,
    )  # fmt: skip
    cheapest: dict[tuple[int, ...], int] = {}
    for row in range(count):
        key = (*places[row].tolist(), *moved[row].tolist(), int(front[row]), int(first[row]))
        cheapest[key] = min(int(ms[row]), cheapest.get(key, 99))
    kept = _best([_part(behind, numbers % 2 == half) for half in (0, 1)])
    found = {
        (*kept.places[row].tolist(), *kept.moved[row].tolist(), int(kept.front[row]),
         int(kept.first[row])): int(kept.ms[row])
        for row in range(len(kept.ms))
    }  # fmt: skip
    assert found == cheapest
    assert len(kept.ms) == len(cheapest) < count
    for row, ((_, _, entry, looking),) in enumerate(kept.steps):
        assert entry == looking  # that of the kept way
        assert places[entry].tolist() == kept.places[row].tolist()
        assert ms[entry] == kept.ms[row]


@pytest.mark.parametrize(("rare", "kept"), [(0, 200), (30, 230), (50, 240)])
def test_a_beam_keeps_200_positions_and_40_of_each_first_pair(rare: int, kept: int) -> None:
    """The rare first pair is dearest."""
    numbers, count = np.arange(400), 400 - rare
    places = np.array([[at // 24, at % 24, *[3] * 6] for at in range(400)])
    still = np.zeros((400, 8), dtype=np.bool_)
    one = _Nodes(places[:1], numbers[:1] * 0, still[:1], numbers[:1], numbers[:1], [()])
    batch = _Batch(
        one, 0 * numbers, cast("Entries", None), numbers, cast("list[Chance]", [None]), 0 * numbers,
        numbers, places, 0 * numbers, still, numbers, (numbers >= count).astype(np.int64),
    )  # fmt: skip
    found = _best([batch])
    assert found.ms.tolist() == [*range(200), *range(count, count + kept - 200)]


def _down_holdings(face: int) -> list[Holding]:
    return [holding for holding in HOLDINGS if holding.hand_face(face) == _DOWN]


def _brought_down(hands: Automaton, holding: Holding, face: int) -> list[Holding]:
    """The holdings with the cross down that are cheapest to reach; there may be several."""
    here = HOLDINGS.index(holding)
    cost = {to: int(hands.rotation_ms[here, HOLDINGS.index(to)]) for to in _down_holdings(face)}
    return [to for to, ms in cost.items() if ms == min(cost.values())]


def _looking_s(
    hands: Automaton, before: Situation, now: Situation, step: Opportunity, held: Holding
) -> float:
    """Seconds of looking before a step, by the printed table; ``before``: where the last began."""
    eyes = hands.looking.table
    seconds = eyes["base"] + eyes["techniques"].get(step.technique, 0)
    for slot in now.slot_numbers(step.slots):
        corner, edge = slot_stickers(now, slot, held)
        for kind, stickers, home in (("corner", corner, now.corners), ("edge", edge, now.edges)):
            if home >> slot & 1:
                continue
            faces = {one.facing[0].upper() for one in stickers}
            where = [
                name
                for name, places in eyes["places"].items()
                if faces in [set(place) for place in places]
            ]
            piece = SLOT_PIECES[slot + 4 * (kind == "edge")]
            moved = before.position[piece] != now.position[piece]
            seconds += eyes[kind] + eyes[where[0]] + eyes["moved" if moved else "stayed"]
            up = any((one.colour, one.facing) == (now.colour, "up") for one in stickers)
            if up and step.technique == "keyhole-corner" and kind == "corner":
                seconds += eyes["keyhole_corner_up"]
    return float(seconds)


def _followed(
    advisor: Advisor, plan: Plan, position: Array, face: int, holding: Holding | None
) -> None:
    """Carry out a plan, and check the figures of each step."""
    hands = advisor.answers.automaton
    before = here = Situation.of(position, face)
    ends: Holding | None = None
    for step in plan.steps:
        if ends is not None:
            assert step.holding in _brought_down(hands, ends, face)
        elif holding is not None:
            assert step.holding == holding
        else:
            assert step.holding.hand_face(face) == _DOWN
        turns, ends = fixed_turns(step.moves, step.holding)
        assert turns == list(step.turns_fixed)
        assert ends == step.ends
        assert round(1000 * step.seconds) == written_ms(hands, step.moves, step.holding, face)
        looks = [
            _looking_s(hands, before, here, step, held)
            for held in _brought_down(hands, step.holding, face)
        ]
        assert any(step.looking == pytest.approx(look) for look in looks)
        position = apply_turns(position, turns)
        before, here = here, Situation.of(position, face)
        assert here.offset == 0
        assert set(before.slot_names(slot_bits(before.solved))) | {*step.slots} <= {
            *here.slot_names(slot_bits(here.solved))
        }
    assert here.solved == ALL_SLOTS
    assert plan.seconds == pytest.approx(sum(step.seconds for step in plan.steps))
    assert plan.looking == pytest.approx(sum(step.looking for step in plan.steps))
    assert plan.total == pytest.approx(plan.seconds + plan.looking)


def test_every_step_costs_what_the_tables_say_and_begins_where_the_one_before_ended(
    advisor: Advisor,
) -> None:
    planned, lengths = 0, set()
    for position, face, holding in _places(14, 3):
        situation = Situation.of(position, face)
        plans = advisor.plans(position, face, holding)
        assert [plan.total for plan in plans] == sorted(plan.total for plan in plans)
        firsts = [plan.steps[0].slots for plan in plans]
        assert len({frozenset(slots) for slots in firsts}) == len(firsts)
        if situation.offset == 0:
            assert {(name,) for name in situation.slot_names(slot_bits(situation.free))} <= {
                *firsts
            }
        for plan in plans:
            _followed(advisor, plan, position, face, holding)
            lengths.add(len(plan.steps))
        planned += bool(plans)
    assert planned >= 7
    assert lengths >= {1, 2, 3, 4}


def test_a_plan_is_never_slower_than_always_taking_the_quickest_next_step(
    advisor: Advisor,
) -> None:
    beam, better = Beam(advisor.answers, _USUAL), 0
    for position, face, _ in _places(12, 4):
        situation = Situation.of(position, face)
        for looking in (True, False):
            greedy = beam.quickest_next(situation, looking=looking)
            plans = advisor.plans(position, face, looking=looking)
            if greedy is None:
                assert not plans or situation.offset
                continue
            assert round(1000 * plans[0].total) <= greedy.ms
            better += round(1000 * plans[0].total) < greedy.ms
    assert better


@pytest.mark.parametrize("turned", ["D", "D2", "D'"])
def test_with_the_layer_aside_and_no_keyhole_it_is_turned_back_first(
    advisor: Advisor, turned: str
) -> None:
    out = parse_turns("R U R' L' U' L")
    aligned, aside = (apply_turns(SOLVED, turns) for turns in (out, [*out, *parse_turns(turned)]))
    (back,) = inverse_turns(parse_turns(turned))
    for holding in (None, Holding.of(0, 2), Holding.of(2, 5)):
        plans = advisor.plans(aside, _YELLOW, holding)
        assert {plan.steps[0].slots for plan in plans} == {
            plan.steps[0].slots for plan in advisor.plans(aligned, _YELLOW, holding)
        }
        for plan in plans:
            assert plan.steps[0].turns_fixed[0] == back
            assert "turned back first" in plan.steps[0].why
            _followed(advisor, plan, aside, _YELLOW, holding)


def test_without_looking_a_plan_is_what_takes_the_least_turning(advisor: Advisor) -> None:
    for position, face, _ in _places(10, 5):
        looked = advisor.plans(position, face)
        turned = advisor.plans(position, face, looking=False)
        assert {plan.looking for plan in turned} <= {0}
        assert bool(looked) == bool(turned)
        for one, other in zip(turned[:1], looked[:1], strict=True):
            assert one.seconds <= other.seconds + 1e-9
            assert other.total <= one.seconds + _looking_of(advisor, one, position, face) + 1e-9


def _looking_of(advisor: Advisor, plan: Plan, position: Array, face: int) -> float:
    """Seconds of looking for a plan that was made without looking."""
    hands, total = advisor.answers.automaton, 0.0
    before = here = Situation.of(position, face)
    for step in plan.steps:
        total += _looking_s(hands, before, here, step, step.holding)
        position = apply_turns(position, step.turns_fixed)
        before, here = here, Situation.of(position, face)
    return total


def test_a_plan_is_kept_that_the_hands_go_on_with_unless_another_is_worth_more(
    advisor: Advisor,
) -> None:
    kept = left = 0
    for position, face, holding in _places(10, 6):
        plans = advisor.plans(position, face, holding)
        for plan in plans:
            slots = plan.steps[0].slots
            begun = advisor.at_beginning(position, face, holding, None, slots)
            if plan.total <= plans[0].total + 0.1 + 1e-9:
                assert begun.rows[0].slots == slots
                assert begun.seconds == pytest.approx(plan.total)
                kept += plan is not plans[0]
            else:
                assert begun.rows[0].slots == plans[0].steps[0].slots
                left += 1
    assert kept
    assert left


@pytest.mark.parametrize("level", part_of(list(Level)))
def test_a_plan_uses_what_the_level_speaks_of_and_never_the_yardstick(level: Level) -> None:
    advisor = advisor_at(level)
    spoken = {one.id for one in TECHNIQUES if advisor.speaks_of(one.id)} - {"shortest"}
    assert (spoken == _CALM) == (level == Level.CALM)
    for position, face, holding in _places(8, 7):
        beginning = advisor.at_beginning(position, face, holding)
        told = advisor.advise(position, face, holding, shortest=False).plans
        for plan in (*beginning.plans, *told, *advisor.plans(position, face, holding)):
            assert {step.technique for step in plan.steps} <= spoken
        assert {row.technique for row in beginning.rows} <= spoken


def test_plans_are_no_line_of_plain_output() -> None:
    """Earlier output to a pipe ended at the first plan."""
    assert happening_line(Planned(1.0, ())) is None


def test_a_plan_in_words_fits_the_screen_and_says_what_each_first_pair_comes_to(
    advisor: Advisor,
) -> None:
    position = apply_turns(SOLVED, parse_turns("R U R' U L' U' L U2 B U B'"))
    plans = advisor.plans(position, _YELLOW)
    plan, firsts = plan_lines(plans)
    for step in plans[0].steps:
        assert all(slot in plan for slot in step.slots)
    for one in plans:
        assert f"{' and '.join(one.steps[0].slots)} {one.total:.2f} s" in firsts
    assert f"{plans[0].seconds:.2f} s + {plans[0].looking:.2f} s looking" in plan
    assert all(slot in plan_line(plans[0]) for slot in plans[0].slots[1:])


def test_nothing_to_plan_without_a_whole_cross_or_a_free_slot(advisor: Advisor) -> None:
    broken = apply_turns(SOLVED, parse_turns("R U R' F"))
    beam = Beam(advisor.answers, _USUAL)
    for nothing in (broken, SOLVED):
        assert beam.quickest_next(Situation.of(nothing, _YELLOW)) is None
    assert advisor.plans(broken, _YELLOW) == ()
    assert advisor.plans(SOLVED, _YELLOW) == ()
    assert plan_lines(()) == []
    one_free = apply_turns(SOLVED, parse_turns("R U R'"))
    found = advisor.plans(one_free, _YELLOW)
    assert found
    assert plan_lines(found) == [], "there is nothing to choose"


def test_turns_are_priced_in_the_cheapest_of_their_orders(advisor: Advisor) -> None:
    layers = parse_turns("L R U D' F R2 L2")
    written = {tuple(TURN_NAMES[turn] for turn in order) for order in _orders(layers)}
    ways = product(("L R", "R L"), ("U D'", "D' U"), ("F",), ("R2 L2", "L2 R2"))
    assert written == {tuple(" ".join(way).split()) for way in ways}
    assert len(_orders(parse_turns("L R U D") * 2)) == 16
    assert len(_orders(parse_turns("L R U D F B") * 3)) == 64

    held = _down_holdings(_YELLOW)[0]

    def priced(text: str) -> float:
        return advisor.priced(fixed_turns(parse_moves(text), held)[0], _YELLOW, held).seconds

    assert priced("L R U D") == priced("R L D U") == priced("R L U D' D2") > priced("L R U")
    moves = parse_moves("R U R' U'")
    assert priced("R U R' U'") == written_ms(advisor.answers.automaton, moves, held, _YELLOW) / 1000
    twin = advisor.twin()
    assert twin.priced(layers, _YELLOW) == advisor.priced(layers, _YELLOW)
    assert twin.engine is not advisor.engine
    assert twin.engine.tables is advisor.engine.tables


# What waits for the search.


def test_for_other_hands_the_book_is_empty(advisor: Advisor) -> None:
    assert len(usual_book(advisor.answers.automaton).questions) > 50_000
    assert len(usual_book(load_hands("left")).questions) == 0


def test_the_search_is_made_ready_only_when_the_book_does_not_answer(
    advisor: Advisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    loaded: list[Automaton] = []

    def noted(hands: Automaton) -> SecondsTables:
        loaded.append(hands)
        return load_bounds(hands)

    monkeypatch.setattr("livecube.composition.assembly.load_bounds", noted)
    late = late_advisor("bold")
    slow_keyhole = "D' F' U F D L U L' R' U R"
    for moves, waits in (("R U R' U'", 0), (slow_keyhole, 1), (slow_keyhole, 1)):
        position = apply_turns(SOLVED, parse_turns(moves))
        told, usual = (one.advise(position, FACES.index("D")) for one in (late, advisor))
        assert told.opportunities == usual.opportunities
        assert told.plans == usual.plans
        assert len(loaded) == waits


# Doors of keyholes.


@pytest.mark.thorough
def test_a_keyhole_goes_through_the_free_slot_under_which_it_turned_the_corners_home(
    advisor: Advisor,
) -> None:
    seen = set()
    for position, face in islice(_settled(10, seed=8), 0, None, 3):
        situation = Situation.of(position, face)
        for row in advisor.advise(position, face, inspection=False, plans=False).opportunities:
            if row.technique not in _THROUGH_A_DOOR:
                assert row.door is None  # a chain has two doors, and names none
                continue
            assert row.door is not None
            assert row.door not in {
                row.slots[0],
                *situation.slot_names(slot_bits(situation.solved)),
            }
            # The places of the cross layer's corners, by its offset and the first turn.
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
    """The cubicle of a slot's corner."""
    faces = {COLOURS.index(colour) for colour in slot.split("-")} | {face}
    corner = next(piece for piece in CORNERS if piece_faces(piece) == faces)
    return int(PIECE_AT[position[corner]])


def test_an_engine_that_is_asked_nothing_finds_nothing_and_its_twin_finds_the_same(
    advisor: Advisor,
) -> None:
    situation = Situation.of(apply_turns(SOLVED, parse_turns("R U R'")), _YELLOW)
    engine = advisor.engine
    nothing = engine.search(situation, [])
    assert [len(nothing.turns), len(nothing.lengths), len(nothing.tasks)] == [0, 0, 0]
    assert engine.solve(situation, []) == []
    tasks = [Task(goal=0xFF), Task(goal=0x11)]
    found = engine.solve(situation, tasks)
    back = tuple(TURN_NAMES[situation.fixed_turns[turn]] for turn in found[0][0])
    assert back == ("R", "U'", "R'")
    assert len(found[0]) == 1
    assert [engine.shortest(situation, task) for task in tasks] == [len(one[0]) for one in found]
    twin = engine.twin()
    assert twin.tables is engine.tables
    assert twin.pairs is engine.pairs
    assert twin.solve(situation, tasks) == found


@pytest.mark.parametrize("within_s", [thorough(0.05), 0.3])
def test_with_a_focus_its_cheapest_way_is_said_if_it_costs_no_more_than_that(
    within_s: float,
) -> None:
    """At any level; all ways are found and priced one by one here."""
    calm, bold = advisor_at(Level.CALM), advisor_at(Level.BOLD)
    practised = frozenset(one.id for one in TECHNIQUES if traits(one).is_keyhole)
    focus = Focus(practised, within_s)
    said = set()
    for position, face in islice(_settled(2), 0, 30, 2):
        best = calm.at_beginning(position, face)
        if not best.rows:
            continue
        totals = {
            row.total + _onward(calm, row, position, face): row
            for row in bold.advise(position, face, plans=False).opportunities
            if row.technique in practised and row.fastest
        }
        found = calm.at_beginning(position, face, focus=focus)
        is_best = best.rows[0].technique in practised
        cheapest = best.seconds if is_best else min(totals, default=inf)
        if cheapest > best.seconds + within_s:
            assert found.rows == best.rows
            assert found.price_s is None
        else:
            assert found.rows[0].technique in practised
            assert found.seconds == pytest.approx(cheapest, abs=1e-9)
            assert found.price_s == pytest.approx(max(0.0, cheapest - best.seconds), abs=1e-9)
            assert found.plans[0].steps[0] == found.rows[0]
            assert found.silence is None
            assert not found.rows[0].silenced
        said.add((found.price_s is None, is_best))
        prices = {
            row.technique: price
            for row, price in calm.prices(position, face, None, calm.plans(position, face))
            if row.technique in practised
        }
        within = {price for price in prices.values() if price <= within_s}
        assert min(within, default=None) == pytest.approx(found.price_s, abs=1e-9)
        if not is_best:  # the best plan may begin with a way that is not the fastest of its pair
            assert set(prices) == {row.technique for row in totals.values()}
    assert len(said) == 3


def _onward(advisor: Advisor, row: Opportunity, position: Array, face: int) -> float:
    after = apply_turns(position, row.turns_fixed)
    plans = advisor.plans(after, face, advisor.upright(row, face))
    return plans[0].total if plans else 0.0


def test_a_hint_of_the_focus_tells_its_price_and_takes_the_place_of_another() -> None:
    focus = Focus(frozenset(one.id for one in TECHNIQUES if traits(one).is_keyhole), 9.0)
    advisor = advisor_at(Level.CALM)
    for position, face in _settled(4):
        without = advisor.at_beginning(position, face)
        standing = without.rows[0] if without.rows else None
        found = advisor.at_beginning(position, face, None, standing, focus=focus)
        if found.price_s and found.price_s > 0.05:
            break
    assert found.price_s is not None
    assert any(f"{found.price_s:.2f} s slower" in note.text for note in found.rows[0].notes)
    assert found.standing is None, "what is practised takes the place of what stands"
    speaker = Speaker()
    (told, *_) = speaker.begin(1.0, found)
    assert happening_json(told)["price"] == round(found.price_s, 3)
