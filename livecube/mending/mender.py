"""Mends the stream of a cube's events where turns were lost on the way.

It stands between the clock and whatever follows the cube. Where turns are missing it waits
until the cube says how it stands, and puts the shortest turns that link the two positions in
the place of those that were lost, marked as inferred: what was turned may have been more. If
eight turns, or as many as are missing, do not link them, the gap stays a gap. A position
that contradicts the turns although none was missed says only that something is wrong since
the position was last right, and so does the mark.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Final

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, inverse_turn, what_was_done
from livecube.events import CubeEvent, Gap, LinkChange, Reset, State, Turn

__all__ = ["LONGEST_LINK", "Correction", "Mender", "shortest_link"]

# The shortest turns that link two positions, by meeting in the middle.
#
# All positions within four turns of the solved one are known (46,741 of the whole cube); from
# the other end as many are tried, so that every link of up to eight turns is found and none
# shorter is overlooked.


_HALF: Final = 4
LONGEST_LINK: Final = 2 * _HALF
"""Links that take more turns are not looked for."""


def shortest_link(start: bytes, end: bytes, most: int = LONGEST_LINK) -> tuple[int, ...] | None:
    """The fewest fixed-frame turns that lead from one position (20 facelets) to another.

    One of the shortest links, always the same; None if ``most`` turns (at most eight) do not
    suffice.
    """
    change = what_was_done(start, end)
    near = _near()
    if (known := near.get(change)) is not None:
        return known if len(known) <= most else None
    # Undo one turn more each time, until what is left is known.
    level: dict[bytes, tuple[int, ...]] = {change: ()}
    for undone in range(1, min(_HALF, most - _HALF) + 1):
        following: dict[bytes, tuple[int, ...]] = {}
        for position, last in level.items():
            for turn in _turns_before(last[0] if last else None):
                earlier = position.translate(TURN_BYTES[inverse_turn(turn)])
                if earlier in following:
                    continue
                first = near.get(earlier)
                if first is not None:
                    assert len(first) + undone <= most
                    return (*first, turn, *last)
                following[earlier] = (turn, *last)
        level = following
    return None


@cache
def _near() -> dict[bytes, tuple[int, ...]]:
    """All positions within half the way of the solved one, each with its shortest turns."""
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
    """Turns that may follow one, opposite faces in one order."""
    return tuple(turn for turn in range(18) if last is None or _in_order(last // 3, turn // 3))


@cache
def _turns_before(following: int | None) -> tuple[int, ...]:
    """Turns that may come before one."""
    return tuple(
        turn for turn in range(18) if following is None or _in_order(turn // 3, following // 3)
    )


def _in_order(face: int, following: int) -> bool:
    return following != face and (following > face or OPPOSITE[following] != face)


# What a cube says of its position, put right once the solver has said that it is solved.
#
# A cube that lost count, or had a corner twisted by hand, goes on from where it believes to be;
# its turns are right all the same. So what it says is taken as a change from the position in
# which it was when it was really solved.


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


_PATIENCE_S: Final = 3.0
"""So long, on the host's clock, the cube's word is waited for while turns come: those that are
sent once more come all at once, whatever time they are of."""
_PATIENCE_EVENTS: Final = 256
"""And for so many events at most."""
_SEARCHES: Final = 4
"""So many long links may be looked for one after the other: one that is not there costs 20 ms."""
_TURNS_A_SEARCH: Final = 48
"""After so many turns that were told, one more. Where a cube tells nothing but positions far from
one another, links of up to four turns are still found: those cost next to nothing."""


class Mender:
    """Takes in events one by one and gives them back, some later, with what was lost put in."""

    def __init__(self) -> None:
        self._position: bytes | None = None
        """How the cube stands after what was given back; None until the cube has said it."""
        self._right_at: float | None = None
        """When that was last known to be right; None: never."""
        self._t = 0.0
        """Time of the latest event that was given back."""
        self._open = False
        """Whether turns are missing behind it, or may be."""
        self._gap: Gap | None = None
        """What the decoder said of that; None: the connection was lost, perhaps nothing else."""
        self._held: list[CubeEvent] = []
        """What came after."""
        self._says_position = self._numbers_turns = False
        """What this cube has been seen to do."""
        self._searches = float(_SEARCHES)
        """How many long links may be looked for now."""

    @property
    def waits(self) -> bool:
        """Whether events are held back until the cube says how it stands."""
        return bool(self._held)

    def feed(self, event: CubeEvent) -> list[CubeEvent]:
        """Take in an event; what can be told now."""
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
        """Wait no longer for the cube's word: what was held back, behind the mark of a gap."""
        if self._gap is None and not self._held:
            return []
        gap = self._gap or Gap(self._t, None)
        return self._close([gap])

    def _lose(self, gap: Gap) -> list[CubeEvent]:
        """Turns were lost here."""
        if not self._open:
            self._open, self._gap = True, gap
        elif self._gap is None and not any(isinstance(event, Turn) for event in self._held):
            self._gap = gap
        else:  # two gaps with turns between them: where those belong cannot be told
            return [*self.give_up(), *self._tell([gap])]
        return []

    def _come_back(self, event: LinkChange) -> list[CubeEvent]:
        """The connection was lost for a while, in which the cube may have been turned."""
        told = [*self.give_up(), *self._tell([event])]
        if self._says_position:
            self._open = True
        elif not self._numbers_turns:
            told += self._tell([Gap(event.t, None)])
        return told

    def _compare(self, state: State) -> list[CubeEvent]:
        """The cube says how it stands, and nothing was known to be missing."""
        if self._position is None or state.position == self._position or self._right_at is None:
            return self._tell([state])
        return self._tell([Gap(state.t, None, since=self._right_at), state])

    def _settle(self, state: State) -> list[CubeEvent]:
        """The cube says how it stands, and something was, or may have been, lost before."""
        assert self._position is not None
        before = state.position
        for event in reversed(self._held):
            if isinstance(event, Turn):
                before = before.translate(TURN_BYTES[inverse_turn(event.turn)])
        missing = LONGEST_LINK if self._gap is None or self._gap.lost is None else self._gap.lost
        link = self._link(before, min(missing, LONGEST_LINK))
        # Turns that undid one another left no trace, yet they took their time.
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
        """The shortest link to a position; long ones only as often as their price allows."""
        assert self._position is not None
        link = shortest_link(self._position, end, min(most, _HALF))
        if link is not None or most <= _HALF or self._searches < 1:
            return link
        self._searches -= 1
        return shortest_link(self._position, end, most)

    def _close(self, first: list[Turn] | list[Gap]) -> list[CubeEvent]:
        """What stands for what was lost, and then what was held back."""
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
