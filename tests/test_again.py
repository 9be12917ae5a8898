"""Trying a missed moment again: the exact position, a right verdict, on any cube."""

from __future__ import annotations

import json
from collections import Counter
from io import StringIO
from itertools import repeat
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from command import started
from examples import thorough
from review_check import bold_advisor, one_review
from rich.console import Console

from livecube.composition.scrambler import Scrambler, load_scrambler
from livecube.cube.position import (
    SOLVED,
    SOLVED_BYTES,
    apply_turns,
    htm,
    inverse_turn,
    inverse_turns,
)
from livecube.edges.sinks import Board
from livecube.errors import UsageError
from livecube.events import Reset, State, Turn
from livecube.review.again_screen import AgainScreen
from livecube.review.again_text import again_json, again_line
from livecube.review.moment import brought, missed_moment
from livecube.review.trying import (
    ReadyToTry,
    SettingUp,
    SetUpAsked,
    SetUpGuided,
    Tried,
    TryGivenUp,
    Trying,
    TryNews,
    TryTurned,
    WayShown,
)

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Iterable

    from livecube.holding.observations import SolveTurns
    from livecube.review.moment import Moment
    from livecube.review.reviewed import Review
    from livecube.virtual.records import VirtualSolve

FIXTURES = Path(__file__).parent.parent / "fixtures"


@pytest.fixture(scope="module")
def scrambler() -> Scrambler:
    return load_scrambler(seed=3)


@pytest.fixture(scope="module", params=[(0, 1, 3), thorough((0, 1, 2, 3, 8))], ids=len)
def reviews(request: pytest.FixtureRequest) -> list[tuple[VirtualSolve, SolveTurns, Review]]:
    """Some virtual solves and their reviews."""
    return [one_review(seed, bold_advisor()) for seed in request.param]


@pytest.fixture(scope="module")
def moments(reviews: list[tuple[VirtualSolve, SolveTurns, Review]]) -> list[Moment]:
    """The missed moments of these solves, pair by pair."""
    found: list[Moment] = []
    for virtual, _, review in reviews:
        start = apply_turns(SOLVED, virtual.scramble).tobytes()
        pairs = [pair for pair in range(1, 5) if review.stages[pair].alternatives]
        found += [missed_moment(review, start, pair) for pair in pairs]
    return found


class Somebody:
    """A person who sets up and tries; ``t`` is the cube's clock."""

    def __init__(self, moment: Moment, scrambler: Scrambler, position: bytes = SOLVED_BYTES):
        self.trying = Trying(repeat(moment), scrambler.to, position)
        self.t = 0.0
        self.told: list[TryNews] = []
        self.told += self.trying.begin(0.0)

    def turn(self, turns: Iterable[int], each_s: float = 0.25) -> list[TryNews]:
        """The news of these turns, without the positions between."""
        new: list[TryNews] = []
        for turn in turns:
            self.t += each_s
            new += self.trying.feed(Turn(self.t, turn))
        self.told += new
        return [one for one in new if not isinstance(one, TryTurned)]

    def set_up(self) -> None:
        asked = next(one for one in reversed(self.told) if isinstance(one, SetUpAsked))
        if asked.turns:
            assert isinstance(self.turn(asked.turns)[-1], ReadyToTry)
        self.t += 2.0


def test_moments_of_all_kinds_are_found(
    moments: list[Moment], reviews: list[tuple[VirtualSolve, SolveTurns, Review]]
) -> None:
    assert len(moments) > 12 * len(reviews) // 5
    assert {moment.pair for moment in moments} == {1, 2, 3, 4}
    assert any(moment.after for moment in moments)


def test_what_is_advised_is_known_again(moments: list[Moment], scrambler: Scrambler) -> None:
    names: Counter[str] = Counter()
    for moment in moments:
        somebody = Somebody(moment, scrambler)
        somebody.set_up()
        (tried,) = [one for one in somebody.turn(moment.row.turns_fixed) if isinstance(one, Tried)]
        assert tried.as_advised, (moment.row, tried.techniques, tried.slots)
        assert (tried.turns, tried.look_ms) == (moment.row.turns, 2250)
        assert tried.ms == 250 * (len(moment.row.turns_fixed) - 1)
        assert tried.pause_ms == 250
        names.update(tried.techniques)
    assert len(names) > 2, names  # not always the same


