"""Which slots are held: the rule by which a cross and its pairs count as done.

At a line where the cross is whole at offset 0, let P be the slots solved there, and H the
slots held until now. P above H: the new ones are done at this line. P not above H but at
least as many: the missing ones are reopened, the new ones done. Otherwise nothing changes:
a pair that is out while another goes in is still held, and so is the cross.

Between two aligned lines the same rule runs provisionally at the lines where the cross is
whole at another offset. When the layer is aligned again, each new slot is done at its own
provisional line, except the last, to which the aligning turn belongs. The cross counts at
an offset only if a pair done in this way follows before the layer is aligned.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from livecube.stages.frame import ALL_SLOTS

if TYPE_CHECKING:
    from livecube.stages.frame import Row

__all__ = ["Change", "Done", "HeldSlots"]


@dataclass(frozen=True, slots=True)
class Done:
    """Where a cross or a slot was done, and the offset of the cross layer there."""

    line: int
    offset: int


@dataclass(frozen=True, slots=True)
class Change:
    """What an aligned line changed."""

    cross: Done | None
    """Set when the cross was done by this change."""
    done: dict[int, Done]
    """Newly held slots (by number), in order of their lines."""
    reopened: int
    """Bit s: slot s was held and is not any more."""


@dataclass(slots=True)
class _Trial:
    """The rule's provisional run since the last aligned line."""

    held: int
    cross: Done | None = None
    own: dict[int, Done] = field(default_factory=dict)


class HeldSlots:
    """Follows the rows of one cross colour; see the module's docstring for the rule."""

    def __init__(self) -> None:
        self.cross: Done | None = None
        self.held = 0
        self.done: dict[int, Done] = {}
        self.rows: list[Row] = []
        self._trial = _Trial(0)

    @property
    def complete(self) -> Done | None:
        """Where the last of the four slots was done, if all are held."""
        return max(self.done.values(), key=lambda d: d.line) if self.held == ALL_SLOTS else None

    def settle(self, row: Row) -> Change | None:
        """Take in the next line where the cross is whole; what it changed, if anything."""
        self.rows.append(row)
        if row.offset:
            self._try(row)
            return None
        solved, held = row.solved, self.held
        change = None
        if self.cross is None or _accepted(solved, held):
            new = self._new_slots(row, solved & ~held)
            cross = None
            if self.cross is None:
                cross = self._cross(row, new)
                # No pair is done before its cross.
                new = {s: d if d.line >= cross.line else cross for s, d in new.items()}
            change = Change(cross, new, held & ~solved)
            self.cross = self.cross or cross
            self.held = solved
            self.done = {s: d for s, d in (self.done | new).items() if solved >> s & 1}
        self._trial = _Trial(self.held)
        return change

    def _try(self, row: Row) -> None:
        trial, solved = self._trial, row.solved
        here = Done(row.line, row.offset)
        if self.cross is None and trial.cross is None:
            trial.cross = here
        if _accepted(solved, trial.held):
            trial.own = {s: d for s, d in trial.own.items() if solved >> s & 1}
            trial.own |= dict.fromkeys(_bits(solved & ~trial.held), here)
            trial.held = solved

    def _new_slots(self, row: Row, new: int) -> dict[int, Done]:
        here = Done(row.line, 0)
        own = {s: self._trial.own.get(s, here) for s in _bits(new)}
        last = max((d.line for d in own.values()), default=0)
        return {
            s: here if d.line == last else d
            for s, d in sorted(own.items(), key=lambda item: item[1].line)
        }

    def _cross(self, row: Row, new: dict[int, Done]) -> Done:
        tried = self._trial.cross
        if tried and any(
            s in self._trial.own and self._trial.own[s].line > tried.line for s in new
        ):
            return tried
        return Done(row.line, 0)


def _accepted(solved: int, held: int) -> bool:
    """Whether solved slots P replace the held ones H: P above H, or as many but others."""
    if solved == held:
        return False
    return not held & ~solved or solved.bit_count() >= held.bit_count()


def _bits(mask: int) -> list[int]:
    return [s for s in range(4) if mask >> s & 1]
