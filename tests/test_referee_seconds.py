"""The referee of seconds: against the referee of turns, and every way against the table itself."""

from __future__ import annotations

import json
from itertools import islice
from typing import Any

import pytest
from click.testing import CliRunner
from compare_fastest import differences, fastest_rows
from examples import part_of, thorough
from referee import TECHNIQUES, answers
from referee_accepts import accepted
from referee_cube import AXES, FACELETS, FACES, OPPOSITE, View, dot
from referee_hands import HOLDINGS, held_as, spun
from referee_plan import best_plan, looking_ms
from referee_positions import Place, places_for
from referee_search import canonical
from referee_seconds import Referee, front_holdings, merged
from referee_two_steps import does_both

from livecube.cli.hands import hands
from livecube.cube.geometry import PIECES
from livecube.cube.notation import parse_turns
from livecube.cube.position import inverse_turns, turn_name
from livecube.edges.automaton_file import load_hands
from livecube.hands.automaton import looking_ms as program_looking_ms

TABLE: dict[str, Any] = json.loads(CliRunner().invoke(hands, ["--table", "--json"]).output)
DEAR_S = 9.0
ONE_STEP = [name for name in TECHNIQUES if name not in ("keyhole-chain", "pseudo-x-cross")]


def turns_only() -> dict[str, Any]:
    """Hands with one price for every turn of a face, and much higher prices for all else."""
    price = [DEAR_S if "w" in move else 0.1 for move in TABLE["moves"]]
    seconds = [
        [None if was is None else ms for was, ms in zip(row, price, strict=True)]
        for row in TABLE["seconds"]
    ]
    return TABLE | {"seconds": seconds, "rotations": dict.fromkeys(TABLE["rotations"], DEAR_S)}


@pytest.fixture(scope="module")
def usual() -> Referee:
    return Referee(TABLE)


