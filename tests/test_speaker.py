"""When a hint is said, stands and ends: a test for each rule."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

import pytest

from livecube.advice.advisor import Beginning, Way
from livecube.advice.plan import Plan
from livecube.advice.rows import Opportunity
from livecube.advice.speaker import (
    Adjusted,
    Asks,
    Planned,
    Repair,
    Speaker,
    Spoken,
    Taken,
    Withdrawn,
    _Pace,
)
from livecube.cube.holding import Holding, hand_moves
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED_BYTES
from livecube.events import HeldAs
from livecube.stages.progress import CrossColour, Resynced, SolveBegun, SolveOver, StageDone, Turned
from livecube.stages.solve import Solve, Split
from livecube.techniques.registry import own_traits

if TYPE_CHECKING:
    from livecube.advice.speaker import Said
    from livecube.stages.solve import StageName

HELD = Holding.of(0, 2)
"""White up, green front, over the yellow cross."""
GREEN_RED, BLUE_RED, BLUE_ORANGE, GREEN_ORANGE = SLOTS = (
    "green-red",
    "blue-red",
    "blue-orange",
    "green-orange",
)
UPPER, OTHER = parse_turns("U R")


def row(*slots: str, technique: str = "plain", turns: str = "R U R'") -> Opportunity:
    fixed = tuple(parse_turns(turns))
    return Opportunity(
        technique, technique, slots, fixed, tuple(hand_moves(fixed, HELD)), HELD, len(fixed),
        None, 0, 0, 1.0, 0.2, "why", traits=own_traits(technique),
    )  # fmt: skip


GOOD, OTHER_PAIR = row(GREEN_RED), row(BLUE_RED, turns="R' U' R")


def answer(*rows: Opportunity, best: float = 5.0, standing: Way | None = None) -> Beginning:
    return Beginning(rows, best if rows else inf, standing=standing)


class Play:
    """A speaker that gets a solve over the yellow cross, step by step."""

    def __init__(self) -> None:
        self.speaker = Speaker()
        self.line = 0
        self.t = 0.0
        self.kept: tuple[str, ...] = ()

    def turn(
        self,
        turn: int = OTHER,
        *,
        offset: int | None = 0,
        out: tuple[str, ...] = (),
        after: float = 0.3,
        cross: str | None = "yellow",
    ) -> list[Said]:
        self.line += 1
        self.t += after
        solved = tuple(slot for slot in self.kept if slot not in out)
        return self.speaker.take(
            Turned(
                self.t, turn, self.line, SOLVED_BYTES, cross, offset, solved, kept=self.kept
            )
        )  # fmt: skip

    def done(self, stage: StageName = "pair", *slots: str, turn: int = OTHER) -> list[Said]:
        """A turn after which a stage is done."""
        self.kept += slots
        told = self.turn(turn)
        split = Split(stage, slots, self.line, 1, 1.0, 0.0, None, None, 0, False, None)
        return told + self.speaker.take(StageDone(self.t, split))

    def says(self, hint: Opportunity = GOOD) -> Play:
        """The cross is done and a hint is said."""
        self.done("cross")
        assert self.speaker.question() is Asks.BEST
        self.speaker.begin(self.t, answer(hint))
        return self


# Beginnings.


def test_a_line_at_which_the_cross_or_a_pair_is_done_is_a_beginning() -> None:
    play = Play()
    play.turn(offset=None, cross=None)
    assert play.speaker.question() is None
    play.done("cross")
    assert play.speaker.question() is Asks.BEST
    assert play.speaker.question() is None, "asked once"
    play.turn()
    assert play.speaker.question() is None, "a settled position between two beginnings is none"
    play.done("pair", GREEN_RED)
    assert play.speaker.question() is Asks.BEST


def test_nothing_is_asked_at_the_line_at_which_the_four_slots_are_kept() -> None:
    play = Play()
    play.done("cross")
    play.done("pair", *SLOTS[:3])
    assert play.speaker.question() is Asks.BEST
    play.done("pair", SLOTS[3])
    assert play.speaker.question() is None
    play.done("orient")
    assert play.speaker.question() is None
    assert play.speaker.due is None, "with all slots in there is nothing to wait for"


def test_before_the_twentieth_turn_a_second_of_rest_is_a_stop() -> None:
    play = Play()
    for _ in range(18):
        play.turn(offset=None, after=2.0)
    play.turn(offset=2)
    assert play.speaker.due == play.t + 1.0
    play.turn(after=2.0)  # the twentieth
    assert play.speaker.due == play.t + 4 * 2.0


def test_a_stop_takes_four_median_gaps_of_this_solve_and_never_less_than_a_second() -> None:
    play = Play()
    for _ in range(30):
        play.turn(after=5.0)  # the scramble, slowly
    play.speaker.take(SolveBegun(play.t, None, 30, play.t))
    for gap in [0.1, 0.5] * 10:
        play.turn(after=gap)
    assert play.speaker.due == pytest.approx(play.t + 4 * 0.3)
    for _ in range(20):
        play.turn(after=0.1)
    assert play.speaker.due == play.t + 1.0
    for _ in range(60):
        play.turn(after=0.5)
    assert play.speaker.due == play.t + 2.0
    play.speaker.take(SolveOver(play.t, solve()))
    play.turn(after=9.0)
    assert play.speaker.due == play.t + 1.0, "another solve, whose pace nobody knows"


@pytest.mark.parametrize("offset", [None, 0, 3])
def test_hands_stop_only_where_the_cross_is_whole(offset: int | None) -> None:
    play = Play()
    play.turn(offset=offset)
    assert (play.speaker.due is None) == (offset is None)


def test_a_stop_asks_once_and_not_where_the_line_was_answered() -> None:
    play = Play().says()
    play.speaker.wake()
    assert play.speaker.question() is None, "the hint of this line stands already"
    play.turn()
    play.speaker.wake()
    assert play.speaker.question() is Asks.BEST
    assert play.speaker.due is None


def test_a_stop_asks_where_a_line_was_not_answered() -> None:
    play = Play()
    play.done("cross")
    assert play.speaker.question() is Asks.BEST  # the advisor was not ready
    play.speaker.wake()
    assert play.speaker.question() is Asks.BEST


# What is said.


def test_the_best_is_said_with_two_for_other_slots() -> None:
    play = Play()
    play.done("cross")
    rows = [
        row(GREEN_RED),
        row(GREEN_RED, technique="keyhole-edge"),
        row(BLUE_RED),
        row(BLUE_RED, technique="made-pair"),
        row(BLUE_ORANGE),
        row(GREEN_ORANGE),
    ]
    (said,) = play.speaker.begin(play.t, answer(*rows))
    assert said == Spoken(play.t, rows[0], (rows[2], rows[4]))
    assert play.speaker.hint == said


def test_a_rule_silences_a_beginning_and_what_stood_ends_all_the_same() -> None:
    play = Play().says()
    play.done("pair", BLUE_ORANGE)
    silenced = replace(answer(OTHER_PAIR), silence="before-the-eyes")
    assert play.speaker.begin(play.t, silenced) == [Withdrawn(play.t, GOOD)]
    assert play.speaker.hint is None


def test_where_there_is_no_answer_nothing_is_said() -> None:
    play = Play()
    play.done("cross")
    assert play.speaker.begin(play.t, answer()) == []


# What stands.


@pytest.mark.parametrize(("more", "goes_on"), [(0.0, True), (0.1, True), (0.11, False)])
def test_what_stands_goes_on_if_its_plan_is_nearly_the_best(more: float, goes_on: bool) -> None:
    play = Play().says()
    play.done("pair", BLUE_ORANGE)
    told = play.speaker.begin(play.t, answer(OTHER_PAIR, standing=Way(GOOD, 5.0 + more)))
    if goes_on:
        assert told == []
        assert play.speaker.hint is not None
        assert play.speaker.hint.opportunity == GOOD
    else:
        assert told == [Withdrawn(play.t, GOOD), Spoken(play.t, OTHER_PAIR)]


def test_what_stands_ends_where_it_cannot_be_done_in_that_way_any_more() -> None:
    play = Play().says()
    play.turn()
    play.speaker.wake()
    told = play.speaker.begin(play.t, answer(OTHER_PAIR))
    assert told == [Withdrawn(play.t, GOOD), Spoken(play.t, OTHER_PAIR)]


def test_what_goes_on_with_other_moves_is_adjusted() -> None:
    play = Play().says()
    play.done("pair", BLUE_ORANGE)
    other = row(GREEN_RED, turns="U R U' R'")
    assert play.speaker.begin(play.t, answer(other, standing=Way(other, 5.0))) == [
        Adjusted(play.t, other)
    ]


def test_what_waits_only_for_the_aligning_turn_goes_on() -> None:
    play = Play().says()
    play.kept = (GREEN_RED,)  # solved up to the offset, but not kept
    play.line += 1
    turned = Turned(9.0, OTHER, play.line, SOLVED_BYTES, "yellow", 1, (GREEN_RED,))
    play.speaker.take(turned)
    play.speaker.wake()
    assert play.speaker.question() is Asks.BEST
    assert play.speaker.begin(10.0, answer(OTHER_PAIR)) == []
    assert play.speaker.hint is not None


# How it ends.


def test_a_hint_is_taken_at_the_line_at_which_its_pair_is_done() -> None:
    play = Play().says()
    assert play.turn() == []
    assert play.done("pair", GREEN_RED) == [Taken(play.t, GOOD)]
    assert play.speaker.hint is None
    assert play.speaker.question() is Asks.BEST


def test_the_last_pair_is_taken_too() -> None:
    play = Play()
    play.done("cross")
    play.done("pair", *SLOTS[1:])
    play.speaker.begin(play.t, answer(GOOD))
    assert play.done("pair", GREEN_RED) == [Taken(play.t, GOOD)]
    assert play.speaker.question() is None


def test_a_hint_for_two_slots_is_taken_when_both_are_in() -> None:
    both = row(GREEN_RED, BLUE_RED, technique="pseudo-pair")
    play = Play().says(both)
    assert play.done("pair", GREEN_RED) == []
    play = Play().says(both)
    assert play.done("pair", GREEN_RED, BLUE_RED) == [Taken(play.t, both)]


def test_a_resync_withdraws_and_asks_nothing_until_the_cube_is_turned() -> None:
    play = Play().says()
    play.turn()
    told = play.speaker.take(Resynced(play.t, SOLVED_BYTES))
    assert told == [Withdrawn(play.t, GOOD)]
    assert play.speaker.due is None
    play.speaker.wake()
    assert play.speaker.question() is None


def test_the_end_of_a_solve_withdraws() -> None:
    play = Play().says()
    assert play.speaker.take(SolveOver(play.t, solve())) == [Withdrawn(play.t, GOOD)]


def test_another_cross_withdraws_a_pair_that_may_have_the_same_name() -> None:
    play = Play().says()
    change = CrossColour(play.t, "white", "yellow", play.line)
    assert play.speaker.take(change) == [Withdrawn(play.t, GOOD)]


def test_a_scramble_in_the_middle_of_a_solve_withdraws_its_hint() -> None:
    play = Play().says()
    begun = SolveBegun(play.t, None, 9, play.t)
    assert play.speaker.take(begun) == [Withdrawn(play.t, GOOD)]


# Adjusting.


def test_upper_layer_turns_before_the_insertion_adjust_and_none_behind_it() -> None:
    play = Play().says()
    play.turn(UPPER)
    assert play.speaker.question() is Asks.MOVES
    other = row(GREEN_RED, turns="U' R U R'")
    assert play.speaker.adjust(play.t, other) == [Adjusted(play.t, other)]
    assert play.speaker.hint is not None
    assert play.speaker.hint.opportunity == other
    play.turn(OTHER, offset=None)
    assert play.speaker.question() is None
    play.turn(UPPER, offset=None)
    assert play.speaker.question() is None
    play.speaker.wake()
    play.speaker.begin(play.t, answer(other, standing=Way(other, 5.0)))
    play.turn(UPPER)
    assert play.speaker.question() is Asks.MOVES, "what went on at a stop begins anew"


def test_a_hint_that_follows_another_is_adjusted_too() -> None:
    play = Play().says()
    play.done("pair", GREEN_RED)
    play.speaker.begin(play.t, answer(OTHER_PAIR))
    play.turn(UPPER)
    assert play.speaker.question() is Asks.MOVES


def test_a_hint_that_is_said_in_place_of_another_is_adjusted_too() -> None:
    play = Play().says()
    play.turn(OTHER)
    play.speaker.wake()
    play.speaker.begin(play.t, answer(OTHER_PAIR))
    play.turn(UPPER)
    assert play.speaker.question() is Asks.MOVES


def test_without_an_answer_nothing_is_adjusted() -> None:
    play = Play().says()
    play.turn(UPPER)
    assert play.speaker.adjust(play.t, None) == []
    assert play.speaker.hint is not None


def test_moves_that_stay_the_same_are_not_told_again() -> None:
    play = Play().says()
    assert play.speaker.adjust(play.t, GOOD) == []


def test_further_hints_are_dropped_with_the_position_they_were_for() -> None:
    play = Play()
    play.done("cross")
    play.speaker.begin(play.t, answer(GOOD, OTHER_PAIR))
    play.speaker.adjust(play.t, row(GREEN_RED, turns="U R U' R'"))
    assert play.speaker.hint is not None
    assert play.speaker.hint.also == ()


def test_a_hint_is_written_anew_for_a_stated_holding_but_not_under_way() -> None:
    play = Play().says()
    play.speaker.take(HeldAs(play.t, HELD))
    assert play.speaker.question() is Asks.MOVES
    play.turn(OTHER)
    play.speaker.take(HeldAs(play.t, HELD))
    assert play.speaker.question() is None


# While four slots are kept.


def kept_four(*out: str) -> Play:
    play = Play()
    play.done("cross")
    play.done("pair", *SLOTS)
    play.turn(out=out)
    return play


def test_two_seconds_of_rest_with_a_kept_slot_out_ask_for_its_repair() -> None:
    play = kept_four(GREEN_RED)
    assert play.speaker.due == play.t + 2.0
    play.speaker.wake()
    assert play.speaker.question() is Asks.REPAIR
    way = row(GREEN_RED, technique="repair")
    assert play.speaker.repair(play.t, way) == [Repair(play.t, way)]
    assert play.speaker.repair(play.t, None) == []
    assert play.speaker.hint is None, "it is no hint"
    assert play.speaker.due is None


def test_no_repair_with_all_slots_in_or_the_cross_broken() -> None:
    assert kept_four().speaker.due is None
    play = kept_four()
    play.turn(offset=None, out=(GREEN_RED,))
    assert play.speaker.due is None


# The beginning of a solve.


def test_an_opening_is_said_at_rest_and_not_repeated() -> None:
    speaker = Speaker()
    cross, x_cross = row(technique="cross"), row(GREEN_RED, technique="x-cross")
    assert speaker.open(3.0, []) == []
    (said,) = speaker.open(3.0, [x_cross, cross])
    assert said == Spoken(3.0, x_cross, (cross,), inspection=True)
    assert speaker.open(5.0, [x_cross, cross]) == []
    assert speaker.open(9.0, [cross]) == [
        Withdrawn(9.0, x_cross),
        Spoken(9.0, cross, inspection=True),
    ]


@pytest.mark.parametrize(
    ("crosses", "kept", "slots", "end"),
    [
        ("yellow", (), (), Taken),
        ("white", (), (), Withdrawn),
        ("yellow", (GREEN_RED,), (GREEN_RED,), Taken),
        ("yellow", (), (GREEN_RED,), Withdrawn),
    ],
)
def test_an_opening_stands_until_a_cross_is_done(
    crosses: str, kept: tuple[str, ...], slots: tuple[str, ...], end: type
) -> None:
    play = Play()
    opening = row(*slots, technique="x-cross" if slots else "cross")
    play.speaker.open(0.0, [opening], frozenset([crosses]))
    play.turn(UPPER, offset=None, cross=None)
    assert play.speaker.take(SolveBegun(play.t, None, 1, play.t)) == []
    assert play.speaker.question() is None, "its moves are not adjusted"
    play.speaker.take(HeldAs(play.t, HELD))
    assert play.speaker.question() is None
    assert play.done("cross", *kept) == [end(play.t, opening)]
    assert play.speaker.question() is Asks.BEST


def test_plans_come_with_the_hint_if_there_is_a_choice() -> None:
    play = Play()
    play.done("cross")
    found = (Plan((GOOD, OTHER_PAIR)),)
    told = play.speaker.begin(play.t, replace(answer(GOOD), plans=found))
    assert told[1:] == [Planned(play.t, found)]
    play.done("pair", GREEN_RED)
    one = replace(answer(OTHER_PAIR), plans=(Plan((OTHER_PAIR,)),))
    assert play.speaker.begin(play.t, one) == [Spoken(play.t, OTHER_PAIR)]


def solve() -> Solve:
    return Solve(None, "yellow", 1, 0.0, 1.0, 1, solved=True, splits=())


def test_where_no_hint_for_a_pair_stands_turns_ask_for_no_moves() -> None:
    play = Play()
    play.done("cross")
    assert play.speaker.question() is Asks.BEST
    assert play.speaker.begin(play.t, answer()) == []
    play.turn(UPPER)
    assert play.speaker.question() is None
    play.turn(UPPER, cross=None)
    assert play.speaker.question() is None
    opened = Play()
    opened.speaker.open(0.0, [row()])
    opened.turn(UPPER)
    assert opened.speaker.question() is None  # it is a hint for the beginning of a solve


def test_the_pace_is_that_of_the_solve_also_if_its_beginning_is_known_late() -> None:
    def turned(line: int) -> Turned:
        return Turned(0.1 * min(line, 9) + 0.7 * max(0, line - 9), 0, line, b"", None, None, ())

    late, in_time = _Pace(), _Pace()
    for line in range(1, 40):
        late.turn(turned(line))
    late.begin(10)
    for line in range(10, 40):
        in_time.turn(turned(line))
    assert late.stop_s == in_time.stop_s == pytest.approx(2.8)
    for line in range(40, 46):
        late.turn(turned(line))
    late.begin(30)  # too few turns to know the pace
    assert late.stop_s == 1.0
