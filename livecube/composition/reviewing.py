"""Reviews of solves from logs and from the history."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.composition.assembly import load_holdings
from livecube.composition.writing import written_solves
from livecube.edges.log_files import LogReader
from livecube.errors import UsageError
from livecube.stages.progress import Resynced, Turned
from livecube.stages.tracker import Tracker

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from livecube.advice.advisor import Advisor
    from livecube.edges.history.store import History
    from livecube.events import CubeEvent
    from livecube.hands.automaton import Automaton
    from livecube.holding.solve_turns import Solves, SolveTurns
    from livecube.review.values import Review
    from livecube.solves.records import Chance
    from livecube.stages.progress import Progress

__all__ = ["Begun", "begun_kept", "begun_solves", "chances_of", "review_of"]


@dataclass(frozen=True, slots=True)
class Begun:
    """A solve and the position in which its first turn was made (20 facelets)."""

    of: SolveTurns
    start: bytes


def begun_solves(log: Path) -> list[Begun]:
    """All solves in a log.

    Raises :class:`~livecube.errors.LogError`.
    """
    load_holdings()
    from livecube.holding.solve_turns import Solves

    with LogReader(log) as reader:
        return _begun(Tracker(reader.header.position), reader, Solves())


def begun_kept(history: History, number: int) -> Begun:
    """A solve of the history.

    Raises :class:`~livecube.errors.UsageError` if there is none of this number, or its log
    cannot be read any more.
    """
    log = history.folder / history.solve(number).log
    solves = begun_solves(log)
    if not solves:
        raise UsageError(f"the log of solve {number}, {log}, holds no solve any more")
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
) -> Review:
    """The review of one solve; ``step`` is called for each of its stages."""
    from livecube.review.making import review_solve

    (written,) = written_solves([begun.of])
    return review_solve(written, begun.start, advisor, hands, step)


def chances_of(review: Review) -> list[Chance]:
    """What the history keeps of a review: the chances of its pairs, taken or not."""
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
