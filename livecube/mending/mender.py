"""Mends the stream of a cube's events where turns were lost on the way.

It stands between the clock and the tracker. When turns are missing, it waits until the cube
reports its position. Then it puts the shortest turns that link the two positions in the place
of the lost ones, marked as inferred: the real turns may have been more. If eight turns, or as
many as are missing, do not link the positions, the gap stays a gap. A position may contradict
the turns although none is known to be missing. Then turns were lost at some time since the
position was last right, and the mark of the gap says so.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import in_order
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, inverse_turn, what_was_done
from livecube.events import CubeEvent, Gap, LinkChange, Reset, State, Turn

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["LONGEST_LINK", "Correction", "Mender", "shortest_link"]

# The shortest turns that link two positions, by meeting in the middle.
#
# All positions within four turns of the solved one are known (46,741 of the whole cube). As many
# are tried from the other end, so that every link of up to eight turns is found, the shortest
# first. They are tried all at once: ten facelets choose the few that are looked up.


_HALF: Final = 4
_FACELETS: Final = 10
LONGEST_LINK: Final = 2 * _HALF
"""Longer links are not searched for."""


def shortest_link(start: bytes, end: bytes, most: int = LONGEST_LINK) -> tuple[int, ...] | None:
    """The fewest fixed-frame turns that lead from one position (20 facelets) to another.

    Returns one of the shortest links, always the same one; None if ``most`` turns (at most
    eight) do not suffice.
    """
    change = what_was_done(start, end)
    near = _near()
    if (known := near.get(change)) is not None:
        return known if len(known) <= most else None
    if most <= _HALF:
        return None
    ends, moved = _last_turns()
    for number in _likely(change, moved):
        last = ends[number]
        if len(last) > most - _HALF:
            break
        earlier = change
        for turn in reversed(last):
            earlier = earlier.translate(TURN_BYTES[inverse_turn(turn)])
        first = near.get(earlier)
        if first is not None:
            assert len(first) + len(last) <= most
            return (*first, *last)
    return None


def _likely(change: bytes, moved: npt.NDArray[np.uint8]) -> list[int]:
    """The last turns without which the change seems to be a known position, by their numbers."""
    keys, is_slot = _known_keys()
    wanted = _key(moved[list(change[:_FACELETS])])
    # Few are among the slots of known keys, so that few have to be looked up.
    maybe = np.flatnonzero(is_slot[_slot(wanted)])
    wanted = wanted[maybe]
    places = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    found: list[int] = maybe[keys[places] == wanted].tolist()
    return found


def _key(facelets: npt.NDArray[np.uint8]) -> npt.NDArray[np.int64]:
    """One number for each column of ``facelets`` (10, n)."""
    low, high = (_half_key(half) for half in np.split(facelets, 2))
    return np.asarray(low | high.astype(np.int64) << 6 * _FACELETS // 2)


def _half_key(facelets: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint32]:
    key: npt.NDArray[np.uint32] = facelets[0].astype(np.uint32)
    for number, row in enumerate(facelets[1:], start=1):
        key |= row.astype(np.uint32) << np.uint32(6 * number)
    return key


def _slot(keys: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Numbers below 2**20 that are spread evenly, the same for the same keys."""
    return (keys * 0x1E3779B97F4A7C15 >> 40) & 0xFFFFF


@cache
def _known_keys() -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """The keys of known positions, in order; and whether each slot is that of one of them."""
    known = np.frombuffer(b"".join(_near()), dtype=np.uint8).reshape(-1, len(SOLVED_BYTES))
    keys = np.sort(_key(known[:, :_FACELETS].T))
    is_slot = np.zeros(1 << 20, dtype=np.bool_)
    is_slot[_slot(keys)] = True
    return keys, is_slot


