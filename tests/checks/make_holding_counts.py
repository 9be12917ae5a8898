"""Makes ``livecube/holding/counts_*.json``: of the virtual solver's moves, and of the usual ways.

``python tests/checks/make_holding_counts.py`` takes about ten minutes; same seeds, same files.
``--usual`` makes only those of the usual ways, from the counts that are there: after a change of
the usual prices, the last-slot cases or the known sequences.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import beside  # noqa: F401 - before helpers are imported
from holding_truth import true_counts, virtual_solves
from usual_counts import MANNERS, usual_counts

import livecube
from livecube.edges.automaton_file import load_hands
from livecube.edges.holding_file import shipped_counts
from livecube.holding.counts import Counts, counts_text
from livecube.virtual.habits import RIGHT_HANDED, UNPLANNED

FIRST = 1_000_000
SOLVERS = {"planned": RIGHT_HANDED, "unplanned": UNPLANNED}
LEAST = 60
"""Rarer contexts are not used, nor kept."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solves", type=int, default=40_000, help="of each solver")
    parser.add_argument(
        "--folder", type=Path, default=Path(livecube.__file__).parent / "holding", metavar="FOLDER"
    )
    parser.add_argument("--manners", nargs="*", choices=[*MANNERS], default=[*MANNERS])
    parser.add_argument("--usual", action="store_true", help="only the usual ways")
    asked = parser.parse_args()
    planned = shipped_counts()[0] if asked.usual else counted(asked.folder, asked.solves)
    for kind in asked.manners:
        counts = usual_counts(kind, load_hands(), planned)
        write(asked.folder, counts, "the usual hands, cases and sequences; beside counts_planned")


def counted(folder: Path, solves: int) -> Counts:
    """Count the virtual solvers; returns the counts of those who plan a grip."""
    seeds = range(FIRST, FIRST + solves)
    made = []
    for which, habits in SOLVERS.items():
        counts = true_counts(virtual_solves(seeds, habits))
        counts.grip = which
        write(folder, counts, f"virtual solves {FIRST} to {seeds.stop - 1}, habits {habits.name}")
        made.append(counts)
    return made[0]


def write(folder: Path, counts: Counts, source: str) -> None:
    text = counts_text(counts, f"tests/checks/make_holding_counts.py: {source}", LEAST)
    (folder / f"counts_{counts.grip}.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
