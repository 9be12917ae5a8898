"""The routine that a cube's owner is asked for, and when to ask for the next turn.

Pure: the caller says which packets came and what time it is. Each face both ways; each turn
repeated; half turns; a mix in which every turn comes after many others; and last the owner's own
way back to the solved cube, in which nobody told the learner what would be turned.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from livecube.events import Packet

__all__ = ["FREE_S", "PATIENCE_S", "QUIET_S", "REST_S", "STEPS", "Routine"]

REST_S: Final = 2.0
"""So long the cube is kept still at first, to hear what it sends without being turned."""
QUIET_S: Final = 0.4
"""So long after the last packet of a turn the next turn is asked for."""
PATIENCE_S: Final = 20.0
"""So long one turn is waited for."""
FREE_S: Final = 6.0
"""So long a pause ends the free sequence, if the owner does not say that it has ended."""
_MIXED: Final = 54
_AGAIN: Final = 12
"""So many half turns are asked for once more, twice each, with quarter turns between them."""


def _mixed() -> list[tuple[int, ...]]:
    """Quarter turns of which no two in a row are of one face, each after many others."""
    rng = random.Random(1)
    quarters = [turn for turn in range(18) if turn % 3 != 1]
    turns, pairs = [0], set[tuple[int, int]]()
    while len(turns) <= _MIXED + _AGAIN:
        new = [t for t in quarters if t // 3 != turns[-1] // 3 and (turns[-1], t) not in pairs]
        seldom = min(turns.count(turn) for turn in new)
        turn = rng.choice([turn for turn in new if turns.count(turn) == seldom])
        pairs.add((turns[-1], turn))
        turns.append(turn)
    return [(turn,) for turn in turns[1:]]


def _steps() -> tuple[tuple[int, ...] | None, ...]:
    """The steps of the routine.

    A turn that is asked for once may be the one at which somebody slips, so all are asked for three
    times or oftener; and with the way home a counter of one byte goes round.
    """
    halves = [(3 * face + 1,) for face in (0, 2, 4, 1, 3, 5)]
    mixed = _mixed()
    again = zip([*halves[::-1], *halves[1:], halves[0]], mixed[_AGAIN : 2 * _AGAIN], strict=True)
    return (
        *((3 * face + quarters,) for face in range(6) for quarters in (0, 2)),
        *((3 * face + quarters,) for face in range(6) for quarters in (0, 0, 2, 2)),
        *halves,
        *mixed[:_AGAIN],
        *(turns for both in again for turns in both),
        *mixed[2 * _AGAIN :],
        None,
    )


STEPS: Final = _steps()
"""What is asked, one after the other; None: any way back to the solved cube."""


class Routine:
    """Where in the routine the owner is. Feed it packets and the time, and ask what it asks."""

    def __init__(self, now: float) -> None:
        self.at = -1
        """Index of the step that is asked for; −1 while the cube is to be kept still."""
        self.given_up = False
        """Whether a turn was asked for and nothing came that did not come at rest."""
        self._since = now
        self._heard: float | None = None
        self._background: set[tuple[str, int]] = set()

    @property
    def over(self) -> bool:
        """Whether all is done, or given up."""
        return self.given_up or self.at >= len(STEPS)

    @property
    def asks(self) -> tuple[int, ...] | None:
        """The turns that are asked for now; None: the way back to solved."""
        return STEPS[self.at]

    def take(self, packet: Packet) -> None:
        """Take in a packet."""
        kind = packet.char, len(packet.data)
        if self.at < 0:
            self._background.add(kind)
        elif kind not in self._background:
            self._heard = packet.t

    @property
    def due(self) -> float:
        """When, if no packet comes, :meth:`wake` is to be called."""
        if self.at < 0:
            return self._since + REST_S
        if self._heard is None:
            return self._since + PATIENCE_S * (1 if self.asks is not None else 10)
        return self._heard + (QUIET_S if self.asks is not None else FREE_S)

    def wake(self, now: float) -> bool:
        """Time has passed; whether something new is asked for, or all is over."""
        if now < self.due:
            return False
        if self.at >= 0 and self._heard is None:
            self.given_up = True
            return True
        self.at += 1
        self._since, self._heard = now, None
        return True

    def end_free(self) -> None:
        """The owner says that the cube is solved again."""
        self.at = len(STEPS)