@cache
def _last_turns() -> tuple[tuple[tuple[int, ...], ...], npt.NDArray[np.uint8]]:
    """All ends of one to four turns, the shortest first.

    Beside them: where each facelet goes if these turns are undone, shape (54, ends).
    """
    ends: dict[bytes, tuple[int, ...]] = {}
    level: dict[bytes, tuple[int, ...]] = {bytes(range(54)): ()}
    for _ in range(_HALF):
        following: dict[bytes, tuple[int, ...]] = {}
        for moved, last in level.items():
            for turn in _turns_before(last[0] if last else None):
                other = moved.translate(TURN_BYTES[inverse_turn(turn)])
                following.setdefault(other, (turn, *last))
        # A link that ends in these turns, and is no shorter without them, was tried before.
        level = {moved: last for moved, last in following.items() if moved not in ends}
        ends |= level
    table = np.frombuffer(b"".join(ends), dtype=np.uint8).reshape(-1, 54)
    return tuple(ends.values()), np.ascontiguousarray(table.T)


@cache
def _near() -> dict[bytes, tuple[int, ...]]:
    """All positions within four turns of the solved one, each with its shortest turns."""
    known: dict[bytes, tuple[int, ...]] = {SOLVED_BYTES: ()}
    level = [SOLVED_BYTES]
    for _ in range(_HALF):
        following = []
        for position in level:
            turns = known[position]
            for turn in _turns_after(turns[-1] if turns else None):
                other = position.translate(TURN_BYTES[turn])
                if other not in known:
                    known[other] = (*turns, turn)
                    following.append(other)
        level = following
    return known


