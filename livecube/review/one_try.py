"""One try: where it begins, its turns, and what was done by them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.cube.holding import SCRAMBLE_HOLDING
from livecube.cube.position import TURN_BYTES
from livecube.stages.frame import FRAMES, Row, slots_of
from livecube.stages.held import HeldSlots
from livecube.stages.naming import pair_technique

if TYPE_CHECKING:
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.holding import Holding

__all__ = ["OneTry", "Place", "Scene", "as_advised"]


@dataclass(frozen=True, slots=True)
class Scene:
    """A position that is brought onto the cube."""

    position: bytes
    """20 facelets."""

    @property
    def set_up_holding(self) -> Holding:
        """How the cube is held meanwhile."""
        return SCRAMBLE_HOLDING


@dataclass(frozen=True, slots=True)
class Place(Scene):
    """Where a try begins, and what is advised there."""

    face: int
    """Of the cross."""
    row: Opportunity
    """What is advised."""


class OneTry:
    """The turns of one try, and what is done by them.

    It begins in ``position``, which stands as ``place`` does for the pieces of cross and slots.
    """

    def __init__(self, place: Place, position: bytes) -> None:
        self.turns: list[int] = []
        self.times: list[float] = []
        self._frame = FRAMES[place.face]
        self._wanted = len(place.row.slots)
        self._positions = [position]
        self._held = HeldSlots()
        if (row := self._frame.row(0, position)) is not None:
            # What is solved up to the offset then is held, whichever offset it is.
            self._held.settle(Row(0, 0, row.corners, row.edges, row.flipped))
        self._before = self._held.held.bit_count()

    def turn(self, t: float, turn: int) -> bool:
        """Take in a turn; whether it was the last one."""
        self.turns.append(turn)
        self.times.append(t)
        self._positions.append(self._positions[-1].translate(TURN_BYTES[turn]))
        row = self._frame.row(len(self.turns), self._positions[-1])
        if row is None or self._held.settle(row) is None:
            return False
        return self._held.held.bit_count() - self._before >= self._wanted

    @property
    def pause_s(self) -> float:
        """The longest time between two of its turns."""
        return max((b - a for a, b in zip(self.times, self.times[1:], strict=False)), default=0.0)

    def done(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Techniques and slots, in the order in which they were done."""
        lines: dict[int, list[int]] = {}
        for slot, done in self._held.done.items():
            if done.line:
                lines.setdefault(done.line, []).append(slot)
        began = 0
        cross = 0 if self._held.cross is None else self._held.cross.line
        techniques: list[str] = []
        names: list[str] = []
        for line, slots in sorted(lines.items()):
            techniques.append(
                pair_technique(
                    self._frame,
                    self._held.rows,
                    slots,
                    began=began,
                    done=line,
                    began_position=self._positions[began],
                    with_cross=line == cross,
                )
            )
            names += slots_of(self._frame, sum(1 << slot for slot in slots))
            began = line
        return tuple(techniques), tuple(names)


def as_advised(
    place: Place, position: bytes, techniques: tuple[str, ...], slots: tuple[str, ...]
) -> bool:
    """Whether what was done is named as the advised row is, or as its turns would be.

    The advice names by how a row was looked for, hindsight by what is seen: a plain row may
    put the edge in first, and looks like a keyhole.
    """
    if set(slots) != set(place.row.slots):
        return False
    advised = OneTry(place, position)
    for turn in place.row.turns_fixed:
        advised.turn(0.0, turn)
    return techniques in (advised.done()[0], (place.row.technique,))
