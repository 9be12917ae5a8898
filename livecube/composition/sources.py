"""Where the events of ``livecube live`` come from: a cube, a virtual one, or the keyboard."""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, Protocol

from livecube.composition.assembly import find_decoder
from livecube.composition.choosing import ChosenCube, Wanted, choose_cube
from livecube.composition.reception import decoded
from livecube.cube.holding import SCRAMBLE_HOLDING, Holding, Move, fixed_turns
from livecube.cube.notation import parse_moves
from livecube.edges.log_files import LogReader
from livecube.edges.remembered import RememberedCube, remember_cube, remembered_cube
from livecube.edges.simulated_link import SimulatedLink
from livecube.errors import UsageError
from livecube.events import HeldAs, State, Turn

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Sequence
    from pathlib import Path

    from bumble.link import LocalLink

    from livecube.edges.radio import Radio
    from livecube.events import CubeEvent
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = [
    "CubeSource",
    "LogSource",
    "SimulatedSource",
    "Simulation",
    "Source",
    "TypedCube",
    "TypedSource",
    "VirtualPlace",
    "VirtualRadioSource",
]

# A typed cube: moves on the keyboard, for people without a cube that sends its turns.
#
# The keys are the notation itself, in the stated holding: ``R`` is a turn of the right face, ``r``
# of the right two layers, ``x`` turns the whole cube. ``'`` and ``2`` after a move change it to the
# other direction or to a half turn. Backspace takes a move back.


_LETTERS: Final = frozenset("UDLRFBudlrfbMESxyz")
_QUARTERS: Final = {"2": 2, "'": 3, "’": 3, "-": 3}
_BACK: Final = ("\x7f", "\b")
_WAIT_S: Final = 0.3
"""Seconds for which a move waits for a ``'`` or ``2``; its time is that of its letter."""


class TypedCube:
    """Typed turns as events. ``now`` gives seconds, ``held`` the stated holding."""

    def __init__(
        self, now: Callable[[], float], held: Callable[[], Holding | None], scramble: bytes | None
    ) -> None:
        self._now = now
        self._held = held
        self._events: asyncio.Queue[CubeEvent | None] = asyncio.Queue()
        self._pending: tuple[float, Move] | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._made: list[Move] = []
        self._holding: Holding | None = None
        """The holding after typed moves that have not been passed on yet."""
        if scramble is not None:
            self._events.put_nowait(State(0.0, scramble))

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """The typed turns, until :meth:`end`."""
        while (event := await self._events.get()) is not None:
            if self._events.empty():
                self._holding = None
            yield event

    def press(self, key: str) -> bool:
        """Take in a key; returns whether it belongs to the notation."""
        if key in _LETTERS:
            self._flush()
            self._pending = (self._now(), parse_moves(key)[0])
            self._timer = asyncio.get_running_loop().call_later(_WAIT_S, self._flush)
        elif key in _QUARTERS and self._pending is not None:
            t, move = self._pending
            self._pending = (t, Move(move.symbol, _QUARTERS[key]))
            self._flush()
        elif key in _BACK:
            self._take_back()
        else:
            return key.isspace() or key in _QUARTERS
        return True

    def end(self) -> None:
        """End of typing."""
        self._flush()
        self._events.put_nowait(None)

    def _flush(self) -> None:
        """Make the typed move."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._pending is not None:
            (t, move), self._pending = self._pending, None
            self._made.append(move)
            self._make(t, move)

    def _take_back(self) -> None:
        if self._pending is not None:
            self._pending = None
            self._flush()
        elif self._made:
            self._make(self._now(), self._made.pop().inverted())

    def _make(self, t: float, move: Move) -> None:
        held = self._holding or self._held() or SCRAMBLE_HOLDING
        turns, after = fixed_turns([move], held)
        for turn in turns:
            self._events.put_nowait(Turn(t, turn, host=t))
        if after != held:
            self._events.put_nowait(HeldAs(t, after))
        self._holding = after


_PROTOCOL: Final = "turnwire"
"""Protocol of simulated cubes."""


class Source(Protocol):
    """A source of events. ``find`` is called first, then ``events`` once."""

    @property
    def speed(self) -> float:
        """How many of the cube's seconds pass in one real second."""
        ...

    @property
    def link(self) -> str:
        """As ``link`` in the header of a log."""
        ...

    @property
    def typed(self) -> TypedCube | None:
        """The receiver of keys, if moves are typed."""
        ...

    @property
    def title(self) -> str:
        """Its name on the screen."""
        ...

    @property
    def name(self) -> str:
        """As ``source`` in the header of a log."""
        ...

    @property
    def clock(self) -> Literal["cube", "host"]:
        """The clock of the events' seconds."""
        ...

    async def find(self) -> None:
        """Look for the cube.

        Raises :class:`~livecube.errors.LivecubeError` if there is none to follow.
        """
        ...

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Get ready, then yield the events until the source ends."""
        ...


@dataclass(frozen=True, slots=True)
class Simulation:
    """The task of a virtual solver."""

    solves: int
    seed: int
    speed: float


class _Simulated:
    """The base of sources of a simulated cube."""

    name = _PROTOCOL
    clock: Literal["cube", "host"] = "cube"
    typed = None
    called = "simulated cube"

    def __init__(
        self,
        simulation: Simulation,
        *,
        capture: bool = False,
        begin: asyncio.Event | None = None,
    ) -> None:
        """``begin``: the cube rests until this is set; None: turning begins at once."""
        self.title = f"{self.called}, seed {simulation.seed}"
        self.speed = simulation.speed
        self._simulation = simulation
        self._capture = capture
        self._begin = begin


class SimulatedSource(_Simulated):
    """A simulated cube, straight into the decoder."""

    link = "simulated"

    async def find(self) -> None:
        """Nothing to look for."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events, until the virtual solver is done."""
        session = await asyncio.to_thread(_session, self._simulation)
        link = SimulatedLink(_firmware(session), session, time.monotonic, self.speed, self._begin)
        return decoded(link, find_decoder(_PROTOCOL)(), capture=self._capture, speed=self.speed)


