"""Which turns of a solve belong to which stage."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.written import WrittenSolve
    from livecube.stages.solve import Split

__all__ = ["pairs_on", "splits_of", "stage_span"]


def splits_of(written: WrittenSolve) -> tuple[Split, ...]:
    """The stages that were done, in order, as they are numbered here."""
    return tuple(stage.split for stage in written.stages if stage.split is not None)


def stage_span(splits: Sequence[Split], number: int, first_line: int) -> tuple[int, int]:
    """Turns of the solve before a stage, and at its end; the solve began at ``first_line``."""
    ends = [split.end_turn or 0 for split in splits[: number + 1]]
    before = max(ends[:-1], default=first_line - 1)
    return before - first_line + 1, ends[-1] - first_line + 1


def pairs_on(splits: Sequence[Split], number: int, pairs: int) -> int:
    """The stage with which so many pairs are done, that with ``number`` counted."""
    later = [i for i, split in enumerate(splits) if i >= number and split.stage == "pair"]
    return later[min(pairs, len(later)) - 1]
