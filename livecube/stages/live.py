"""What can be told of a solve while it goes on: which cross, which stages, in their order.

The cross colour is the first cross that is completed. It is replaced, and that is said, when
another colour has a cross and a pair while the present cross is not whole, and more pairs than
the present one holds: near the end of the first two layers other crosses come and go.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.stages.frame import ALL_SLOTS, slots_of
from livecube.stages.progress import CrossColour, Progress, Reopened, SolveBegun, StageDone
from livecube.stages.solve import (
    Boundary,
    Doubt,
    LastLayer,
    cross_boundary,
    pair_boundaries,
    split,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.stages.frame import Row
    from livecube.stages.held import Change, Done
    from livecube.stages.record import Record, Sight

__all__ = ["Narrator"]

_Seen = tuple["Sight", "Row", "Change | None"]


class Narrator:
    """Turns what the colours saw of one record into announcements."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.shown: Sight | None = None
        self.row: Row | None = None
        """What the shown colour sees now; None in the middle of a sequence."""
        self._told, self._doubt = record.before, Doubt()
        """Line at which the stage announced last ended."""
        self._begun = False
        self._last_layer: LastLayer | None = None

    def tell(self, t: float, seen: Sequence[_Seen]) -> list[Progress]:
        """Announce what the last line brought."""
        told = self._tell_begin(t, self.record.before + 1) if self.record.begun else []
        before = self.shown
        if before and before.held.cross is None:  # scrambled away: all over again
            self._begun, self.shown, self._last_layer, before = False, None, None, None
        shown = self._choose(seen) if seen else before
        self.row = None
        if shown is None:
            return told
        for sight, row, _ in seen:
            if sight is shown:
                self.row = row
        if before is not shown:
            self.shown = shown
            told += self._introduce(t, before, shown)
        elif change := next((c for sight, _, c in seen if sight is shown), None):
            told += self._tell_change(t, shown, change)
        if shown.held.held == ALL_SLOTS:
            told += self._tell_last_layer(t, shown)
        return told

    def _choose(self, seen: Sequence[_Seen]) -> Sight | None:
        shown = self.shown
        if shown is None:
            rivals = [sight for sight, _, _ in seen if sight.held.cross]
        elif shown.held.held == ALL_SLOTS or any(sight is shown for sight, _, _ in seen):
            return shown
        else:
            enough = shown.held.held.bit_count() + 1
            rivals = [
                sight
                for sight, row, _ in seen
                if sight.held.cross and not row.offset and row.solved.bit_count() >= enough
            ]
        return max(rivals, key=lambda s: s.held.held.bit_count(), default=shown)

    def _introduce(self, t: float, before: Sight | None, shown: Sight) -> list[Progress]:
        """Tell of all that a newly shown colour has done so far."""
        start = self.record.start(shown)
        if start is None:
            return []
        told: list[Progress] = []
        if before:
            new, old = shown.frame.colour, before.frame.colour
            told.append(CrossColour(t, new, old, self.record.line))
        told += self._tell_begin(t, start)
        self._told, self._doubt = start - 1, Doubt()
        told.append(self._stage(t, shown, cross_boundary(shown)))
        return told + self._tell_pairs(t, shown, shown.held.done)

    def _tell_begin(self, t: float, start: int) -> list[Progress]:
        if self._begun:
            return []
        self._begun = True
        return [SolveBegun(t, self.record.id, start, self.record.time(start))]

    def _tell_change(self, t: float, shown: Sight, change: Change) -> list[Progress]:
        told: list[Progress] = []
        if change.reopened:
            slots = slots_of(shown.frame, change.reopened)
            told.append(Reopened(t, slots, self.record.line))
        return told + self._tell_pairs(t, shown, change.done)

    def _tell_pairs(self, t: float, shown: Sight, done: dict[int, Done]) -> list[Progress]:
        boundaries = pair_boundaries(self.record, shown, done, self._told)
        return [self._stage(t, shown, boundary) for boundary in boundaries]

    def _tell_last_layer(self, t: float, shown: Sight) -> list[Progress]:
        complete = shown.held.complete
        if complete is None:
            return []
        if self._last_layer is None:
            self._last_layer = LastLayer(shown.frame, complete.line)
        new = self._last_layer.advance(self.record)
        return [self._stage(t, shown, boundary) for boundary in new]

    def _stage(self, t: float, shown: Sight, boundary: Boundary) -> StageDone:
        assert shown.start is not None
        done = StageDone(t, split(self.record, self._doubt, boundary, self._told, shown.start))
        self._told = max(self._told, boundary.line)
        return done
