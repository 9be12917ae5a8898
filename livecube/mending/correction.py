"""What a cube says of its position, put right once the solver has said that it is solved.

A cube that lost count, or had a corner twisted by hand, goes on from where it believes to be;
its turns are right all the same. So what it says is taken as a change from the position in
which it was when it was really solved.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, what_was_done
from livecube.events import Reset, State, Turn

if TYPE_CHECKING:
    from livecube.events import CubeEvent

__all__ = ["Correction"]


class Correction:
    """Takes in all events of one cube in order, the solver's word among them."""

    def __init__(self) -> None:
        self._said: bytes | None = None
        """How the cube believes to stand; None until it has said so."""
        self._solved_as: bytes | None = None
        """How it believed to stand when it was solved; None: it has not been put right."""

    def correct(self, event: CubeEvent) -> CubeEvent:
        """The event, with the true position if it says one."""
        match event:
            case Turn() if self._said is not None:
                self._said = self._said.translate(TURN_BYTES[event.turn])
            case State():
                self._said = event.position
                if self._solved_as is not None:
                    return replace(event, position=what_was_done(self._solved_as, event.position))
            case Reset():
                self._solved_as = None if self._said == SOLVED_BYTES else self._said
        return event