def test_the_way_is_shown_when_the_position_is_set_up_and_for_this_try_only(
    moments: list[Moment], scrambler: Scrambler
) -> None:
    somebody = Somebody(moments[0], scrambler)
    assert somebody.trying.show(0.0) == []
    for is_shown in (True, False):
        somebody.set_up()
        if is_shown:
            assert somebody.trying.show(9.0) == [WayShown(9.0, 1, moments[0])]
        made = somebody.turn(moments[0].row.turns_fixed)
        assert [one.shown for one in made if isinstance(one, Tried)] == [is_shown]


def test_another_way_is_told_from_what_was_advised(
    reviews: list[tuple[VirtualSolve, SolveTurns, Review]], scrambler: Scrambler
) -> None:
    """The way of the solve gets the same name as in the solve's review."""
    compared = others = 0
    for virtual, of, review in reviews:
        start = apply_turns(SOLVED, virtual.scramble).tobytes()
        for pair in range(1, 5):
            if not review.stages[pair].alternatives:
                continue
            moment = missed_moment(review, start, pair)
            if moment.after or len(moment.row.slots) > 1:
                continue
            split = review.stages[pair].split
            before = max(s.split.end_turn or 0 for s in review.stages[:pair])
            made = of.part.turns[
                before - of.first_line + 1 : (split.end_turn or 0) - of.first_line + 1
            ]
            somebody = Somebody(moment, scrambler)
            somebody.set_up()
            told = [one for one in somebody.turn(made) if isinstance(one, Tried)]
            if split.offset or [one.t for one in told] != [somebody.t]:
                continue  # aligned later, or done, lost and done again: hindsight sees more
            tried = told[0]
            assert (tried.slots, tried.techniques) == (split.slots, (split.technique,))
            assert tried.turns == moment.turns == htm(made)
            compared += 1
            others += not tried.as_advised
    assert compared > 8 * len(reviews) // 5
    assert others > len(reviews) // 2


def test_a_wrong_turn_leads_back_and_a_turn_too_many_is_no_start(
    moments: list[Moment], scrambler: Scrambler
) -> None:
    somebody = Somebody(moments[0], scrambler)
    asked = somebody.told[0]
    assert isinstance(asked, SetUpAsked)
    wrong = (asked.turns[0] + 3) % 18
    (guided,) = somebody.turn([wrong])
    assert isinstance(guided, SetUpGuided)
    assert guided.guidance.back == (inverse_turn(wrong),)
    somebody.turn([inverse_turn(wrong), *asked.turns])
    too_many = somebody.turn([0])  # at once: it belongs to the set-up
    assert [type(one) for one in too_many] == [SetUpGuided]
    assert isinstance(somebody.turn([2])[-1], ReadyToTry)


def test_whoever_turns_back_begins_anew(moments: list[Moment], scrambler: Scrambler) -> None:
    moment = moments[0]
    somebody = Somebody(moment, scrambler)
    somebody.set_up()
    somebody.turn([0, 3])
    assert isinstance(somebody.turn([5, 2])[-1], ReadyToTry)
    somebody.t += 2.0
    tried = next(o for o in somebody.turn(moment.row.turns_fixed) if isinstance(o, Tried))
    assert tried.turns == moment.row.turns


@pytest.mark.parametrize("said", ["state", "reset"])
def test_a_cube_that_stands_otherwise_is_set_up_anew(
    said: str, moments: list[Moment], scrambler: Scrambler
) -> None:
    somebody = Somebody(moments[0], scrambler)
    somebody.set_up()
    elsewhere = apply_turns(SOLVED, [0, 4, 8]).tobytes() if said == "state" else SOLVED_BYTES
    event = State(somebody.t, elsewhere) if said == "state" else Reset(somebody.t)
    given_up, asked = somebody.trying.feed(event)
    assert isinstance(given_up, TryGivenUp)
    assert isinstance(asked, SetUpAsked)
    there = apply_turns(np.frombuffer(elsewhere, dtype=np.uint8), asked.turns)
    assert there.tobytes() == moments[0].position
    assert isinstance(somebody.turn(asked.turns)[-1], ReadyToTry)


