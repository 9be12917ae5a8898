"""What a report needs from a log: how the cube stood at the ends of a solve's stages."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.edges.log_files import LogReader
from livecube.errors import LogError
from livecube.stages.progress import Resynced, Turned
from livecube.stages.tracker import Tracker
from livecube.views.text import STAGE_TITLES

if TYPE_CHECKING:
    from pathlib import Path

    from livecube.cube.geometry import Array
    from livecube.solves.records import KeptSolve

__all__ = ["positions_of"]


def positions_of(solve: KeptSolve, log: Path) -> list[tuple[str, Array]]:
    """Positions with their titles: where each stage ended; empty if the log cannot be read."""
    try:
        with LogReader(log) as reader:
            tracker = Tracker(reader.header.position)
            stood = {0: tracker.position}
            for event in reader:
                for progress in tracker.feed(event):
                    if isinstance(progress, Turned | Resynced):
                        stood[tracker.line] = progress.position
    except LogError:
        return []
    found = []
    for stage in solve.stages:
        if stage.end_turn in stood and not stage.shared:
            name = " ".join((STAGE_TITLES[stage.stage], *stage.slots))
            position = np.frombuffer(stood[stage.end_turn], dtype=np.uint8)
            found.append((f"After {name}", position))
    return found
