"""The advice in positions of virtual solves, and everything that is said in some solves.

Other tests judge whether it is right: ``test_advice.py``, ``test_plan.py``, ``test_saying.py``.
This test only shows every change. ``python tests/test_advice_golden.py`` rewrites the golden file;
read the difference before you commit it.
"""

from __future__ import annotations

import json
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest
from advising import advisor_at
from examples import part_of, thorough

from livecube.advice.inspection import inspect_cross
from livecube.advice.speaker import (
    STEP_S,
    WHEN,
    Adjusted,
    Clue,
    Manner,
    Planned,
    Repair,
    Spoken,
    Taken,
    Unsaid,
    Withdrawn,
)
from livecube.advice.words import Level, spoken_place, spoken_words
from livecube.composition.pipeline import Pipeline
from livecube.cube.holding import HOLDINGS, Holding
from livecube.cube.notation import moves_text, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.events import HeldAs
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "advice.golden.txt"
SAID: Final = (Adjusted, Clue, Planned, Repair, Spoken, Taken, Unsaid, Withdrawn)


def text_of(value: Any) -> str:
    """As few words as tell everything."""
    return json.dumps(value, default=str, separators=(",", ":"))


def row_text(row: Opportunity) -> str:
    moves = f"{moves_text(row.moves)} of {row.holding}"
    return f"{row.technique} {row.slots} {moves}: {row.seconds:.3f} {row.looking:.3f} {row.why}"


@cache
def stood(seed: int) -> tuple[int, list[Array]]:
    """The cross face of a virtual solve, and positions at the end of its stages and between."""
    done = solve(seed)
    position = apply_turns(SOLVED, done.scramble)
    ends = [stage.end_turn - done.start_turn for stage in done.stages[:4]]
    wanted = {*ends, (ends[0] + ends[1]) // 2, ends[1] + 1}
    positions = [position]
    for number, turn in enumerate(done.solving):
        position = apply_turns(position, [turn.turn])
        if number in wanted:
            positions.append(position)
    return done.cross, positions


def held(seed: int) -> Holding | None:
    """A holding at some seeds."""
    return HOLDINGS[(5 * seed) % 24] if seed % 2 else None


def advised(seed: int) -> Iterator[str]:
    """All rows and plans of each position."""
    face, positions = stood(seed)
    advisor = advisor_at(list(Level)[seed % 3])
    for number, position in enumerate(positions[1:]):
        advice = advisor.advise(position, face, held(seed), looking=number % 3 > 0)
        yield text_of(advice.as_json(0.0))
        middle = advisor.advise(position, face, inspection=False, shortest=False, above_level=False)
        yield text_of(middle.as_json(0.0))


def begun(seed: int) -> Iterator[str]:
    """What is answered at beginnings, a hint standing."""
    face, positions = stood(seed)
    advisor = advisor_at(list(Level)[seed % 3])
    standing = None
    for position in positions[1:]:
        slots = standing.slots if standing and seed % 2 else ()
        answer = advisor.at_beginning(position, face, held(seed), standing, slots)
        yield repr(answer)
        standing = answer.rows[len(answer.rows) // 2] if answer.rows else None
        yield from (row_text(row) for row in answer.rows)
        for row in answer.rows:
            yield spoken_words(row, held(seed))
            yield spoken_place(row, None)


def inspected(seed: int) -> Iterator[str]:
    """What there is in inspection."""
    _, positions = stood(seed)
    advisor = advisor_at(Level.BOLD)
    yield text_of(inspect_cross(advisor, positions[0], seed % 6, held(seed)).as_json())


def repaired(seed: int) -> Iterator[str]:
    """How slots come in that are out."""
    advisor = advisor_at()
    for text in ("R U R'", "R U R' L' U' L", "F U2 F' B U B' U2", "R U R' F R F' L U L' U B"):
        position = apply_turns(SOLVED, parse_turns(text))
        for face in (5, seed % 6):
            row = advisor.repair(position, face, held(seed))
            yield "nothing" if row is None else row_text(row)


def followed(seed: int) -> Iterator[str]:
    """All that is said of one solve, with its lines and times."""
    events = session(seed, [{"reopened"} if seed % 2 else set()], on_cube=seed % 3 > 0)
    start = apply_turns(SOLVED, events.scramble).tobytes()
    manner = Manner(WHEN[2 * (seed == 4)], clues_s=None if seed % 2 else STEP_S)
    pipeline = Pipeline(Tracker(start), lambda: 0.0, manner)
    pipeline.advisor = advisor_at(list(Level)[seed % 3])
    stream = events.events(marks=seed % 2 == 0)
    stream.insert(len(stream) // 2, HeldAs(stream[len(stream) // 2].t, Holding.of(5, 2)))
    for event in stream:
        while (due := pipeline.due) is not None and due <= event.t:
            yield from (repr(one) for one in pipeline.wake() if isinstance(one, SAID))
        yield from (repr(one) for one in pipeline.feed(event) if isinstance(one, SAID))
    yield from (repr(one) for one in pipeline.finish() if isinstance(one, SAID))


PARTS: Final[dict[str, Callable[[int], Iterator[str]]]] = {
    "begun": begun, "followed": followed, "repaired": repaired, "inspected": inspected,
    "advised": advised,
}  # fmt: skip
ASKED: Final = [
    *((name, seed) for name in ("begun", "followed") for seed in range(6)),
    *(("repaired", seed) for seed in (1, 2)),
    *(("inspected", seed) for seed in (1, 2, 4)),
    *(("advised", seed) for seed in range(4)),
]


def digest(name: str, seed: int) -> str:
    return sha256("\n".join(PARTS[name](seed)).encode()).hexdigest()[:12]


def words() -> str:
    """The rows of some answers, to be read."""
    rows = [line for seed in (1, 2) for line in begun(seed) if " of " in line and "(" in line]
    return "\n".join(line for line in rows if not line.startswith("Beginning")) + "\n"


@pytest.mark.parametrize(
    ("name", "seed"),
    [one if one.values[0] != "advised" else thorough(*one.values) for one in part_of(ASKED, 4)],
)
def test_what_is_advised_is_what_was(name: str, seed: int) -> None:
    assert f"{name} {seed}: {digest(name, seed)}" in GOLDEN.read_text(encoding="utf-8").splitlines()


def test_rows_that_can_be_read_are_those_that_were() -> None:
    assert words() in GOLDEN.read_text(encoding="utf-8")


if __name__ == "__main__":
    last = "".join(f"{name} {seed}: {digest(name, seed)}\n" for name, seed in ASKED)
    GOLDEN.write_text(f"{words()}\n{last}", encoding="utf-8")
