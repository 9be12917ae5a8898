"""Inspection: plain crosses, X-crosses, and the tracks of pieces."""

from __future__ import annotations

import json
import random
from functools import cache
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from advising import advisor_at, written_ms
from command import started

from livecube.advice.pieces import Sticker, slot_stickers
from livecube.advice.tracking import first_part
from livecube.cube.geometry import FACES, HOME, face_of
from livecube.cube.holding import COLOURS, SCRAMBLE_HOLDING, fixed_turns
from livecube.cube.notation import parse_moves, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.search.situation import SLOT_PIECES, Situation
from livecube.search.task import FASTEST_MS

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Iterator

    from livecube.advice.advisor import Advisor
    from livecube.advice.inspection import Inspection
    from livecube.advice.rows import Opportunity
    from livecube.advice.tracking import Track
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding, Move
    from livecube.search.tables import Tables

SCRAMBLE = "D2 B2 R U' F2 L2 D R' B U2 F L' D2 R2 U B2 L F' D' R"
HANDS = ("up", "left", "front", "right", "back", "down")


@cache
def inspect(*arguments: str) -> subprocess.CompletedProcess[str]:
    """What the command prints; it looks at nothing else."""
    return started("inspect", *arguments, COLUMNS="100")


def scrambled(seed: int) -> Array:
    rng = random.Random(seed)
    return apply_turns(SOLVED, [rng.randrange(18) for _ in range(30)])


CASES = [(seed, seed % 6) for seed in range(4)]


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    from livecube.advice.words import Level

    return advisor_at(Level.BOLD)


@pytest.fixture(scope="module")
def inspections(advisor: Advisor) -> dict[tuple[int, int], Inspection]:
    from livecube.advice.inspection import inspect_cross

    return {case: inspect_cross(advisor, scrambled(case[0]), case[1]) for case in CASES}


def along(position: Array, row: Opportunity) -> Iterator[tuple[Move | None, Array, Holding]]:
    holding = row.holding
    yield None, position, holding
    for move in row.moves:
        turns, holding = fixed_turns([move], holding)
        position = apply_turns(position, turns)
        yield move, position, holding


# Rows.


@pytest.mark.parametrize("case", CASES)
def test_plain_crosses_are_the_fastest_and_solve_the_cross(
    advisor: Advisor,
    inspections: dict[tuple[int, int], Inspection],
    tables: Tables,
    case: tuple[int, int],
) -> None:
    seed, face = case
    inspection, hands = inspections[case], advisor.answers.automaton
    distance = int(tables.alone[Situation.of(scrambled(seed), face).cross])
    assert inspection.crosses
    assert inspection.cross_turns == min(row.turns for row in inspection.crosses) >= distance
    least = min(row.seconds for row in inspection.crosses)
    for row in inspection.crosses:
        assert row.seconds <= least + FASTEST_MS / 1000 + 1e-9
        assert round(1000 * row.seconds) == written_ms(hands, row.moves, row.holding, face)
        assert row.turns == len(row.turns_fixed) >= distance
        assert fixed_turns(row.moves, row.holding)[0] == list(row.turns_fixed)
        assert Situation.of(apply_turns(scrambled(seed), row.turns_fixed), face).offset == 0
        if row.then is not None:
            assert row.total == pytest.approx(row.seconds + row.then.total)


