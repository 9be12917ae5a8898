"""Places brought onto the cube, tried, timed: a missed moment again and again, or drills. Pure.

It takes the events of the cube and gives news. A place is set up by turns that are followed as
a scramble is; then the first turn starts the time, and the turn with which the slots are solved
stops it. Whoever turns back to where the try began, begins anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.cube.turns import htm
from livecube.events import Reset, State, Turn
from livecube.review.one_try import OneTry, as_advised
from livecube.review.setting_up import SettingUp

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from livecube.events import CubeEvent
    from livecube.review.one_try import Place, Scene
    from livecube.scrambling.following import Guidance, ScramblePath

__all__ = [
    "SETTLE_S",
    "ReadyToTry",
    "SetUpAsked",
    "SetUpGuided",
    "Tried",
    "TryGivenUp",
    "TryNews",
    "TryTurned",
    "Trying",
]

SETTLE_S: Final = 1.0
"""A turn so soon after the set-up is done belongs to it still: it was one too many."""


@dataclass(frozen=True, slots=True)
class SetUpAsked:
    """A place is to be set up."""

    t: float
    number: int
    """Of the try, from 1."""
    place: Scene
    turns: tuple[int, ...]
    """From where the cube stands; empty if it stands there."""


@dataclass(frozen=True, slots=True)
class SetUpGuided:
    """Where somebody stands who sets up."""

    t: float
    place: Scene
    guidance: Guidance
    turns: tuple[int, ...]
    """The whole path."""


@dataclass(frozen=True, slots=True)
class ReadyToTry:
    """The cube stands there; the first turn starts the time."""

    t: float
    number: int
    place: Place
    position: bytes
    """20 facelets; as the place has it for the pieces of cross and slots."""


@dataclass(frozen=True, slots=True)
class TryTurned:
    """A turn of the try that is not its last one."""

    t: float
    number: int
    place: Place
    position: bytes
    """20 facelets."""
    began: float
    """When its first turn was made."""


@dataclass(frozen=True, slots=True)
class Tried:
    """The slots are filled."""

    t: float
    number: int
    place: Place
    techniques: tuple[str, ...]
    """What was done, in order."""
    slots: tuple[str, ...]
    turns: int
    """HTM."""
    ms: int
    """From the first turn to the last; measured."""
    look_ms: int
    """From the end of the set-up to the first turn; measured."""
    pause_ms: int
    """The longest time between two of its turns; measured."""
    as_advised: bool
    """Whether the slots were those that were advised, and the technique, too."""
    made: tuple[int, ...]
    """Its turns, in the fixed frame."""
    began: bytes
    """Where it began: 20 facelets."""


@dataclass(frozen=True, slots=True)
class TryGivenUp:
    """A try was given up; it counts nothing."""

    t: float
    number: int


TryNews: TypeAlias = SetUpAsked | SetUpGuided | ReadyToTry | TryTurned | Tried | TryGivenUp


class Trying:
    """Tries of places on one cube, which stands in ``position`` (20 facelets) at first.

    ``path_to`` gives the turns from one position to another, or to one that looks like it for
    the pieces of cross and slots.
    """

    def __init__(
        self,
        places: Iterator[Place],
        path_to: Callable[[bytes, bytes], ScramblePath],
        position: bytes = SOLVED_BYTES,
    ) -> None:
        self.number = 0
        """Of the try that is prepared or under way; 0 before :meth:`begin`."""
        self._places = places
        self._place: Place | None = None
        self._path_to = path_to
        self._position = position
        self._setting_up: SettingUp | None = None
        self._ready_at: float | None = None
        """When the set-up was done; None while it is made."""
        self._try: OneTry | None = None

    @property
    def over(self) -> bool:
        """Whether no place is left."""
        return self.number > 0 and self._place is None

    def begin(self, t: float) -> list[TryNews]:
        """Ask for the set-up of the next try; nothing if no place is left."""
        self.number += 1
        self._place = next(self._places, None)
        return self._set_up(t)

    def give_up(self, t: float) -> list[TryNews]:
        """Set up once more, whatever is under way."""
        if self._place is None:
            return []
        return [TryGivenUp(t, self.number), *self._set_up(t)]

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

    def finish(self) -> list[TryNews]:
        """Nothing more comes; a try under way counts nothing."""
        return []

    def _set_up(self, t: float) -> list[TryNews]:
        self._ready_at = self._try = self._setting_up = None
        if self._place is None:
            return []
        self._setting_up = SettingUp(self._path_to, self._position, self._place.position)
        asked = SetUpAsked(t, self.number, self._place, self._setting_up.turns)
        return [asked] if asked.turns else [asked, *self._ready(t)]

    def _ready(self, t: float) -> list[TryNews]:
        assert self._place is not None
        assert self._setting_up is not None
        self._ready_at, self._try = t, None
        return [ReadyToTry(t, self.number, self._place, self._setting_up.reached)]

    def _stands(self, t: float) -> list[TryNews]:
        """The cube stands otherwise than its turns said."""
        if self._ready_at is not None:
            return self.give_up(t)
        return self._guide(t)

    def _guide(self, t: float) -> list[TryNews]:
        if self._place is None or self._setting_up is None:
            return []
        guidance = self._setting_up.guide(self._position)
        told = SetUpGuided(t, self._place, guidance, self._setting_up.turns)
        return [told, *self._ready(t)] if guidance.reached else [told]

    def _turned(self, event: Turn) -> list[TryNews]:
        if self._place is None or self._setting_up is None or self._ready_at is None:
            return self._guide(event.t)
        began = self._setting_up.reached
        if self._try is None:
            if event.t - self._ready_at < SETTLE_S:
                self._ready_at = None
                return self._guide(event.t)
            self._try = OneTry(self._place, began)
        if self._try.turn(event.t, event.turn):
            tried = self._judged(event.t, self._place, self._try, self._ready_at)
            return [tried, *self.begin(event.t)]
        if self._position == began:
            return self._ready(event.t)
        times = self._try.times
        return [TryTurned(event.t, self.number, self._place, self._position, times[0])]

    def _judged(self, t: float, place: Place, one: OneTry, ready_at: float) -> Tried:
        assert self._setting_up is not None
        techniques, slots = one.done()
        return Tried(
            t,
            self.number,
            place,
            techniques,
            slots,
            turns=htm(one.turns),
            ms=round(1000 * (t - one.times[0])),
            look_ms=round(1000 * (one.times[0] - ready_at)),
            pause_ms=round(1000 * one.pause_s),
            as_advised=as_advised(place, self._setting_up.reached, techniques, slots),
            made=tuple(one.turns),
            began=self._setting_up.reached,
        )
