"""Makes ``livecube/holding/counts.json``: what the virtual solver's hands did, counted.

``python tests/make_holding_counts.py`` takes some two minutes; same seeds, same file.
"""

from __future__ import annotations

from pathlib import Path

from holding_truth import true_counts, virtual_solves

import livecube
from livecube.holding.counts_text import counts_text
from livecube.virtual.habits import RIGHT_HANDED

SEEDS = range(1_000_000, 1_012_000)
LEAST = 18
"""Rarer contexts are not used, nor kept."""

if __name__ == "__main__":
    counts = true_counts(virtual_solves(SEEDS, RIGHT_HANDED))
    about = (
        f"tests/make_holding_counts.py: virtual solves {SEEDS.start} to {SEEDS.stop - 1}, "
        f"habits {RIGHT_HANDED.name}"
    )
    path = Path(livecube.__file__).parent / "holding" / "counts.json"
    path.write_text(counts_text(counts, about, LEAST), encoding="utf-8")