class CubeSource:
    """A cube by radio: the wanted, the remembered, the only one, or one that the user chooses."""

    speed = 1.0
    typed = None

    def __init__(
        self,
        radio: Radio,
        wanted: Wanted,
        ask: Callable[[Sequence[ChosenCube]], ChosenCube] | None,
        *,
        capture: bool = False,
        complain: Callable[[str], None] = lambda sentence: None,
        remembers: bool = True,
    ) -> None:
        """``complain`` gets a sentence about each unusable decoder or profile.

        ``remembers``: whether the cube is the one that is followed the next time.
        """
        self._remembers = remembers
        self.link = radio.label
        self._radio = radio
        self._complain = complain
        self._wanted = wanted
        self._ask = ask
        self._capture = capture
        self._chosen: ChosenCube | None = None

    @property
    def chosen(self) -> ChosenCube:
        """The cube that was found."""
        assert self._chosen is not None, "find comes first"
        return self._chosen

    @property
    def title(self) -> str:
        """Its name, as it gives it; until it is found, the wanted one."""
        if self._chosen is None:
            return self._wanted.cube or "a cube"
        return self.chosen.sighting.name or self.chosen.sighting.address

    @property
    def name(self) -> str:
        """Its decoder."""
        return self.chosen.name

    @property
    def clock(self) -> Literal["cube", "host"]:
        """The cube's own clock, if it has one."""
        return "host" if self.chosen.decoder.clock_wrap_ms is None else "cube"

    async def find(self) -> None:
        """Listen for it, and remember it for the next time."""
        from livecube.composition.decoders import known_decoders  # not needed without a radio

        decoders = known_decoders(complain=self._complain)
        if self._wanted.decoder not in (None, *decoders):
            known = ", ".join(sorted(decoders)) or "none"
            raise UsageError(f"no decoder is called {self._wanted.decoder!r}; installed: {known}")
        remembered = remembered_cube()
        self._chosen = await choose_cube(self._radio, decoders, self._wanted, remembered, self._ask)
        if self._remembers:
            sighting = self._chosen.sighting
            remember_cube(RememberedCube(sighting.address, sighting.name, self._chosen.name))

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events; they end only with the program, or if the cube cannot be connected."""
        from livecube.edges.radio_link import RadioLink

        began, chosen = time.monotonic(), self.chosen
        link = RadioLink(
            self._radio, chosen.sighting, chosen.decoder.notify, lambda: time.monotonic() - began
        )
        return decoded(link, chosen.decoder(), capture=self._capture)


class VirtualPlace:
    """A virtual radio that several cubes share; each gets an address of its own."""

    def __init__(self) -> None:
        self._radio: asyncio.Future[tuple[LocalLink, Radio]] | None = None
        self._cubes = 0

    async def radio(self) -> tuple[LocalLink, Radio]:
        """The link of the cubes, and the radio that hears them; switched on by the first call."""
        if self._radio is None:
            self._radio = asyncio.ensure_future(self._switched_on())
        return await asyncio.shield(self._radio)

    async def _switched_on(self) -> tuple[LocalLink, Radio]:
        from livecube.composition.sharing import SharedRadio
        from livecube.edges.virtual_radio.radio import VirtualRadio

        radio = VirtualRadio()
        await radio.start()
        return radio.link, SharedRadio(radio)

    def address(self) -> str:
        """An address that no other cube has."""
        self._cubes += 1
        return f"F0:F1:F2:F3:F5:{self._cubes:02X}"


class VirtualRadioSource(_Simulated):
    """A simulated cube, by way of a real GATT exchange and bleak. Needs the extra ``virtual``."""

    link = "virtual radio"
    called = "virtual radio, simulated cube"

    def __init__(
        self,
        simulation: Simulation,
        *,
        capture: bool = False,
        begin: asyncio.Event | None = None,
        place: VirtualPlace | None = None,
    ) -> None:
        """``place``: the radio that it shares with others; None: one of its own."""
        super().__init__(simulation, capture=capture, begin=begin)
        self._place = place or VirtualPlace()

    async def find(self) -> None:
        """Check that bumble is installed."""
        try:
            import bumble  # noqa: F401
        except ImportError:
            raise UsageError(
                "the virtual radio needs bumble; install it: pip install 'livecube[virtual]'"
            ) from None

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events, until the virtual solver is done."""
        from livecube.edges.radio_link import RadioLink
        from livecube.edges.virtual_radio.radio import VirtualSolver

        session = await asyncio.to_thread(_session, self._simulation)
        cubes, radio = await self._place.radio()
        firmware, address = _firmware(session), self._place.address()
        solver = VirtualSolver(
            cubes,
            firmware,
            session,
            time.monotonic,
            self.speed,
            address=address,
            begin=self._begin,
        )
        solving = asyncio.create_task(solver.run(), name="virtual solver")
        decoders = {_PROTOCOL: find_decoder(_PROTOCOL)}
        chosen = await choose_cube(radio, decoders, Wanted(address), None, None)
        link = RadioLink(radio, chosen.sighting, chosen.decoder.notify, time.monotonic)
        return _until(
            decoded(link, chosen.decoder(), capture=self._capture, speed=self.speed), solving
        )


