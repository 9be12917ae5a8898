"""Written solves, and habits learned, from logs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.composition.assembly import load_holdings
from livecube.edges.log_files import LogReader
from livecube.stages.tracker import Tracker

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from livecube.edges.habits_file import Habits
    from livecube.holding.counts import Counts
    from livecube.holding.observations import SolvePart, SolveTurns
    from livecube.holding.written import WrittenSolve

__all__ = ["habits_of", "solves_of_log", "written_solves"]


def solves_of_log(log: Path) -> list[SolveTurns]:
    """All solves in a log.

    Raises :class:`~livecube.errors.LogError`.
    """
    load_holdings()
    from livecube.holding.observations import solves_in

    with LogReader(log) as reader:
        return solves_in(Tracker(reader.header.position).feed_all(reader))


def written_solves(solves: Iterable[SolveTurns], own: Habits | None = None) -> list[WrittenSolve]:
    """The solves of one person in writing; ``own``: their habits."""
    from livecube.edges.holding_file import holding_model
    from livecube.holding.acquaintance import Acquaintance
    from livecube.holding.written import write_solve

    solver = Acquaintance(holding_model(own))
    return [write_solve(one, solver.read(one.part)) for one in solves]


def habits_of(solves: Sequence[SolvePart], step: Callable[[int], None]) -> Counts:
    """Counts of the hands that made these solves; ``step`` is called as it goes on."""
    import numpy as np

    from livecube.edges.holding_file import shipped_counts
    from livecube.holding.inference import adapted

    # The same logs give the same habits: random draws have a fixed seed.
    return adapted(shipped_counts(), solves, np.random.default_rng(0), step)