def played(referee: Referee, down: str, start: tuple[str, str], moves: str) -> tuple[str, int]:
    """Merged turns of written moves, and their price with the cross brought down; one by one."""
    table, hands_ = referee.hands.table, referee.hands
    held = held_as(*(FACES.index(face) for face in start))
    (state, rotated), turns, ms, began = hands_.states, [], 0, held
    for name in moves.split():
        if name in table["rotations"]:
            quarters = ("", "2", "'").index(name[1:]) + 1
            held = HOLDINGS.index(spun(HOLDINGS[held], name[0], quarters))
            continue
        if began != held:
            ms, state = ms + int(hands_.rotation[began, held]), rotated
        move = table["moves"].index(name)
        turn = int(hands_.turn[held, move])
        turns.append(FACES[turn // 3] + ("", "2", "'")[turn % 3])
        ms, state = ms + int(hands_.price[state, move]), int(hands_.next[state, move])
        began = held = int(hands_.after[held, move])
    upright = [n for n, holding in enumerate(HOLDINGS) if FACES[holding[5]] == down]
    return merged(turns), ms + min(int(hands_.rotation[held, n]) for n in upright)


def either_order(turns: tuple[str, ...], down: str) -> list[tuple[str, ...]]:
    """The turns, and those with a turn of the cross layer before the one of the upper layer."""
    result = [turns]
    for i in range(len(turns) - 1):
        if (turns[i][0], turns[i + 1][0]) in ((down, OPPOSITE[down]), (OPPOSITE[down], down)):
            result += [(*each[:i], each[i + 1], each[i], *each[i + 2 :]) for each in result]
    return result


@pytest.mark.thorough
def test_with_every_turn_alike_the_fastest_are_the_shortest() -> None:
    """All of them, for every technique, as the referee of turns finds them."""
    referee, compared = Referee(turns_only()), 0
    for technique in ONE_STEP:
        kind = "scrambled" if technique == "x-cross" else "inserted"
        for place in islice(places_for(technique, "seconds", kind), 1):
            for targets, answer in answers(place.turns, place.down, technique, slack=0).items():
                if answer.length is None or answer.length > 6:
                    continue
                ways = referee.fastest(place.view, technique, targets, slack_ms=0)
                assert ways is not None
                assert {way.ms for way in ways} == {100 * answer.length}
                assert {canonical(way.turns.split()) for way in ways} == answer.sequences
                compared += 1
    assert compared > 5


@pytest.mark.parametrize("technique", [*part_of(ONE_STEP[1:-1]), thorough("keyhole-chain")])
def test_each_way_costs_what_the_table_says_and_does_what_it_should(
    usual: Referee, technique: str
) -> None:
    checked, many = 0, 1 if technique == "keyhole-chain" else 2
    for place in islice(places_for(technique, "prices"), 1):
        view = place.view
        for targets, question in list(TECHNIQUES[technique](view).items())[:many]:
            for way in usual.fastest(view, technique, targets) or []:
                assert played(usual, place.down, way.start, way.moves) == (way.turns, way.ms)
                assert way.start in front_holdings(place.down)
                orders = either_order(tuple(way.turns.split()), place.down)
                if technique == "keyhole-chain":
                    assert any(does_both(view, technique, targets, turns) for turns in orders)
                else:
                    assert any(accepted(view, question, turns) for turns in orders)
                checked += 1
    assert checked


@pytest.mark.parametrize(
    ("solution", "slots"),
    [
        thorough("L2 D' F' U F D", ("green-red", "blue-red")),
        # Quicker ones merge where the parts meet.
        thorough("F L U R U' R' D", ("blue-red", "blue-orange")),
    ],
)
def test_pseudo_x_crosses_are_those_that_the_referee_finds(
    usual: Referee, solution: str, slots: tuple[str, str]
) -> None:
    place = Place(" ".join(map(turn_name, inverse_turns(parse_turns(solution)))), "D")
    told = [
        (round(1000 * row["seconds"]), merged(row["turns_fixed"].split()))
        for row in fastest_rows(place, "pseudo-x-cross")
        if tuple(row["slots"]) == slots
    ]
    found = usual.fastest(place.view, "pseudo-x-cross", slots)
    assert found
    assert sorted(told) == sorted((way.ms, way.turns) for way in found)


def test_the_comparison_finds_a_slower_way_a_missing_one_and_a_wrong_price(usual: Referee) -> None:
    place = next(p for p in places_for("plain", "doctored") if len(p.view.free) == 1)
    rows: list[dict[str, Any]] = [
        {
            "technique": "plain",
            "slots": list(targets),
            "turns_fixed": way.turns,
            "seconds": way.ms / 1000,
        }
        for targets in TECHNIQUES["plain"](place.view)
        for way in (usual.fastest(place.view, "plain", targets) or [])[:8]
    ]
    assert differences(usual, place, "plain", rows) == []
    slower = [rows[0] | {"seconds": rows[0]["seconds"] + 0.001}, *rows[1:]]
    other = [rows[0] | {"turns_fixed": rows[0]["turns_fixed"] + " U"}, *rows[1:]]
    for wrong in (rows[1:], slower, other):
        assert differences(usual, place, "plain", wrong)


def test_a_plan_is_played_to_the_last_pair_and_is_no_worse_than_always_the_nearest(
    usual: Referee,
) -> None:
    place = next(p for p in places_for("plain", "plan") if len(p.view.free) == 2)
    plan = best_plan(usual, place.view, looking=True, width=4)
    nearest = best_plan(usual, place.view, looking=True, width=1, ways=1)
    assert plan.turning_ms + plan.looking_ms <= nearest.turning_ms + nearest.looking_ms
    view, held, before = place.view, None, None
    for step in plan.steps:
        assert held in (None, step.way.start)
        assert played(usual, place.down, step.way.start, step.way.moves)[1] == step.way.ms
        seen = looking_ms(TABLE, view, step.technique, step.slots, step.way.start, before)
        assert seen == step.looking_ms
        before, held = view, step.way.end
        view = View(View.played(view.where, step.way.turns.split()), view.down)
    assert view.free == []


def test_both_tables_of_the_eyes_say_the_same() -> None:
    """The program's sum and the referee's, for a keyhole corner with its cross colour up."""
    looking, asked = load_hands().looking, set()
    for technique in ("plain", "keyhole-corner", "keyhole-edge", "pseudo-pair"):
        for place in islice((p for p in places_for(technique, "eyes") if p.down == "D"), 10):
            view = place.view
            for targets in TECHNIQUES[technique](view):
                corners: list[tuple[int, int]] = []
                edges: list[tuple[int, int]] = []
                for slot in targets:
                    for name, listed in ((view.corner(slot), corners), (view.edge(slot), edges)):
                        here = view.where[name]
                        point, normal = FACELETS[here]
                        faces = {f for f in FACES if dot(point, AXES[f]) == 1}
                        solved = view.corner_solved if len(faces) == 3 else view.edge_solved
                        number = next(n for n, p in enumerate(PIECES) if set(p) == faces)
                        twist = 0 if normal == AXES["U"] else 1
                        number = 3 * number + twist if number < 8 else 2 * (number - 8)
                        if not solved(slot):
                            listed.append((number, 0))
                theirs = program_looking_ms(
                    looking, technique, corners, edges, corner_alone=technique == "keyhole-corner"
                )
                assert looking_ms(TABLE, view, technique, targets, ("U", "F"), None) == theirs
                asked.add(int(theirs))
    assert len(asked) > 5
