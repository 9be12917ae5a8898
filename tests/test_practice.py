"""The practice session: the loop as values, and as a command on a simulated cube."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, TypeVar

import pytest
from command import started
from rich.console import Console

from livecube.composition.items import Staying
from livecube.composition.scrambler import Scrambler, load_scrambler
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED_BYTES, inverse_turns
from livecube.edges.sinks import Board
from livecube.entries import with_defaults
from livecube.events import CubeEvent, Reset, SolveMark, State, Turn
from livecube.history.store import History
from livecube.logs.lines import Header, event_line, parse_event
from livecube.practice.gestures import BreakRule
from livecube.practice.loop import Practice, PracticeRules
from livecube.practice.news import (
    Abandoned,
    BreakAdvised,
    Called,
    Corrected,
    Discarded,
    Guided,
    InspectionBegun,
    Judged,
    PracticeNews,
    Reviewed,
    ScrambleAsked,
    SolveStarted,
)
from livecube.practice.screen import PracticeScreen
from livecube.practice.settings import PRACTICE_ENTRIES, rules_of
from livecube.practice.text import (
    corrected_sentence,
    practice_json,
    practice_line,
    practice_words,
    tally_text,
)
from livecube.solves.reading import solves_in
from livecube.solves.records import Wanted
from livecube.timing.results import Penalty

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from livecube.practice.loop import Outcome, Wish

T = TypeVar("T")


@pytest.fixture(scope="module")
def scrambler() -> Scrambler:
    return load_scrambler(seed=12)


class Evening:
    """A session of practice; ``t`` is the cube's clock."""

    def __init__(self, scrambler: Scrambler, rules: PracticeRules | None = None) -> None:
        self.practice = Practice(rules or PracticeRules(), scrambler)
        self.t = 100.0
        self.told: list[Outcome] = []
        self._take(self.practice.begin(self.t))

    def _take(self, outcomes: Sequence[Outcome]) -> None:
        self.told += outcomes

    def turn(self, turns: Sequence[int] | str, each_s: float = 0.25) -> None:
        for turn in parse_turns(turns) if isinstance(turns, str) else turns:
            self.wait(each_s)
            self._take(self.practice.feed(Turn(self.t, turn)))

    def wait(self, seconds: float) -> None:
        until = self.t + seconds
        while (due := self.practice.due) is not None and due <= until:
            self._take(self.practice.wake(due))
        self.t = until

    def wish(self, wish: Wish) -> None:
        self._take(self.practice.wish(wish, self.t))

    def event(self, event: CubeEvent) -> None:
        self._take(self.practice.feed(event))

    def scramble(self) -> list[int]:
        """Turn the scramble that is asked for, and return it."""
        asked = self.last(ScrambleAsked)
        self.turn(asked.turns)
        return [*asked.turns]

    def last(self, kind: type[T]) -> T:
        return next(one for one in reversed(self.told) if isinstance(one, kind))

    def solve(self, inspection_s: float = 10.0) -> Judged:
        self.scramble()
        self.wait(2.0 + inspection_s - 0.25)
        self.turn(inverse_turns(self.last(InspectionBegun).scramble))
        return self.last(Judged)


def marks(told: Sequence[Outcome]) -> list[tuple[int, str]]:
    return [(one.id, one.phase) for one in told if isinstance(one, SolveMark)]


