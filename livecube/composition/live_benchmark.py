"""The time for advice in a live session: while the screen draws, waiting included."""

from __future__ import annotations

import asyncio
import os
import random
import sys
import time
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from rich.console import Console

from livecube.advice.advisor import Advisor
from livecube.advice.speaker import Spoken
from livecube.composition.assembly import known_techniques
from livecube.composition.following import SWITCH_S
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.sinks import Board, ScreenSink
from livecube.search.answers import Answers
from livecube.search.book import NO_BOOK
from livecube.search.hand_arrays import UPRIGHT
from livecube.search.situation import Situation, slot_bits
from livecube.stages.progress import Turned
from livecube.techniques.base import traits
from livecube.views.live_screen import LiveScreen
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.cube.geometry import Array
    from livecube.virtual.records import VirtualSolve

__all__ = ["book_answers", "live_answers", "times_longer_without_book"]

_SEED: Final = 11
_BETWEEN_S: Final = 0.03
"""The next position comes within this time after an answer, at any moment of the drawing."""
_WARM: Final = 20
"""First answers, which are not counted: code is still being loaded. Of few answers as many."""


def live_answers(advisor: Advisor, positions: int) -> list[float]:
    """Milliseconds for each answer at ``positions`` positions of virtual solves with a whole cross.

    As in a live session the answer is worked out in the event loop, while another thread draws
    the screen.
    """
    usual = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_S)
    try:
        return asyncio.run(_ask(advisor, positions))
    finally:
        sys.setswitchinterval(usual)


def book_answers(advisor: Advisor, positions: int) -> list[float]:
    """Milliseconds for all ways that the book has at each beginning, from one front.

    They are the fastest ways of every technique into every free slot.
    """
    answers, techniques, taken = advisor.answers.twin(), known_techniques(), []
    asked = [one for one in techniques if not traits(one).is_yardstick]
    start = [UPRIGHT[0]]
    for place in _places(positions, _SEED):
        began = time.perf_counter()
        tasks = [
            chance.task
            for technique in asked
            for chance in technique.chances(place.situation)
            if chance.second is None
        ]
        answers.look_up(place.situation, tasks, start)
        for task in tasks:
            answers.ways(place.situation, [task], start, however_dear=False)
        taken.append((time.perf_counter() - began) * 1000)
    return taken


def times_longer_without_book(
    advisor: Advisor, positions: int, *, most_free: int = 4
) -> list[float]:
    """For each position, how many times longer the same answer takes if the search finds all of it.

    Neither remembers anything of the positions before. ``most_free``: slots that may be free.
    """
    answers, ratios = advisor.answers, []
    assert answers.search is not None
    every = _places(4 * positions, _SEED)
    few = (place for place in every if place.situation.free.bit_count() <= most_free)
    for place in islice(few, positions):
        seconds = []
        for book in (answers.book, NO_BOOK):
            alone = Answers(answers.automaton, book, answers.search.twin())
            asked = Advisor(alone, known_techniques(), advisor.level)
            began = time.perf_counter()
            asked.at_beginning(place.position, place.situation.face)
            seconds.append(time.perf_counter() - began)
        ratios.append(seconds[1] / seconds[0])
    return ratios


async def _ask(advisor: Advisor, positions: int) -> list[float]:
    answers: list[float] = []
    moments = random.Random(_SEED)
    faults: list[Exception] = []
    board = Board(LiveScreen("benchmark"))
    warm = min(_WARM, positions)
    with Path(os.devnull).open("w") as nowhere:  # noqa: ASYNC230 - it never blocks
        console = Console(file=nowhere, force_terminal=True, width=110, height=34)
        screen = ScreenSink(console, board, faults.append)
        for number, place in enumerate(_places(positions + warm, _SEED)):
            await asyncio.sleep(moments.uniform(0.0, _BETWEEN_S))
            where = place.position, place.situation.face
            board.take(_turned(place))
            began = time.perf_counter()
            rows = advisor.at_beginning(*where).rows
            took_ms = (time.perf_counter() - began) * 1000
            if rows:
                board.take(Spoken(0.0, rows[0], rows[1:3]))
            if number >= warm:
                answers.append(took_ms)
        await screen.close()
    for fault in faults:
        raise fault
    return answers


class _Place(NamedTuple):
    """A position in the fixed frame, and its row for the solve's cross colour."""

    position: Array
    situation: Situation


def _places(count: int, seed: int) -> Iterator[_Place]:
    """``count`` beginnings, from as many solves as needed."""
    while True:
        for solve in session(seed, min(60, 1 + count // 2)).solves:
            for place in _beginnings(solve):
                if not count:
                    return
                count -= 1
                yield place
        seed += 1


def _beginnings(solve: VirtualSolve) -> Iterator[_Place]:
    """The positions in which the cross or a pair has just been done and a slot is free."""
    turns = [turn.turn for turn in solve.turns]
    for stage in solve.stages[:4]:
        position = apply_turns(SOLVED, turns[: stage.end_turn - solve.first_line + 1])
        situation = Situation.of(position, solve.cross)
        if situation.offset is not None and situation.free:
            yield _Place(position, situation)


def _turned(place: _Place) -> Turned:
    """The tracker's progress for a position."""
    situation = place.situation
    solved = situation.slot_names(slot_bits(situation.solved))
    position = bytes(place.position.tolist())
    return Turned(0.0, 0, 1, position, situation.colour, situation.offset, solved)
