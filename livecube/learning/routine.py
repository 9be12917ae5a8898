"""The routine that a cube's owner is asked for, and when to ask for the next turn.

Pure: the caller says which packets came and what time it is. Each face both ways; each turn
repeated; half turns; a mix in which every turn comes after many others; and last the owner's own
way back to the solved cube, in which nobody told the learner what would be turned.
"""

from __future__ import annotations

import random
from collections import Counter
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.events import Packet

__all__ = ["FREE_S", "PATIENCE_S", "QUIET_S", "REST_S", "STEPS", "Background", "Routine"]

REST_S: Final = 4.0
"""So long no face is turned at first, to hear what the cube sends without it."""
QUIET_S: Final = 1.0
"""So long after the last packet of a turn the next turn is asked for: who has slipped may be
correcting it."""
BRIEF_S: Final = 0.4
"""The same, once it is understood that the turn was the right one."""
SLIP_S: Final = 2.5
"""So long it is waited if other turns were understood: the owner may be correcting them."""
PATIENCE_S: Final = 20.0
"""So long one turn is waited for before the owner is reminded."""
_ASK_ANEW: Final = (3, 12)
"""At these reminders the turn is asked for anew: it may have been made, and its packet lost."""
_MOST_REMINDERS: Final = 45
"""An owner may be away for a quarter of an hour."""
_LEAST: Final = 3
"""Of so many packets at rest it is seen which bytes stay as they are."""
_FEW: Final = 4
"""A byte with so few values at rest may tell kinds of packets apart."""
_MANY: Final = 12
"""With more values than this it does not."""
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


class Background:
    """What a cube sends without being turned: what of it is known by now.

    A stream that says how the cube is held may have packets as long as those of turns. Then bytes
    that had only a few values at rest tell them apart: a packet that shows another value there is
    news. A byte that shows ever more values says nothing.
    """

    def __init__(self) -> None:
        self._rest: dict[tuple[str, int], list[set[int]]] = {}
        self._since: dict[tuple[str, int], list[set[int]]] = {}
        self._latest: dict[tuple[str, int], bytes] = {}
        self._count: Counter[tuple[str, int]] = Counter()

    def take(self, packet: Packet) -> None:
        """A packet that came at rest."""
        self._count[packet.char, len(packet.data)] += 1
        for values, byte in zip(self._values(self._rest, packet), packet.data, strict=True):
            values.add(byte)

    def is_news(self, packet: Packet) -> bool:
        """Whether a later packet is of no kind that came at rest."""
        kind = packet.char, len(packet.data)
        if self._count[kind] < _LEAST:
            return kind not in self._count
        since = self._values(self._since, packet)
        told = bytes(
            byte
            for rest, seen, byte in zip(self._rest[kind], since, packet.data, strict=True)
            if len(rest) <= _FEW and len(seen | rest) <= _MANY and byte not in rest
        )
        for values, byte in zip(since, packet.data, strict=True):
            values.add(byte)
        # What is sent over and over after a turn is news only once.
        latest = self._latest.get(kind)
        self._latest[kind] = told
        return bool(told) and told != latest

    @staticmethod
    def _values(of: dict[tuple[str, int], list[set[int]]], packet: Packet) -> list[set[int]]:
        kind = packet.char, len(packet.data)
        return of.setdefault(kind, [set() for _ in packet.data])


class Routine:
    """Where in the routine the owner is. Feed it packets and the time, and ask what it asks."""

    def __init__(self, now: float) -> None:
        self.at = -1
        """Index of the step that is asked for; −1 while the cube is to be kept still."""
        self.given_up = False
        """Whether a turn was asked for and nothing came that did not come at rest."""
        self.reminders = 0
        """How often nothing came for a while since the turn was asked for."""
        self.steps = [*STEPS]
        """What is asked; more may be asked for as the routine goes on."""
        self.doubtful: bool | None = None
        """Whether other turns were understood than were asked for; None: nothing was."""
        self._since = now
        self._heard: float | None = None
        self._ever = False
        self._background = Background()

    @property
    def over(self) -> bool:
        """Whether all is done, or given up."""
        return self.given_up or self.at >= len(self.steps)

    @property
    def asks(self) -> tuple[int, ...] | None:
        """The turns that are asked for now; None: the way back to solved."""
        return self.steps[self.at]

    def take(self, packet: Packet, *, telling: bool = False) -> None:
        """Take in a packet; ``telling``: it is known to tell a turn."""
        if self.at < 0:
            self._background.take(packet)
        elif self._background.is_news(packet) or telling:
            self._heard, self._ever = packet.t, True

    @property
    def due(self) -> float:
        """When, if no packet comes, :meth:`wake` is to be called."""
        if self.at < 0:
            return self._since + REST_S
        if self._heard is None:
            patience = PATIENCE_S * (1 if self.asks is not None else 10)
            return self._since + patience * (1 + self.reminders)
        if self.asks is None:
            return self._heard + FREE_S
        if self.doubtful is None:
            return self._heard + QUIET_S
        return self._heard + (SLIP_S if self.doubtful else BRIEF_S)

    def wake(self, now: float) -> bool:
        """Time has passed; whether something new is asked for, or all is over."""
        if now < self.due:
            return False
        if self.at >= 0 and self._heard is None:
            self.reminders += 1
            self.given_up = not self._ever or self.reminders >= _MOST_REMINDERS
            return self.given_up or self.reminders in _ASK_ANEW
        self.at += 1
        self._asked(now)
        return True

    def again(self, now: float) -> None:
        """What was asked for last is asked for once more: it came out otherwise."""
        self.steps.insert(self.at, self.steps[self.at - 1])
        self._asked(now)

    def more(self, steps: Sequence[tuple[int, ...] | None], now: float) -> None:
        """So much more is asked for when all else is done."""
        self.steps += steps
        self._asked(now)

    def _asked(self, now: float) -> None:
        self._since, self._heard, self.reminders, self.doubtful = now, None, 0, None

    def end_free(self) -> None:
        """The owner says that the cube is solved again."""
        self.at = len(self.steps)
