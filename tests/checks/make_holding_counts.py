"""Makes ``livecube/holding/counts_*.json``: counts of the virtual solver's moves.

``python tests/checks/make_holding_counts.py`` takes about ten minutes; same seeds, same files.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import beside  # noqa: F401 - before helpers are imported
from holding_truth import true_counts, virtual_solves

import livecube
from livecube.holding.counts import counts_text
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
    asked = parser.parse_args()
    seeds = range(FIRST, FIRST + asked.solves)
    for which, habits in SOLVERS.items():
        counts = true_counts(virtual_solves(seeds, habits))
        counts.grip = which
        about = (
            "tests/checks/make_holding_counts.py: "
            f"virtual solves {seeds.start} to {seeds.stop - 1}, habits {habits.name}"
        )
        text = counts_text(counts, about, LEAST)
        (asked.folder / f"counts_{which}.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