def test_a_cube_that_stands_there_is_ready(moments: list[Moment], scrambler: Scrambler) -> None:
    somebody = Somebody(moments[0], scrambler, moments[0].position)
    assert [type(one) for one in somebody.told] == [SetUpAsked, ReadyToTry]


@pytest.mark.thorough
def test_set_ups_are_short_and_lead_there(moments: list[Moment], scrambler: Scrambler) -> None:
    longer = 0
    for moment in moments[:2]:
        short = scrambler.short(SOLVED_BYTES, moment.position)
        usual = scrambler.to(SOLVED_BYTES, moment.position)
        assert short.target == usual.target == moment.position
        assert len(short.turns) <= len(usual.turns)
        longer += len(usual.turns) > len(short.turns)
    assert longer
    way = [0, 4, 8, 9, 13, 17]  # nobody can do U F2 … with fewer
    near = apply_turns(SOLVED, way).tobytes()
    assert len(scrambler.short(SOLVED_BYTES, near).turns) <= len(way)
    assert scrambler.short(near, near).turns == ()


def test_everything_has_words(moments: list[Moment], scrambler: Scrambler) -> None:
    somebody = Somebody(moments[0], scrambler)
    board = Board(AgainScreen("solve 1"))
    console = Console(width=100, height=30, record=True, file=StringIO())
    somebody.turn([0])
    somebody.turn([2])
    somebody.set_up()
    somebody.turn(moments[0].row.turns_fixed)
    somebody.told += somebody.trying.give_up(somebody.t)
    seen = set()
    for news in somebody.told:
        told = again_json(news)
        assert json.loads(json.dumps(told)) == told
        seen.add(told["event"])
        board.take(news)
        console.print(board.shown)
        again_line(news)
    assert seen == {"set-up", "setting-up", "ready", "try-turn", "tried", "anew"}
    drawn = console.export_text()
    assert "The first turn starts the time." in drawn
    assert "as advised" in drawn


