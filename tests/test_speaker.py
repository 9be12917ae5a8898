"""When advice is said, when it is taken back, and that it never flickers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from livecube.advice.advisor import Advisor
from livecube.advice.speaker import Spoken, Withdrawn, follows
from livecube.composition.pipeline import Pipeline
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.hands_file import default_hands
from livecube.events import Turn
from livecube.stages.progress import Turned
from livecube.stages.tracker import Tracker
from livecube.techniques.registry import TECHNIQUES
from livecube.virtual.session import session

if TYPE_CHECKING:
    from livecube.advice.speaker import Happening
    from livecube.search.engine import Engine


@pytest.mark.parametrize(
    ("made", "advised", "on_the_way"),
    [
        ("", "R U R'", True),
        ("R U", "R U R'", True),
        ("R U R'", "R U R'", True),
        ("R U'", "R U R'", True),  # U' may become U; the next turn tells
        ("R U' R'", "R U R'", False),
        ("R U U", "R U2 R'", True),
        ("U", "U2 R U R'", True),
        ("F", "R U R'", False),
        ("R U R' U", "R U R'", False),
        ("R L", "L R U", True),  # opposite faces in either order
    ],
)
def test_hands_follow_advice(made: str, advised: str, on_the_way: bool) -> None:
    assert follows(parse_turns(made), parse_turns(advised)) is on_the_way


def told_by(engine: Engine, start: bytes, turns: list[int]) -> list[Happening]:
    pipeline = Pipeline(Tracker(start), lambda: 0.0)
    pipeline.advisor = Advisor(engine, TECHNIQUES, default_hands())
    return [h for i, turn in enumerate(turns) for h in pipeline.feed(Turn(i * 0.2, turn))]


def test_what_is_said_is_true_when_it_is_said_and_not_said_twice_running(engine: Engine) -> None:
    said = 0
    for seed in range(6):
        solve = session(seed, 1, on_cube=False)
        start = bytes(apply_turns(SOLVED, solve.scramble).tolist())
        position, current = start, None
        for happening in told_by(engine, start, [t.turn for t in solve.turns]):
            match happening:
                case Turned():
                    position = happening.position
                case Withdrawn():
                    assert current is not None
                    current = None
                case Spoken(opportunity=row):
                    said += 1
                    assert (row.technique, row.turns_fixed, position) != current
                    current = (row.technique, row.turns_fixed, position)
                    assert not row.silenced
                    assert row.slots not in [other.slots for other in happening.also]
    assert said > 20


def test_advice_stays_while_the_hands_follow_it_and_goes_when_they_turn_away(
    engine: Engine,
) -> None:
    solve = session(3, 1, on_cube=False)
    start = bytes(apply_turns(SOLVED, solve.scramble).tolist())
    cross_line = solve.solves[0].stages[0].end_turn
    turns = [t.turn for t in solve.turns[:cross_line]]
    told = told_by(engine, start, turns)
    row = [h for h in told if isinstance(h, Spoken)][-1].opportunity

    followed = told_by(engine, start, turns + list(row.turns_fixed[:-1]))[len(told) :]
    assert not [h for h in followed if isinstance(h, Spoken | Withdrawn)]

    elsewhere = next(t for t in range(0, 18, 3) if t // 3 != row.turns_fixed[0] // 3)
    left = told_by(engine, start, [*turns, elsewhere])[len(told) :]
    gone = [h for h in left if isinstance(h, Withdrawn)]
    assert [g.opportunity.turns_fixed for g in gone] == [row.turns_fixed]