class LogSource:
    """A recorded log, as if it happened now, at ``speed`` of its seconds in a second."""

    typed = None

    def __init__(self, path: Path, speed: float) -> None:
        """Raises :class:`~livecube.errors.LogError` if the log is broken."""
        with LogReader(path) as reader:
            self._events = [*reader]
            self.header = reader.header
        self.title = f"replay of {path.name}"
        self.speed = speed
        self.name = self.header.source
        self.clock: Literal["cube", "host"] = self.header.clock
        self.link = self.header.link or "log"

    async def find(self) -> None:
        """Nothing to look for."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events, each when it is due."""
        return self._paced()

    async def _paced(self) -> AsyncGenerator[CubeEvent, None]:
        began, first = time.monotonic(), self._events[0].t if self._events else 0.0
        for event in self._events:
            due = began + (event.t - first) / self.speed
            await asyncio.sleep(max(0.0, due - time.monotonic()))
            yield event


class TypedSource:
    """Moves typed on the keyboard."""

    title = "typed turns"
    name = "typed"
    clock: Literal["cube", "host"] = "host"
    link = "keyboard"
    speed = 1.0

    def __init__(self, held: Callable[[], Holding | None], scramble: bytes | None) -> None:
        began = time.monotonic()
        self.typed = TypedCube(lambda: time.monotonic() - began, held, scramble)

    async def find(self) -> None:
        """Nothing to look for."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """The typed turns."""
        return self.typed.events()


async def _until(
    events: AsyncGenerator[CubeEvent, None], over: asyncio.Task[None]
) -> AsyncGenerator[CubeEvent, None]:
    """The events until a task is done."""
    upcoming = asyncio.ensure_future(anext(events, None))
    try:
        while True:
            await asyncio.wait({upcoming, over}, return_when=asyncio.FIRST_COMPLETED)
            if not upcoming.done() or (event := upcoming.result()) is None:
                break
            yield event
            upcoming = asyncio.ensure_future(anext(events, None))
        if over.done():
            over.result()
    finally:
        over.cancel()
        upcoming.cancel()
        await asyncio.wait({upcoming, over})
        await events.aclose()


def _session(simulation: Simulation) -> VirtualSession:
    from livecube.virtual.session import session

    return session(simulation.seed, simulation.solves, on_cube=simulation.solves > 1)


def _firmware(session: VirtualSession) -> SimulatedCube:
    from livecube.cube.position import SOLVED, apply_turns
    from livecube.virtual.cube import simulated_cube

    position = bytes(apply_turns(SOLVED, session.scramble).tolist())
    return simulated_cube(_PROTOCOL)(position)
