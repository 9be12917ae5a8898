"""Makes ``livecube/holding/counts_*.json``: what the virtual solver's hands did, counted.

``python tests/make_holding_counts.py`` takes some ten minutes; same seeds, same files.
"""

from __future__ import annotations

from pathlib import Path

from holding_truth import true_counts, virtual_solves

import livecube
from livecube.holding.counts_text import counts_text
from livecube.virtual.habits import RIGHT_HANDED, UNPLANNED

SEEDS = range(1_000_000, 1_040_000)
SOLVERS = {"planned": RIGHT_HANDED, "unplanned": UNPLANNED}
LEAST = 60
"""Rarer contexts are not used, nor kept."""

if __name__ == "__main__":
    folder = Path(livecube.__file__).parent / "holding"
    for which, habits in SOLVERS.items():
        counts = true_counts(virtual_solves(SEEDS, habits))
        counts.grip = which
        about = (
            f"tests/make_holding_counts.py: virtual solves {SEEDS.start} to {SEEDS.stop - 1}, "
            f"habits {habits.name}"
        )
        text = counts_text(counts, about, LEAST)
        (folder / f"counts_{which}.json").write_text(text, encoding="utf-8")