def test_one_round_after_another(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    first = evening.solve()
    assert first.penalties == ()
    assert first.inspection_ms == 10_000
    started = evening.last(SolveStarted).t
    assert first.ms == round(1000 * (evening.t - started))
    evening.wait(5.0)
    evening.turn("R L R' L'")  # the gesture for the next one
    second = evening.solve(inspection_s=15.0)
    assert second.penalties == (Penalty("+2", "inspection"),)
    assert len(second.tally.results) == 2
    assert marks(evening.told) == [
        (number, phase) for number in (1, 2) for phase in ("scramble", "inspect", "start", "end")
    ]
    events = [one for one in evening.told if isinstance(one, CubeEvent)]
    assert [event.t for event in events] == sorted(event.t for event in events)


@pytest.mark.parametrize("late_s", [0.0004998, 0.0005002])  # a log keeps both as 0.0005
def test_an_inspection_between_two_milliseconds_is_told_as_the_log_keeps_it(
    scrambler: Scrambler, late_s: float
) -> None:
    evening = Evening(scrambler)
    evening.scramble()
    assert evening.practice.due is not None
    evening.t = evening.practice.due
    evening.told += evening.practice.wake(evening.t + late_s)
    evening.wait(1.75)
    evening.turn(inverse_turns(evening.last(InspectionBegun).scramble))
    judged = evening.last(Judged)
    lines = [event_line(one) for one in evening.told if isinstance(one, CubeEvent)]
    events = [event for line in lines if (event := parse_event(line)) is not None]
    (found,) = solves_in(Header("", "", "cube", None), events)
    assert found.kept.listed.inspection_ms == judged.inspection_ms


def test_calls_come_at_their_seconds(scrambler: Scrambler) -> None:
    """Articles A3b3, A3b4; and the limits of A4d1, A4d2."""
    evening = Evening(scrambler)
    evening.solve(inspection_s=17.5)
    begun = evening.last(InspectionBegun).t
    calls = [one for one in evening.told if isinstance(one, Called)]
    assert [call.seconds for call in calls] == [8, 12, 15, 17]
    assert [call.t - begun for call in calls] == pytest.approx([8, 12, 15, 17])
    assert evening.last(Judged).penalties == (Penalty("DNF", "inspection"),)


def test_whoever_goes_astray_gets_a_new_path_to_the_same_position(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    asked = evening.last(ScrambleAsked)
    evening.turn(asked.turns[:4])
    evening.turn("R U F L")
    evening.turn("B D R U")
    way = evening.last(Guided)
    evening.turn([*way.guidance.back, *way.guidance.upcoming])
    assert evening.last(Guided).guidance.reached
    evening.wait(2.0)
    assert evening.last(InspectionBegun).scramble == asked.turns


def test_a_turn_too_many_is_no_start(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    evening.scramble()
    evening.turn("U")
    assert evening.last(Guided).guidance.back == tuple(parse_turns("U'"))
    evening.wait(60.0)
    assert not [one for one in evening.told if isinstance(one, InspectionBegun)]


def test_the_time_is_stopped_by_hand_one_turn_short(scrambler: Scrambler) -> None:
    """Article 10f1."""
    evening = Evening(scrambler)
    turns = evening.scramble()
    evening.wait(5.0)
    evening.turn(inverse_turns(turns)[:-1])
    evening.wait(1.5)
    evening.wish("on")
    judged = evening.last(Judged)
    assert judged.penalties == (Penalty("+2", "one turn short"),)
    assert judged.ms == round(1000 * (evening.t - evening.last(SolveStarted).t))
    evening.turn(inverse_turns(turns)[-1:])
    evening.turn("U D U' D'")  # the gesture that throws it away
    assert evening.last(Discarded).away
    assert evening.last(Discarded).tally.results == ()


def test_penalties_go_round_and_come_back_to_what_was_measured(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    evening.solve()
    decided = []
    for _ in range(3):
        evening.turn("F B F' B'")
        decided.append(evening.last(Corrected).penalties)
    assert decided == [(Penalty("+2"),), (Penalty("DNF"),), None]


def test_what_stays_on_the_terminal_counts_as_it_was_corrected_and_leaves_out_what_is_thrown_away(
    scrambler: Scrambler,
) -> None:
    evening = Evening(scrambler)
    evening.solve()
    evening.turn("F B F' B'")  # two seconds more
    evening.wish("next")
    evening.solve(inspection_s=4.0)
    evening.turn("U D U' D'")  # thrown away
    evening.wish("next")
    evening.solve(inspection_s=5.0)
    evening.turn("U D U' D'")
    evening.turn("U D U' D'")  # and taken back
    staying = Staying()
    for item in evening.told:
        if isinstance(item, PracticeNews):
            staying.take(item)
    staying.take(Reviewed(0.0, 2, 7, ("The second one.",)))
    lines = staying.lines(200)
    assert [line.split(":")[0] for line in lines[:-1]] == ["solve 1", "solve 3"]
    corrected = evening.last(Corrected)
    assert lines[0] == corrected_sentence(corrected)
    assert " + 2 = " in lines[0]
    assert lines[-1] == tally_text(evening.last(Discarded).tally)


def test_giving_up_counts_nothing_and_asks_for_another_from_there(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    turns = evening.scramble()
    evening.wait(5.0)
    evening.turn(inverse_turns(turns)[:5])
    evening.wish("discard")
    assert evening.last(Abandoned).number == 1
    assert marks(evening.told)[-2:] == [(1, "abandon"), (2, "scramble")]
    evening.scramble()
    assert evening.last(Guided).guidance.reached
    assert evening.practice.attempts.last is None


def test_scrambled_by_hand_the_position_is_known_all_the_same(scrambler: Scrambler) -> None:
    evening = Evening(scrambler, PracticeRules(by_hand=True))
    mixed = "R U F' L2 D B R' U2 F L' D2 B' R"
    evening.turn(mixed)
    evening.wait(4.0)
    begun = evening.last(InspectionBegun)
    solved = State(0.0, SOLVED_BYTES)
    watcher = Practice(PracticeRules(), scrambler, solved.position)
    assert watcher.phase == "scramble"
    evening.turn(inverse_turns(parse_turns(mixed)))
    assert evening.last(Judged).penalties == ()
    assert len(begun.scramble) <= 22


def test_without_limits_nothing_is_timed_but_the_solve(scrambler: Scrambler) -> None:
    evening = Evening(scrambler, PracticeRules(timed=False))
    judged = evening.solve(inspection_s=90.0)
    assert judged.penalties == ()
    assert judged.inspection_ms is None
    assert [phase for _, phase in marks(evening.told)] == ["scramble", "start", "end"]


def test_an_event_from_before_a_mark_keeps_the_order(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    turns = evening.scramble()
    evening.wait(3.0)  # inspection has begun, by an estimate of the cube's time
    begun = evening.last(InspectionBegun).t
    evening.event(Turn(begun - 0.02, inverse_turns(turns)[0]))
    assert evening.last(SolveStarted).t == begun
    assert evening.last(SolveStarted).inspection_ms == 0


def test_solved_now_gives_an_attempt_up(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    turns = evening.scramble()
    evening.wait(4.0)
    evening.turn(inverse_turns(turns)[:3])
    evening.event(Reset(evening.t))
    assert evening.last(Abandoned).number == 1
    assert evening.last(ScrambleAsked).number == 2


def test_a_break_is_advised_when_a_solve_is_over(scrambler: Scrambler) -> None:
    evening = Evening(scrambler, PracticeRules(breaks=BreakRule(minutes=0, turns=30)))
    evening.solve()
    kinds = [type(one) for one in evening.told if isinstance(one, Judged | BreakAdvised)]
    assert kinds == [Judged, BreakAdvised]


def test_without_a_configuration_the_usual_rules_hold() -> None:
    assert rules_of(with_defaults({}, PRACTICE_ENTRIES)) == PracticeRules()
    said = {"inspection": False, "settle": 0.5, "break_turns": 100}
    rules = rules_of(with_defaults(said, PRACTICE_ENTRIES))
    assert (rules.timed, rules.settle_s, rules.breaks.turns) == (False, 0.5, 100)


def drawn(board: Board[PracticeScreen]) -> str:
    console = Console(width=80, height=24, color_system=None, force_terminal=True)
    with console.capture() as capture:
        console.print(board.shown)
    return capture.get()


def test_every_news_is_shown_told_and_an_object(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    evening.turn("R U F L B")
    evening.wish("next")
    evening.solve(inspection_s=12.5)
    wishes: tuple[Wish, ...] = ("penalty", "discard", "next", "discard")
    for wish in wishes:
        evening.wish(wish)
    board = Board(PracticeScreen("a cube", lambda: evening.t))
    for news in (*evening.told, Reviewed(evening.t, 1, 12, ("A pause.", "A rotation."))):
        if isinstance(news, CubeEvent):
            continue
        board.take(news)
        shown = drawn(board)
        assert "livecube practice   a cube" in shown
        assert "Ctrl-C ends." in shown
        assert len(shown.splitlines()) <= 24
        told = json.loads(json.dumps(practice_json(news)))
        assert told["event"]
        assert isinstance(practice_line(news), str | None)
    said = [practice_words(one) for one in evening.told if isinstance(one, Called)]
    assert said == ["8 seconds", "12 seconds"]


def test_the_command_keeps_what_it_tells(tmp_path: Path) -> None:
    done = started(
        *("practice", "--simulated", "--seed", "3", "--json", "--speed", "1000"),
        *("--solves", "2", "--no-hints", "--person", "ada"),
        LIVECUBE_DATA=str(tmp_path),
    )
    assert done.returncode == 0, done.stderr
    told = [json.loads(line) for line in done.stdout.splitlines()]
    judged = [one for one in told if one["event"] == "result"]
    with History(tmp_path) as history:
        kept = history.list(Wanted(person="ada"))
    assert [one["ms"] for one in judged] == [one.ms for one in kept]
    assert [one["inspection_ms"] for one in judged] == [one.inspection_ms for one in kept]
    solved = [one for one in told if one["event"] == "solve"]
    assert [one["turns"] for one in solved] == [one.turns for one in kept]
    scrambles = [one["turns"] for one in told if one["event"] == "scramble"]
    assert scrambles == [one.scramble for one in kept]


def test_before_a_solve_there_is_nothing_to_correct_or_discard(scrambler: Scrambler) -> None:
    evening = Evening(scrambler)
    told = len(evening.told)
    evening.wish("penalty")
    evening.wish("discard")
    assert evening.told[told:] == []
    assert evening.practice.attempts.next_penalty() is None
    assert evening.practice.attempts.toggle_discarded() is None
