"""Timed tries of positions: of a missed moment, repeatedly, or of drills. Pure.

:class:`Trying` takes the events of the cube and returns news. The solver sets up a place by turns,
as a scramble. Then the first turn starts the time, and the turn that solves the slots stops it.
Turning back to the position where the try began starts the try again. A gesture there shows the
way: turn two opposite layers a quarter, both clockwise or both counter-clockwise, and both back.
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

# Setting up a position by turns that the program shows and the solver follows.


class SettingUp:
    """The path from the position of a cube (20 facelets) to ``target``.

    ``path_to`` gives the turns from one position to another. They may lead to a position that
    equals the target only in the pieces that count; :attr:`reached` is the position at their end.
    """

    def __init__(
        self, path_to: Callable[[bytes, bytes], ScramblePath], start: bytes, target: bytes
    ) -> None:
        self._path_to = path_to
        self._target = target
        self._path = path_to(start, target)

    @property
    def turns(self) -> tuple[int, ...]:
        """The whole path; empty if the cube was already there."""
        return self._path.turns

    @property
    def reached(self) -> bytes:
        """The position at the end of the path."""
        return self._path.target

    def guide(self, position: bytes) -> Guidance:
        """The turns to make from a position; on a new path if the old one is too far away."""
        guidance = self._path.guide(position)
        if guidance.lost:
            self._path = self._path_to(position, self._target)
            guidance = self._path.guide(position)
        return guidance


# One try: its first position, its turns, and the pairs that they solve.


@dataclass(frozen=True, slots=True)
class Scene:
    """A position that the solver sets up on the cube."""

    position: bytes
    """20 facelets."""

    @property
    def set_up_holding(self) -> Holding:
        """How the cube is held during the set-up."""
        return SCRAMBLE_HOLDING


@dataclass(frozen=True, slots=True)
class Place(Scene):
    """The position where a try begins, and the way advised there."""

    face: int
    """The face of the cross."""
    row: Opportunity
    """The advised way."""


class OneTry:
    """The turns of one try, and the pairs that they solve.

    It begins in ``position``, which equals ``place`` in the pieces of cross and slots.
    """

    def __init__(self, place: Place, position: bytes) -> None:
        self.turns: list[int] = []
        self.times: list[float] = []
        self._frame = FRAMES[place.face]
        self._wanted = len(place.row.slots)
        self._positions = [position]
        self._held = HeldSlots()
        if (row := self._frame.row(0, position)) is not None:
            # Slots already solved, at any offset, count as held from the beginning.
            self._held.settle(Row(0, 0, row.corners, row.edges, row.flipped))
        self._before = self._held.held.bit_count()

    def turn(self, t: float, turn: int) -> bool:
        """Take in a turn at ``t`` seconds; return whether it ended the try."""
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
        """Techniques and slots, in the order in which they were solved."""
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
    """Whether the try has the advised slots, and the technique of the advised row or of its turns.

    Advice takes a row's name from the search that found it; a solve's techniques are named from
    its turns. The names can differ: a plain row that puts the edge in first looks like a keyhole.
    """
    if set(slots) != set(place.row.slots):
        return False
    advised = OneTry(place, position)
    for turn in place.row.turns_fixed:
        advised.turn(0.0, turn)
    return techniques in (advised.done()[0], (place.row.technique,))


SETTLE_S: Final = 1.0
"""A turn within this time after the set-up belongs to the set-up: it was one too many."""


@dataclass(frozen=True, slots=True)
class OfTry(Moment):
    """News of one try."""

    number: int
    """Number of the try, from 1."""


@dataclass(frozen=True, slots=True)
class SetUpAsked(OfTry):
    """The solver is asked to set up a place."""

    place: Scene
    turns: tuple[int, ...]
    """From the cube's position; empty if the cube is already there."""


@dataclass(frozen=True, slots=True)
class SetUpGuided(Moment):
    """How far the set-up is, and the next turns."""

    place: Scene
    guidance: Guidance
    turns: tuple[int, ...]
    """The whole path."""


@dataclass(frozen=True, slots=True)
class ReadyToTry(OfTry):
    """The place is set up; the next turn starts the time."""

    place: Place
    position: bytes
    """20 facelets; equals the place in the pieces of cross and slots."""


@dataclass(frozen=True, slots=True)
class TryTurned(OfTry):
    """A turn of the try, except its last one."""

    place: Place
    position: bytes
    """20 facelets."""
    began: float
    """Time of the first turn of the try."""


@dataclass(frozen=True, slots=True)
class Tried(OfTry):
    """A try ended: the slots are solved."""

    place: Place
    techniques: tuple[str, ...]
    """Techniques of the try, in order."""
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
    """Whether slots and technique were the advised ones; see :func:`as_advised`."""
    made: tuple[int, ...]
    """Its turns, in the fixed frame."""
    began: bytes
    """The position where it began: 20 facelets."""
    shown: bool
    """Whether the solver had asked for the way."""


@dataclass(frozen=True, slots=True)
class WayShown(OfTry):
    """The solver asked for the way."""

    place: Place


@dataclass(frozen=True, slots=True)
class TryGivenUp(OfTry):
    """A try was given up; it does not count."""


TryNews: TypeAlias = (
    SetUpAsked | SetUpGuided | ReadyToTry | TryTurned | Tried | WayShown | TryGivenUp
)


class Trying:
    """Tries of places on one cube, which begins in ``position`` (20 facelets).

    ``path_to`` gives the turns from one position to another, or to one that equals it in the
    pieces of cross and slots.
    """

    def __init__(
        self,
        places: Iterator[Place],
        path_to: Callable[[bytes, bytes], ScramblePath],
        position: bytes = SOLVED_BYTES,
    ) -> None:
        self.number = 0
        """Number of the try that is set up or under way; 0 before :meth:`begin`."""
        self._places = places
        self._place: Place | None = None
        self._path_to = path_to
        self._position = position
        self._setting_up: SettingUp | None = None
        self._ready_at: float | None = None
        """When the set-up was done; None during the set-up."""
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
        """Ask for the set-up of the same try again; nothing if no place is left."""
        if self._place is None:
            return []
        return [TryGivenUp(t, self.number), *self._set_up(t)]

    def show(self, t: float) -> list[TryNews]:
        """Show the way, which the solver asks for; nothing before the place is set up."""
        if self._place is None or self._ready_at is None:
            return []
        self._is_shown = True
        return [WayShown(t, self.number, self._place)]

    def feed(self, event: CubeEvent) -> list[TryNews]:
        """Take in an event and return its news."""
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
        """End: no more events come; a try under way does not count."""
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
        """News when the cube reports a position that its turns did not lead to."""
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