@pytest.mark.parametrize("case", CASES)
def test_rows_solve_what_they_say_and_come_in_their_order(
    inspections: dict[tuple[int, int], Inspection], case: tuple[int, int]
) -> None:
    seed, face = case
    inspection = inspections[case]
    assert {row.technique for row in inspection.opportunities} == {"x-cross", "pseudo-x-cross"}
    for technique in ("cross", "x-cross", "pseudo-x-cross"):
        rows = [*inspection.crosses, *inspection.opportunities]
        ours = [row for row in rows if row.technique == technique]
        planned = [row.total for row in ours if row.then is not None]
        others = [row.seconds for row in ours[len(planned) :]]
        assert planned == sorted(planned)
        assert all(row.then is not None for row in ours[: len(planned)])
        assert others == sorted(others)
        assert planned
    for row in inspection.opportunities:
        assert fixed_turns(row.moves, row.holding)[0] == list(row.turns_fixed)
        end = Situation.of(apply_turns(scrambled(seed), row.turns_fixed), face)
        assert end.offset == 0
        assert set(row.slots) <= {end.slot_name(s) for s in range(4) if end.solved >> s & 1}


@pytest.mark.parametrize("case", CASES)
def test_the_first_part_brings_a_corner_and_an_edge_and_the_pseudo_pair_the_rest(
    inspections: dict[tuple[int, int], Inspection], case: tuple[int, int]
) -> None:
    seed, face = case
    inspection = inspections[case]
    for row, first in zip(inspection.opportunities, inspection.first_parts, strict=True):
        assert (first is None) == (row.technique == "x-cross")
        if first is None:
            continue
        turns = fixed_turns(row.moves[:first], row.holding)[0]
        middle = Situation.of(apply_turns(scrambled(seed), turns), face)
        corner, edge = (middle.slot_names(range(4)).index(slot) for slot in row.slots)
        assert middle.corners >> corner & 1
        assert middle.edges >> edge & 1
        assert len(turns) < row.turns


@pytest.mark.parametrize(
    ("slots", "moves", "first"),
    [
        # On a solved cube without the pair green and red, which goes in by the moves.
        (("green-red", "green-orange"), "R U R' U", 3),
        (("green-orange", "green-red"), "R U R' U", 3),
        (("green-orange", "blue-orange"), "R U R' U", 0),
        (("green-red", "green-orange"), "R U2 R' U", 4),
    ],
)
def test_the_first_part_ends_where_the_corner_and_the_edge_are_both_home(
    slots: tuple[str, str], moves: str, first: int
) -> None:
    position = apply_turns(SOLVED, parse_turns("R U' R'"))
    row: Any = SimpleNamespace(slots=slots, moves=parse_moves(moves), holding=SCRAMBLE_HOLDING)
    assert first_part(position, FACES.index("D"), row) == first


# Tracks.


def expected(position: Array, face: int, holding: Holding, slot: int, piece: str) -> str:
    """The place of a piece by the cube's own functions alone."""
    situation = Situation.of(position, face)
    number = SLOT_PIECES[slot if piece == "corner" else slot + 4]
    if situation.position[number] == HOME[number]:
        return "home"
    stickers = slot_stickers(situation, slot, holding)[piece == "edge"]
    order = ("up", "down", "front", "back", "left", "right")
    faces = sorted((HANDS[face_of(s.facelet)] for s in stickers), key=order.index)

    def told(sticker: Sticker) -> tuple[bool, int]:
        return sticker.colour != COLOURS[face], order.index(sticker.facing)

    said = min(stickers, key=told)
    return f"{' '.join(faces)} ({said.colour} facing {said.facing})"


def tracks(inspections: dict[tuple[int, int], Inspection]) -> list[tuple[Array, int, Track]]:
    return [
        (scrambled(seed), face, one)
        for (seed, face), inspection in inspections.items()
        for one in inspection.tracks
    ]


def test_tracked_places_are_those_of_the_core_after_every_move(
    inspections: dict[tuple[int, int], Inspection],
) -> None:
    for position, face, one in tracks(inspections):
        names = Situation.of(position, face).slot_names(range(4))
        seen = {(s.slot, s.piece, s.after): s for s in one.sightings}
        assert len(seen) == len(one.sightings)
        for slot in one.row.slots:
            for piece in ("corner", "edge"):
                where = ""
                for after, (move, now, holding) in enumerate(along(position, one.row)):
                    place = expected(now, face, holding, names.index(slot), piece)
                    sighting = seen.pop((slot, piece, after), None)
                    assert (sighting is not None) == (place != where)
                    if sighting is not None:
                        assert (sighting.where, sighting.move) == (place, move)
                    where = place
        assert not seen


