"""The routine: the turns that a cube's owner is asked for, and when to ask for the next one.

Pure: the caller passes packets and the time. The routine has each face both ways; each turn
repeated; half turns; a mix in which every turn comes after many others; and last the free
sequence: the owner solves the cube by turns that the learner does not know beforehand.
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
"""Rest without turns at the beginning, to record the packets that the cube sends unasked."""
QUIET_S: Final = 1.0
"""Wait after the last packet of a turn before the next turn is asked for: the owner may be
correcting a slip."""
BRIEF_S: Final = 0.4
"""The same wait if the decoded turn is the asked one."""
SLIP_S: Final = 2.5
"""The same wait if other turns were decoded: the owner may be correcting them."""
PATIENCE_S: Final = 20.0
"""Wait for a turn before the owner is reminded."""
_ASK_ANEW: Final = (3, 12)
"""At these reminders the turn is asked for again: it may have been made, and its packet lost."""
_MOST_REMINDERS: Final = 45
"""An owner may be away for a quarter of an hour."""
_LEAST: Final = 3
"""Packets of a kind at rest that suffice to see which of its bytes stay the same."""
_FEW: Final = 4
"""A byte with at most this many values at rest may separate kinds of packets."""
_MANY: Final = 12
"""A byte with more values than this does not,"""
_COUNTS: Final = 0.8
"""unless it changes with at least this share of the news."""
FREE_S: Final = 6.0
"""A pause this long ends the free sequence."""
_MIXED: Final = 54
_AGAIN: Final = 12
"""Number of half turns asked for again, two of each, with quarter turns between them."""


def _mixed() -> list[tuple[int, ...]]:
    """Quarter turns, each after many others, no two in a row of one face."""
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

    The owner may slip at any turn, so each is asked for three times or more. With the free
    sequence the turns are enough for a counter of one byte to wrap.
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
"""The asked turns of each step; None: the free sequence, which ends with the cube solved."""


class Background:
    """The packets that a cube sends at rest, so that packets of turns stand out.

    A stream of the cube's orientation may have packets as long as those of turns. Then bytes with
    few values at rest separate them: a packet with another value there is news. A byte that keeps
    showing new values separates nothing, unless it changes with nearly all news: it counts turns.
    """

    def __init__(self) -> None:
        self._rest: dict[tuple[str, int], list[set[int]]] = {}
        self._since: dict[tuple[str, int], list[set[int]]] = {}
        self._latest: dict[tuple[str, int], bytes] = {}
        self._before: dict[tuple[str, int], bytes] = {}
        self._changes: dict[tuple[str, int], Counter[int]] = {}
        self._news: Counter[tuple[str, int]] = Counter()
        self._count: Counter[tuple[str, int]] = Counter()

    def take(self, packet: Packet) -> None:
        """Take in a packet that came at rest."""
        self._count[packet.char, len(packet.data)] += 1
        for values, byte in zip(self._values(self._rest, packet), packet.data, strict=True):
            values.add(byte)

    def is_news(self, packet: Packet) -> bool:
        """Whether a later packet differs from the packets at rest."""
        kind = packet.char, len(packet.data)
        if self._count[kind] < _LEAST:
            return kind not in self._count
        since = self._values(self._since, packet)
        changes = self._changed(packet)
        told = bytes(
            byte
            for at, (rest, seen, byte) in enumerate(
                zip(self._rest[kind], since, packet.data, strict=True)
            )
            if len(rest) <= _FEW
            and (len(seen | rest) <= _MANY or changes[at] >= _COUNTS * self._news[kind])
            and byte not in rest
        )
        for values, byte in zip(since, packet.data, strict=True):
            values.add(byte)
        # A packet that is sent repeatedly after a turn is news only once.
        latest = self._latest.get(kind)
        self._latest[kind] = told
        is_news = bool(told) and told != latest
        self._news[kind] += is_news
        return is_news

    def _changed(self, packet: Packet) -> Counter[int]:
        """How often each byte has changed from one packet of this kind to the next."""
        kind = packet.char, len(packet.data)
        changes = self._changes.setdefault(kind, Counter())
        before = self._before.get(kind, packet.data)
        changes.update(at for at, byte in enumerate(packet.data) if byte != before[at])
        self._before[kind] = packet.data
        return changes

    @staticmethod
    def _values(of: dict[tuple[str, int], list[set[int]]], packet: Packet) -> list[set[int]]:
        kind = packet.char, len(packet.data)
        return of.setdefault(kind, [set() for _ in packet.data])


class Routine:
    """The progress of the routine. Feed it packets and the time, and ask for the turns it names."""

    def __init__(self, now: float) -> None:
        self.at = -1
        """Index of the step that is asked for; −1 during the rest at the beginning."""
        self.given_up = False
        """Whether the routine ended early: no packets of turns came."""
        self.reminders = 0
        """Reminders since the turn was asked for."""
        self.steps = [*STEPS]
        """The turns of each step; more steps may be added."""
        self.doubtful: bool | None = None
        """Whether other turns were decoded than were asked for; None: no turn was decoded."""
        self._since = now
        self._heard: float | None = None
        self._ever = False
        self._background = Background()

    @property
    def over(self) -> bool:
        """Whether all steps are done, or the routine is given up."""
        return self.given_up or self.at >= len(self.steps)

    @property
    def asks(self) -> tuple[int, ...] | None:
        """The turns that are asked for now; None: the free sequence."""
        return self.steps[self.at]

    def take(self, packet: Packet, *, telling: bool = False) -> None:
        """Take in a packet; ``telling``: it is known to report a turn."""
        if self.at < 0:
            self._background.take(packet)
        elif self._background.is_news(packet) or telling:
            self._heard, self._ever = packet.t, True

    @property
    def due(self) -> float:
        """When to call :meth:`wake` if no packet comes before."""
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
        """Go on if it is time; return whether a new step is asked for, or the routine is over.

        Also True if the same step is to be asked for again, by some reminders.
        """
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
        """Ask for the last step again: other turns were decoded."""
        self.steps.insert(self.at, self.steps[self.at - 1])
        self._asked(now)

    def more(self, steps: Sequence[tuple[int, ...] | None], now: float) -> None:
        """Add steps when all others are done."""
        self.steps += steps
        self._asked(now)

    def _asked(self, now: float) -> None:
        self._since, self._heard, self.reminders, self.doubtful = now, None, 0, None
