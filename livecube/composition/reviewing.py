"""Reviews of solves from logs and from the history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.speaker import is_filled_by
from livecube.composition.assembly import load_advisor, load_holdings, set_level
from livecube.composition.writing import written_solves
from livecube.edges.automaton_file import load_hands
from livecube.edges.log_files import LogReader
from livecube.errors import LogError, UsageError
from livecube.stages.progress import Resynced, SolveOver, Turned
from livecube.stages.tracker import Tracker
from livecube.views.happenings import STAGE_TITLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.edges.habits_file import Habits
    from livecube.events import CubeEvent
    from livecube.hands.automaton import Automaton
    from livecube.history.store import History
    from livecube.holding.observations import Solves, SolveTurns
    from livecube.logs.lines import Header
    from livecube.review.reviewed import Review
    from livecube.solves.records import Chance, KeptSolve, PlanCost, Price
    from livecube.stages.progress import Progress
    from livecube.stages.solve import Split

__all__ = [
    "Begun",
    "Reviewer",
    "begun_in",
    "begun_kept",
    "begun_solves",
    "chances_of",
    "plans_of",
    "positions_of",
    "prices_of",
    "review_of",
]


@dataclass(frozen=True, slots=True)
class Begun:
    """A solve and the position in which its first turn was made (20 facelets)."""

    of: SolveTurns
    start: bytes


def begun_solves(log: Path) -> list[Begun]:
    """All solves in a log.

    Raises :class:`~livecube.errors.LogError`.
    """
    with LogReader(log) as reader:
        return begun_in(reader.header, reader)


def begun_in(header: Header, events: Iterable[CubeEvent]) -> list[Begun]:
    """All solves in the events of a log."""
    load_holdings()
    from livecube.holding.observations import Solves

    return _begun(Tracker(header.position), events, Solves())


def begun_kept(history: History, number: int) -> Begun:
    """A solve of the history.

    Raises :class:`~livecube.errors.UsageError` if no solve has this number, or if its log
    can no longer be read.
    """
    log = history.folder / history.solve(number).log
    solves = begun_solves(log)
    if not solves:
        raise UsageError(f"the log of solve {number}, {log}, no longer holds a solve")
    return solves[-1]


def _begun(tracker: Tracker, events: Iterable[CubeEvent], solves: Solves) -> list[Begun]:
    found = []
    before = {1: tracker.position}
    """Positions by the line of the next turn."""
    for progress in _told(tracker, events):
        if isinstance(progress, Turned | Resynced):
            before[tracker.line + 1] = progress.position
        if (over := solves.take(progress)) is not None:
            found.append(Begun(over, before[over.first_line]))
    return found


def _told(tracker: Tracker, events: Iterable[CubeEvent]) -> Iterator[Progress]:
    for event in events:
        yield from tracker.feed(event)
    yield from tracker.finish()


def review_of(
    begun: Begun,
    advisor: Advisor,
    hands: Automaton,
    step: Callable[[int], None] = lambda stages: None,
    own: Habits | None = None,
) -> Review:
    """The review of one solve; ``step`` is called for each of its stages.

    ``own``: habits of the person who made it.
    """
    from livecube.review.making import review_solve

    (written,) = written_solves([begun.of], own)
    return review_solve(written, begun.start, advisor, hands, step)


class Reviewer:
    """Reviews many solves in one manner; what it needs is loaded once.

    ``hands``: None for the usual ones. ``habits``: of the person who made the solves.
    """

    def __init__(
        self, level: str, hands: Automaton | None = None, habits: Habits | None = None
    ) -> None:
        self.holdings = load_holdings(habits)
        self._hands = hands or load_hands()
        self._advisor = load_advisor(hands=self._hands)
        set_level(self._advisor, level)
        self._habits = habits

    def review(self, begun: Begun) -> Review:
        """The review of one solve."""
        return review_of(begun, self._advisor, self._hands, own=self._habits)


def chances_of(review: Review) -> list[Chance]:
    """The part of a review for the history: the chances of its pairs, taken or not."""
    from livecube.solves.records import Chance

    return [
        Chance(
            stage=number,
            technique=way.row.technique,
            slot=slot,
            taken=way.row.technique == stage.split.technique and slot in stage.split.slots,
            saved_ms=round(1000 * way.saved_s),
        )
        for number, stage in enumerate(review.stages)
        for way in stage.chances
        for slot in way.row.slots
    ]


def prices_of(review: Review) -> list[Price]:
    """The part of a review for a later focus: what each technique cost before each pair."""
    from livecube.solves.records import Price

    splits = [stage.split for stage in review.stages]
    return [
        Price(number, row.technique, round(1000 * price_s), _is_done(row, splits[number:]))
        for number, stage in enumerate(review.stages)
        for row, price_s in stage.prices
    ]


def plans_of(review: Review) -> list[PlanCost]:
    """The part of a review that says how each pair compares with the best plan."""
    from livecube.solves.records import PlanCost

    return [
        PlanCost(
            number,
            *(
                round(1000 * seconds)
                for seconds in (
                    one.plan.total, one.own.total, one.slow_s, one.turning_s, one.pause_s
                )
            ),
        )
        for number, stage in enumerate(review.stages)
        if (one := stage.against_plan) is not None
    ]  # fmt: skip


def _is_done(row: Opportunity, splits: Sequence[Split]) -> bool:
    """Whether the first of these pairs was done by the row's technique, into any slot.

    If the row fills two slots, the first two pairs count, as in :func:`.is_filled_by`.
    """
    its = splits[: len(row.slots)]
    return its[0].technique == row.technique or (len(its) > 1 and is_filled_by(row, its))


# The positions of a solve, for a report.


def positions_of(solve: KeptSolve, log: Path) -> list[tuple[str, Array]]:
    """Positions with their titles: where it began, and where each stage ended.

    Empty if the log cannot be read.
    """
    try:
        with LogReader(log) as reader:
            tracker = Tracker(reader.header.position)
            stood, begun = {0: tracker.position}, list[int]()
            for event in reader:
                for progress in tracker.feed(event):
                    if isinstance(progress, Turned | Resynced):
                        stood[tracker.line] = progress.position
                    elif isinstance(progress, SolveOver):
                        begun = [progress.solve.start_turn]
    except LogError:
        return []
    found = [("Where it began", np.frombuffer(stood[at - 1], dtype=np.uint8)) for at in begun]
    for stage in solve.stages:
        if stage.end_turn in stood and not stage.shared:
            name = " ".join((STAGE_TITLES[stage.stage], *stage.slots))
            position = np.frombuffer(stood[stage.end_turn], dtype=np.uint8)
            found.append((f"After {name}", position))
    return found
