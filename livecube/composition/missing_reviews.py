"""Reviews of many kept solves, on several cores, with the same results as on one."""

from __future__ import annotations

import multiprocessing
import signal
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias, cast

from livecube.composition.reviewing import Reviewer, begun_kept, chances_of, plans_of, prices_of
from livecube.errors import KeepingError, LivecubeError
from livecube.history.store import History

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from multiprocessing.process import BaseProcess
    from pathlib import Path

    from livecube.edges.habits_file import Habits
    from livecube.hands.automaton import Automaton
    from livecube.solves.records import Chance, PlanCost, Price

__all__ = ["Found", "Manner", "reviews_of_kept"]


@dataclass(frozen=True, slots=True)
class Manner:
    """How solves of one person are reviewed; it is handed to other processes."""

    folder: Path
    """Of the history."""
    level: str
    hands: Automaton | None
    """None: the usual ones."""
    habits: Habits | None


class Found(NamedTuple):
    """What the review of a solve found."""

    number: int
    chances: tuple[Chance, ...] = ()
    prices: tuple[Price, ...] = ()
    plans: tuple[PlanCost, ...] = ()
    trouble: str = ""
    """Why the solve could not be reviewed; empty if it was."""


def _found_by(manner: Manner) -> Callable[[int], Found]:
    """Reviews the solve with a number."""
    reviewer = Reviewer(manner.level, manner.hands, manner.habits)

    def found(number: int) -> Found:
        try:
            with History(manner.folder, reading=True) as history:
                begun = begun_kept(history, number)
            one = reviewer.review(begun)
        except LivecubeError as error:
            return Found(number, trouble=str(error))
        return Found(number, tuple(chances_of(one)), tuple(prices_of(one)), tuple(plans_of(one)))

    return found


def reviews_of_kept(manner: Manner, numbers: Sequence[int], processes: int) -> Iterator[Found]:
    """The reviews of solves with these numbers, as they are ready.

    With one process, this one makes them. Raises :class:`~livecube.errors.KeepingError` if a
    process ends too early, as when memory is short.
    """
    if processes == 1 or len(numbers) == 1:
        yield from map(_found_by(manner), numbers)
        return
    waiting = iter(numbers)
    helpers = [_begun(manner) for _ in range(min(processes, len(numbers)))]
    try:
        busy = [link for _, link in helpers]
        for link in busy:
            link.send(next(waiting))
        while busy:
            for ready in cast("list[_Link]", wait(busy)):
                try:
                    yield ready.recv()
                except EOFError:
                    raise KeepingError(
                        "a process that reviews solves has ended; try again, with --processes 1 "
                        "if memory is short"
                    ) from None
                if (number := next(waiting, None)) is None:
                    busy.remove(ready)
                else:
                    ready.send(number)
    finally:
        for process, link in helpers:
            link.close()
            process.terminate()
            process.join()


_Link: TypeAlias = "Connection[Any, Any]"


def _begun(manner: Manner) -> tuple[BaseProcess, _Link]:
    # A new interpreter holds no end of the others' links: when this process is killed, each helper
    # finds its link closed, and ends.
    fresh = multiprocessing.get_context("spawn")
    ours, theirs = fresh.Pipe()
    process = fresh.Process(target=_serve, args=(theirs, manner), daemon=True)
    process.start()
    theirs.close()
    return process, ours


def _serve(link: _Link, manner: Manner) -> None:
    """Review the solves whose numbers come, until the link is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asks
    found = _found_by(manner)
    with suppress(EOFError, OSError):
        while True:
            link.send(found(link.recv()))