@cache
def _turns_after(last: int | None) -> tuple[int, ...]:
    """Turns that may follow a turn; opposite faces come in one order only."""
    return tuple(turn for turn in range(18) if last is None or in_order(last // 3, turn // 3))


@cache
def _turns_before(following: int | None) -> tuple[int, ...]:
    """Turns that may come before a turn."""
    return tuple(
        turn for turn in range(18) if following is None or in_order(turn // 3, following // 3)
    )


# Correcting the positions that a cube reports, once the solver has said that it is solved.
#
# A cube may have lost count, or a corner may have been twisted by hand. Then the cube goes on from
# a wrong position, but its turns are still right. So a reported position is taken as a change
# from the position that the cube reported when it was really solved.


class Correction:
    """Takes in all events of one cube in order, the solver's resets included."""

    def __init__(self) -> None:
        self._said: bytes | None = None
        """The position by the cube's own account; None until it has reported one."""
        self._solved_as: bytes | None = None
        """That position when the cube was really solved; None: nothing to correct."""

    def correct(self, event: CubeEvent) -> CubeEvent:
        """The event, with the corrected position if it reports one."""
        match event:
            case Turn() if self._said is not None:
                self._said = self._said.translate(TURN_BYTES[event.turn])
            case State():
                self._said = event.position
                if self._solved_as is not None:
                    return replace(event, position=what_was_done(self._solved_as, event.position))
            case Reset():
                self._solved_as = self._said
        return event


_PATIENCE_S: Final = 3.0
"""Seconds on the host's clock: so long the mender waits for the position while turns arrive.
Turns that are sent again all arrive at once, whenever they were made."""
_PATIENCE_EVENTS: Final = 256
"""The mender holds back at most this many events."""
_SEARCHES: Final = 4
"""At most this many long searches in a row: one that finds no link costs some milliseconds."""
_TURNS_A_SEARCH: Final = 48
"""Reported turns after which one more long search is allowed. If a cube reports only positions
far from one another, links of up to four turns are still found: they cost almost nothing."""


class Mender:
    """Takes in events one by one and gives them back, some later, with lost turns put in."""

    def __init__(self) -> None:
        self._position: bytes | None = None
        """Position after the events given back; None until the cube has reported one."""
        self._right_at: float | None = None
        """Time at which that position was last known to be right; None: never."""
        self._t = 0.0
        """Time of the latest event given back."""
        self._open = False
        """Whether turns are missing, or may be missing, after that event."""
        self._gap: Gap | None = None
        """The decoder's report of that; None: only the connection was lost."""
        self._held: list[CubeEvent] = []
        """The events after it."""
        self._says_position = self._numbers_turns = False
        """What this cube has done so far: each becomes true when it is first seen."""
        self._searches = float(_SEARCHES)
        """How many long searches are allowed now."""

    @property
    def waits(self) -> bool:
        """Whether events are held back until the cube reports its position."""
        return bool(self._held)

    def feed(self, event: CubeEvent) -> list[CubeEvent]:
        """Take in an event; returns the events that can be passed on now."""
        match event:
            case Turn():
                self._numbers_turns |= event.seq is not None
            case State():
                self._says_position = True
                return self._settle(event) if self._open else self._compare(event)
            case Reset():
                return [*self.give_up(), *self._tell([event])]
            case Gap() if self._position is not None:
                return self._lose(event)
            case LinkChange(up=True) if self._position is not None or not self._says_position:
                return self._come_back(event)
        if not self._open:
            return self._tell([event])
        self._held.append(event)
        arrived = [held.host for held in self._held if isinstance(held, Turn) and held.host]
        long = bool(arrived) and arrived[-1] - arrived[0] > _PATIENCE_S
        return self.give_up() if long or len(self._held) > _PATIENCE_EVENTS else []

    def give_up(self) -> list[CubeEvent]:
        """Stop waiting for the position: the mark of a gap, then the events held back."""
        if self._gap is None and not self._held:
            return []
        gap = self._gap or Gap(self._t, None)
        return self._close([gap])

    def _lose(self, gap: Gap) -> list[CubeEvent]:
        """Note that turns were lost here."""
        if not self._open:
            self._open, self._gap = True, gap
        elif self._gap is None and not any(isinstance(event, Turn) for event in self._held):
            self._gap = gap
        else:  # two gaps with turns between them: the turns cannot be placed
            return [*self.give_up(), *self._tell([gap])]
        return []

    def _come_back(self, event: LinkChange) -> list[CubeEvent]:
        """The connection is back; the cube may have been turned meanwhile."""
        told = [*self.give_up(), *self._tell([event])]
        if self._says_position:
            self._open = True
        elif not self._numbers_turns:
            told += self._tell([Gap(event.t, None)])
        return told

    def _compare(self, state: State) -> list[CubeEvent]:
        """The cube reports its position, and no turn is known to be missing."""
        if self._position is None or state.position == self._position or self._right_at is None:
            return self._tell([state])
        return self._tell([Gap(state.t, None, since=self._right_at), state])

    def _settle(self, state: State) -> list[CubeEvent]:
        """The cube reports its position, and turns were, or may have been, lost before."""
        assert self._position is not None
        before = state.position
        for event in reversed(self._held):
            if isinstance(event, Turn):
                before = before.translate(TURN_BYTES[inverse_turn(event.turn)])
        missing = LONGEST_LINK if self._gap is None or self._gap.lost is None else self._gap.lost
        link = self._link(before, min(missing, LONGEST_LINK))
        # Lost turns that undid one another leave the position as it was; the gap stays.
        if link is None or (not link and self._gap is not None):
            gap = self._gap or Gap(self._t, None)
            return [*self._close([gap]), *self._tell([state])]
        following = self._held[0].t if self._held else state.t
        step = (following - self._t) / (len(link) + 1)
        turns = [
            Turn(self._t + step * number, turn, inferred=True)
            for number, turn in enumerate(link, start=1)
        ]
        return [*self._close(turns), *self._tell([state])]

    def _link(self, end: bytes, most: int) -> tuple[int, ...] | None:
        """The shortest link to a position; long searches are rationed."""
        assert self._position is not None
        link = shortest_link(self._position, end, min(most, _HALF))
        if link is not None or most <= _HALF or self._searches < 1:
            return link
        self._searches -= 1
        return shortest_link(self._position, end, most)

    def _close(self, first: list[Turn] | list[Gap]) -> list[CubeEvent]:
        """The events that replace the lost turns, then the events held back."""
        held = [*first, *self._held]
        self._open, self._gap, self._held = False, None, []
        return self._tell(held)

    def _tell(self, events: list[CubeEvent]) -> list[CubeEvent]:
        for event in events:
            self._t = event.t
            if isinstance(event, Turn) and not event.inferred:
                self._searches = min(_SEARCHES, self._searches + 1 / _TURNS_A_SEARCH)
            match event:
                case Turn() if self._position is not None:
                    self._position = self._position.translate(TURN_BYTES[event.turn])
                case State():
                    self._position, self._right_at = event.position, event.t
                case Reset():
                    self._position, self._right_at = SOLVED_BYTES, event.t
        return events