def test_every_tracked_piece_ends_at_home(
    inspections: dict[tuple[int, int], Inspection],
) -> None:
    found = tracks(inspections)
    assert {one.row.technique for _, _, one in found} == {"x-cross", "pseudo-x-cross"}
    for _, _, one in found:
        last = {(s.slot, s.piece): s.where for s in one.sightings}
        assert set(last) == {
            (slot, piece) for slot in one.row.slots for piece in ("corner", "edge")
        }
        assert set(last.values()) == {"home"}
        assert [s.after for s in one.sightings] == sorted(s.after for s in one.sightings)


# Crosses that are whole.


def test_a_whole_cross_has_no_rows(advisor: Advisor) -> None:
    from livecube.advice.inspection import inspect_cross

    found = inspect_cross(advisor, apply_turns(SOLVED, parse_turns("R U R'")), FACES.index("D"))
    assert (found.cross_turns, found.crosses, found.opportunities) == (0, (), ())


def test_a_cross_that_stands_aside_is_one_turn_away(advisor: Advisor) -> None:
    from livecube.advice.inspection import inspect_cross

    found = inspect_cross(advisor, apply_turns(SOLVED, parse_turns("R U R' D")), FACES.index("D"))
    assert [row.turns_fixed for row in found.crosses] == [tuple(parse_turns("D'"))]
    assert found.opportunities == ()


# The command.


@pytest.mark.thorough
@pytest.mark.usefixtures("tables")
def test_json_is_one_object_with_all_colours_asked_for() -> None:
    done = inspect(SCRAMBLE, "--cross", "yellow", "--cross", "white", "--level", "bold", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert set(told) == {"scramble", "code", "crosses", "advice_ms", "own_hands"}
    assert told["scramble"] == SCRAMBLE
    assert [one["cross"] for one in told["crosses"]] == ["yellow", "white"]
    for one in told["crosses"]:
        assert {row["technique"] for row in one["opportunities"]} == {"x-cross", "pseudo-x-cross"}
        assert not any(row["silenced"] for row in one["opportunities"])
        assert {row["technique"] for row in one["crosses"]} == {"cross"}
        assert one["track"][0].keys() == {
            "technique", "slots", "slot", "piece", "after", "move", "where",
        }  # fmt: skip
        assert one["track"][-1]["where"] == "home"


@pytest.mark.thorough
@pytest.mark.usefixtures("tables")
def test_levels_and_colours_decide_what_is_shown() -> None:
    calm, keen = inspect(SCRAMBLE, "--level", "calm"), inspect(SCRAMBLE)
    bold = inspect(SCRAMBLE, "--level", "bold", "--cross", "any")
    assert "X-cross" not in calm.stdout
    assert "… and" in keen.stdout
    assert "X-cross" in keen.stdout
    assert "pseudo" not in keen.stdout
    for colour in COLOURS:
        assert f"{colour} cross: " in bold.stdout
    assert bold.stdout.count("To track for the first pseudo X-cross") == len(COLOURS)
    assert max(map(len, bold.stdout.splitlines())) <= 80


@pytest.mark.usefixtures("tables")
def test_all_shows_all() -> None:
    everything = inspect(SCRAMBLE, "--all")
    assert everything.returncode == 0, everything.stderr
    assert "… and" not in everything.stdout
    some = inspect(SCRAMBLE)
    assert len(everything.stdout.splitlines()) > len(some.stdout.splitlines())


def test_a_bad_scramble_is_refused_with_its_column() -> None:
    done = inspect("R U Q")
    assert done.returncode == 2
    assert "column 5" in done.stderr
    assert "Traceback" not in done.stderr
    assert not done.stdout
