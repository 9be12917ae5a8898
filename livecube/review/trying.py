"""A missed moment tried again: brought back onto the cube, tried, timed. Pure.

It takes the events of the cube and gives news. The moment is set up by turns that are followed
as a scramble is; then the first turn starts the time, and the turn with which the slots are
solved stops it. Whoever turns back to where the moment began, begins anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.cube.turns import htm
from livecube.events import Reset, State, Turn
from livecube.stages.frame import FRAMES, Row, slots_of
from livecube.stages.held import HeldSlots
from livecube.stages.naming import pair_technique

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.events import CubeEvent
    from livecube.review.moment import Moment
    from livecube.scrambling.following import Guidance, ScramblePath

__all__ = [
    "ReadyToTry",
    "SetUpAsked",
    "SetUpGuided",
    "Tried",
    "TryGivenUp",
    "TryNews",
    "Trying",
]

SETTLE_S: Final = 1.0
"""A turn so soon after the set-up is done belongs to it still: it was one too many."""


@dataclass(frozen=True, slots=True)
class SetUpAsked:
    """The moment is to be set up."""

    t: float
    number: int
    """Of the try, from 1."""
    turns: tuple[int, ...]
    """From where the cube stands; empty if it stands there."""


@dataclass(frozen=True, slots=True)
class SetUpGuided:
    """Where somebody stands who sets up."""

    t: float
    guidance: Guidance
    turns: tuple[int, ...]
    """The whole path."""


@dataclass(frozen=True, slots=True)
class ReadyToTry:
    """The cube stands as it did in the solve; the first turn starts the time."""

    t: float
    number: int
    moment: Moment


@dataclass(frozen=True, slots=True)
class Tried:
    """The slots are filled."""

    t: float
    number: int
    moment: Moment
    techniques: tuple[str, ...]
    """What was done, in order."""
    slots: tuple[str, ...]
    turns: int
    """HTM."""
    ms: int
    """From the first turn to the last; measured."""
    look_ms: int
    """From the end of the set-up to the first turn; measured."""
    as_advised: bool
    """Whether the slots were those that were advised, and the technique, too."""


@dataclass(frozen=True, slots=True)
class TryGivenUp:
    """A try was given up; it counts nothing."""

    t: float
    number: int


TryNews: TypeAlias = SetUpAsked | SetUpGuided | ReadyToTry | Tried | TryGivenUp


class _Try:
    """The turns of one try, and what is done by them."""

    def __init__(self, moment: Moment) -> None:
        self.turns: list[int] = []
        self.times: list[float] = []
        self._frame = FRAMES[moment.face]
        self._wanted = len(moment.row.slots)
        self._positions = [moment.position]
        self._held = HeldSlots()
        row = self._frame.row(0, moment.position)
        assert row is not None, "a moment has a whole cross"
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

    def done(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Techniques and slots, in the order in which they were done."""
        lines: dict[int, list[int]] = {}
        for slot, done in self._held.done.items():
            if done.line:
                lines.setdefault(done.line, []).append(slot)
        began = 0
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
                    with_cross=False,
                )
            )
            names += slots_of(self._frame, sum(1 << slot for slot in slots))
            began = line
        return tuple(techniques), tuple(names)


class Trying:
    """Tries of one moment on one cube, which stands in ``position`` (20 facelets) at first.

    ``path_to`` gives the turns from one position to another.
    """

    def __init__(
        self,
        moment: Moment,
        path_to: Callable[[bytes, bytes], ScramblePath],
        position: bytes = SOLVED_BYTES,
    ) -> None:
        self.number = 0
        """Of the try that is prepared or under way; 0 before :meth:`begin`."""
        self._moment = moment
        self._path_to = path_to
        self._position = position
        self._path: ScramblePath | None = None
        self._reached: float | None = None
        """When the set-up was done; None while it is made."""
        self._try: _Try | None = None

    def begin(self, t: float) -> list[TryNews]:
        """Ask for the set-up of the next try."""
        self.number += 1
        return self._set_up(t)

    def give_up(self, t: float) -> list[TryNews]:
        """Set up once more, whatever is under way."""
        return [TryGivenUp(t, self.number), *self._set_up(t)] if self.number else []

    def feed(self, event: CubeEvent) -> list[TryNews]:
        """Take in an event; what it brings."""
        match event:
            case Turn():
                self._position = self._position.translate(TURN_BYTES[event.turn])
                return self._turned(event)
            case State() if event.position != self._position:
                self._position = event.position
                return self._stands(event.t)
            case Reset():
                self._position = SOLVED_BYTES
                return self._stands(event.t)
        return []

    def _set_up(self, t: float) -> list[TryNews]:
        self._path = self._path_to(self._position, self._moment.position)
        self._reached = self._try = None
        asked = SetUpAsked(t, self.number, self._path.turns)
        return [asked] if self._path.turns else [asked, *self._ready(t)]

    def _ready(self, t: float) -> list[TryNews]:
        self._reached, self._try = t, None
        return [ReadyToTry(t, self.number, self._moment)]

    def _stands(self, t: float) -> list[TryNews]:
        """The cube stands otherwise than its turns said."""
        if self._reached is not None:
            return self.give_up(t)
        return self._guide(t)

    def _guide(self, t: float) -> list[TryNews]:
        if self._path is None:
            return []
        guidance = self._path.guide(self._position)
        if guidance.lost:
            self._path = self._path_to(self._position, self._path.target)
            guidance = self._path.guide(self._position)
        told = SetUpGuided(t, guidance, self._path.turns)
        return [told, *self._ready(t)] if guidance.reached else [told]

    def _turned(self, event: Turn) -> list[TryNews]:
        if self._reached is None:
            return self._guide(event.t)
        if self._try is None:
            if event.t - self._reached < SETTLE_S:
                self._reached = None
                return self._guide(event.t)
            self._try = _Try(self._moment)
        if self._try.turn(event.t, event.turn):
            return [self._judged(event.t, self._try, self._reached), *self.begin(event.t)]
        if self._position == self._moment.position:
            return self._ready(event.t)
        return []

    def _as_advised(self, techniques: tuple[str, ...], slots: tuple[str, ...]) -> bool:
        """Whether what was done is named as the advised row is, or as its turns would be.

        The advice names by how a row was looked for, hindsight by what is seen: a plain row may
        put the edge in first, and looks like a keyhole.
        """
        row = self._moment.row
        if set(slots) != set(row.slots):
            return False
        advised = _Try(self._moment)
        for turn in row.turns_fixed:
            advised.turn(0.0, turn)
        return techniques in (advised.done()[0], (row.technique,))

    def _judged(self, t: float, one: _Try, reached: float) -> Tried:
        techniques, slots = one.done()
        return Tried(
            t,
            self.number,
            self._moment,
            techniques,
            slots,
            turns=htm(one.turns),
            ms=round(1000 * (t - one.times[0])),
            look_ms=round(1000 * (one.times[0] - reached)),
            as_advised=self._as_advised(techniques, slots),
        )