def livecube(*arguments: str, data: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    return started("again", *arguments, text=typed, LIVECUBE_DATA=str(data))


KEEN = ("2", "--log", str(FIXTURES / "evening.jsonl"), "--level", "keen", "--json")


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """What a virtual solver hears who tries twice."""
    data = tmp_path_factory.mktemp("again")
    done = livecube(*KEEN, "--simulated", "--speed", "100", data=data)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_a_virtual_solver_tries_twice(simulated: list[dict[str, Any]]) -> None:
    rows, tried = simulated, [row for row in simulated if row["event"] == "tried"]
    assert [row["number"] for row in tried] == [1, 2]
    assert all(row["as_advised"] and row["turns"] == row["advised"]["turns"] for row in tried)
    assert rows[-1] == tried[-1]


@pytest.mark.thorough
def test_it_can_be_typed(simulated: list[dict[str, Any]], tmp_path: Path) -> None:
    """The set-up is the same every time, so the test can type it."""
    asked = simulated[0]
    done = livecube(*KEEN, "--typed", data=tmp_path, typed=asked["turns"])
    assert done.returncode == 0, done.stderr
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert rows[0]["turns"] == asked["turns"]
    assert rows[-1]["event"] == "ready"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("99", "--log", "evening.jsonl"), "too many"),
        (("7",), "7"),
        (("1", "--log", "evening.jsonl", "--simulated", "--typed"), "one of"),
        (("1", "--log", "evening.jsonl", "--pair", "5"), "5"),
    ],
)
def test_what_cannot_be_tried_is_told(
    arguments: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    paths = [str(FIXTURES / a) if a.endswith(".jsonl") else a for a in arguments]
    done = livecube(*paths, data=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr


def test_a_pair_without_a_better_way_is_told(
    reviews: list[tuple[VirtualSolve, SolveTurns, Review]],
) -> None:
    virtual, _, review = reviews[1]
    start = apply_turns(SOLVED, virtual.scramble).tobytes()
    for pair in range(1, 5):
        if not review.stages[pair].alternatives:
            with pytest.raises(UsageError, match="nothing better"):
                missed_moment(review, start, pair)
    costliest = missed_moment(review, start)
    ways = [way for stage in review.stages for way in stage.alternatives]
    assert max(ways, key=lambda way: way.saved_s).row == costliest.row


def test_a_turn_taken_back_is_no_try(moments: list[Moment], scrambler: Scrambler) -> None:
    """The next turn starts the time again."""
    moment = next(m for m in moments if len(m.row.slots) == 1)
    detour = [moment.row.turns_fixed[0], *inverse_turns(moment.row.turns_fixed[:1])]
    somebody = Somebody(moment, scrambler)
    somebody.set_up()
    told = somebody.turn(detour)
    assert [type(one) for one in told] == [ReadyToTry]


def test_when_no_place_is_left_nothing_is_asked_whatever_happens(scrambler: Scrambler) -> None:
    trying = Trying(iter(()), scrambler.to, SOLVED_BYTES)
    assert not trying.over  # it has not begun
    assert trying.begin(0.0) == []
    assert (trying.number, trying.over) == (1, True)
    assert trying.give_up(1.0) == trying.show(1.0) == []
    for event in (Turn(2.0, 4), Reset(3.0), State(4.0, SOLVED_BYTES)):
        assert trying.feed(event) == []
    assert trying.begin(5.0) == []
    assert trying.finish() == []


def test_in_a_position_that_is_brought_the_plan_or_the_quickest_asked_way_comes_first() -> None:
    def way(technique: str, total: float, *slots: str) -> Any:
        return SimpleNamespace(technique=technique, total=total, slots=slots)

    plain, other, slow, both, none = (
        way("plain", 2.0, "FR"), way("plain", 1.8, "FL"), way("keyhole", 2.5, "FR"),
        way("keyhole", 2.4, "FL", "BL"), way("repair", 0.1),
    )  # fmt: skip
    asked: list[Any] = []

    def advise(*told: Any, **how: Any) -> Any:
        asked.append((told, how))
        return SimpleNamespace(opportunities=[none, plain, slow, both, other])

    def row(technique: str | None = None, *slots: str) -> Any:
        advisor: Any = SimpleNamespace(advise=advise)
        found = brought(advisor, SOLVED, 2, None, technique, slots)
        assert asked.pop() == (
            (SOLVED, 2, None), {"shortest": False, "above_level": False}
        )  # fmt: skip
        assert (found.position, found.face) == (SOLVED.tobytes(), 2)
        assert found.ways == (other, both)  # of each technique the quickest
        return found.row

    assert row() is plain  # the plan begins with it
    assert row("plain") is other
    assert row(None, "FR") is plain
    assert row("keyhole") is both
    assert row("keyhole", "FR") is slow
    assert row("keyhole", "BL", "FL") is both
    for technique, slots, words in (
        ("keyhole", ["BL"], "no keyhole into BL to do in this position for the green cross"),
        ("repair", [], "no repair to do in this position for the green cross"),
        (None, ["BR", "BL"], "no pair into BR and BL to do in this position for the green cross"),
    ):
        with pytest.raises(UsageError, match=words):
            row(technique, *slots)
        asked.clear()


def test_who_strays_while_setting_up_is_led_on_a_new_path() -> None:
    paths: list[tuple[bytes, bytes]] = []

    def path_to(start: bytes, target: bytes) -> Any:
        paths.append((start, target))
        return SimpleNamespace(
            turns=(len(paths),), target=target,
            guide=lambda position: SimpleNamespace(lost=position != start, upcoming=start),
        )  # fmt: skip

    setting_up: Any = SettingUp(path_to, b"start", b"target")
    assert setting_up.guide(b"start").upcoming == b"start"
    assert (setting_up.turns, paths) == ((1,), [(b"start", b"target")])
    assert setting_up.guide(b"astray").upcoming == b"astray"
    assert (setting_up.turns, setting_up.reached) == ((2,), b"target")
    assert paths[1:] == [(b"astray", b"target")]
