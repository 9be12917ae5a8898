"""Places brought onto the cube, tried, timed: a missed moment again and again, or drills. Pure.

It takes the events of the cube and gives news. A place is set up by turns that are followed as
a scramble is; then the first turn starts the time, and the turn with which the slots are solved
stops it. Whoever turns back to where the try began, begins anew. Two opposite layers turned a
quarter there, each the same way, and both back ask for the way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.holding import SCRAMBLE_HOLDING
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, htm
from livecube.events import Moment, Reset, State, Turn
from livecube.practice.gestures import layers_and_back
from livecube.stages.frame import FRAMES, HeldSlots, Row, slots_of
from livecube.stages.solve import pair_technique

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from livecube.advice.rows import Opportunity
    from livecube.cube.holding import Holding
    from livecube.events import CubeEvent
    from livecube.scrambling.path import Guidance, ScramblePath

__all__ = [
    "SETTLE_S",
    "OfTry",
    "OneTry",
    "Place",
    "ReadyToTry",
    "Scene",
    "SetUpAsked",
    "SetUpGuided",
    "SettingUp",
    "Tried",
    "TryGivenUp",
    "TryNews",
    "TryTurned",
    "Trying",
    "WayShown",
    "as_advised",
]

# A position that is brought onto a cube by turns that are shown and followed.


class SettingUp:
    """From where a cube stands (20 facelets) to ``target``.

    ``path_to`` gives the turns from one position to another. It may lead to a position that
    only looks like the target where it counts; :attr:`reached` is where it really leads.
    """

    def __init__(
        self, path_to: Callable[[bytes, bytes], ScramblePath], start: bytes, target: bytes
    ) -> None:
        self._path_to = path_to
        self._target = target
        self._path = path_to(start, target)

    @property
    def turns(self) -> tuple[int, ...]:
        """The whole path; empty if the cube stood there."""
        return self._path.turns

    @property
    def reached(self) -> bytes:
        """The position at the end of the path."""
        return self._path.target

    def guide(self, position: bytes) -> Guidance:
        """What whoever stands in a position has to do; by a new path if that is better."""
        guidance = self._path.guide(position)
        if guidance.lost:
            self._path = self._path_to(position, self._target)
            guidance = self._path.guide(position)
        return guidance


# One try: where it begins, its turns, and what was done by them.


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


SETTLE_S: Final = 1.0
"""A turn so soon after the set-up is done belongs to it still: it was one too many."""


@dataclass(frozen=True, slots=True)
class OfTry(Moment):
    """News of one try."""

    number: int
    """Of the try, from 1."""


@dataclass(frozen=True, slots=True)
class SetUpAsked(OfTry):
    """A place is to be set up."""

    place: Scene
    turns: tuple[int, ...]
    """From where the cube stands; empty if it stands there."""


@dataclass(frozen=True, slots=True)
class SetUpGuided(Moment):
    """Where somebody stands who sets up."""

    place: Scene
    guidance: Guidance
    turns: tuple[int, ...]
    """The whole path."""


@dataclass(frozen=True, slots=True)
class ReadyToTry(OfTry):
    """The cube stands there; the first turn starts the time."""

    place: Place
    position: bytes
    """20 facelets; as the place has it for the pieces of cross and slots."""


@dataclass(frozen=True, slots=True)
class TryTurned(OfTry):
    """A turn of the try that is not its last one."""

    place: Place
    position: bytes
    """20 facelets."""
    began: float
    """When its first turn was made."""


@dataclass(frozen=True, slots=True)
class Tried(OfTry):
    """The slots are filled."""

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
    shown: bool
    """Whether the way had been asked for."""


@dataclass(frozen=True, slots=True)
class WayShown(OfTry):
    """Somebody who is stuck asked for the way."""

    place: Place


@dataclass(frozen=True, slots=True)
class TryGivenUp(OfTry):
    """A try was given up; it counts nothing."""


TryNews: TypeAlias = (
    SetUpAsked | SetUpGuided | ReadyToTry | TryTurned | Tried | WayShown | TryGivenUp
)


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
        self._is_shown = False

    @property
    def over(self) -> bool:
        """Whether no place is left."""
        return self.number > 0 and self._place is None

    def begin(self, t: float) -> list[TryNews]:
        """Ask for the set-up of the next try; nothing if no place is left."""
        self.number += 1
        self._place = next(self._places, None)
        self._is_shown = False
        return self._set_up(t)

    def give_up(self, t: float) -> list[TryNews]:
        """Set up once more, whatever is under way."""
        if self._place is None:
            return []
        return [TryGivenUp(t, self.number), *self._set_up(t)]

    def show(self, t: float) -> list[TryNews]:
        """The solver wants to see the way; nothing before the place is set up."""
        if self._place is None or self._ready_at is None:
            return []
        self._is_shown = True
        return [WayShown(t, self.number, self._place)]

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
        ready = ReadyToTry(t, self.number, self._place, self._setting_up.reached)
        return [ready, *(self.show(t) if self._is_shown else ())]

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
        times = self._try.times
        if self._position == began:
            made = [*zip(times, self._try.turns, strict=True)]
            self._is_shown |= layers_and_back(made) is not None
            return self._ready(event.t)
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
            shown=self._is_shown,
        )
