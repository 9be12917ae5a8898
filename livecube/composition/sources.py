"""Where the events of ``livecube live`` come from: a cube, a virtual one, or the keyboard."""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, Protocol

from livecube.composition.assembly import find_decoder
from livecube.composition.choosing import ChosenCube, Wanted, choose_cube
from livecube.composition.reception import decoded
from livecube.composition.typed import TypedCube
from livecube.edges.remembered import RememberedCube, remember_cube, remembered_cube
from livecube.edges.simulated_link import SimulatedLink
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Sequence

    from livecube.cube.holding import Holding
    from livecube.edges.radio import Radio
    from livecube.events import CubeEvent
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = [
    "CubeSource",
    "SimulatedSource",
    "Simulation",
    "Source",
    "TypedSource",
    "VirtualRadioSource",
]

_PROTOCOL: Final = "turnwire"
"""Of simulated cubes."""
_VIRTUAL_SCAN_S: Final = 0.5
"""On the virtual radio there is one cube, and it advertises every 20 ms."""


class Source(Protocol):
    """Where events come from. ``find`` is called first, then ``events`` once."""

    @property
    def speed(self) -> float:
        """How many of the cube's seconds pass in one of ours."""
        ...

    @property
    def link(self) -> str:
        """As ``link`` in the header of a log."""
        ...

    @property
    def typed(self) -> TypedCube | None:
        """What takes the keys, if the cube is typed."""
        ...

    @property
    def title(self) -> str:
        """What the screen calls it."""
        ...

    @property
    def name(self) -> str:
        """As ``source`` in the header of a log."""
        ...

    @property
    def clock(self) -> Literal["cube", "host"]:
        """Whose seconds the events have."""
        ...

    async def find(self) -> None:
        """Look for the cube.

        Raises :class:`~livecube.errors.LivecubeError` if there is none to follow.
        """
        ...

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Make everything ready; the events, until the source ends."""
        ...


@dataclass(frozen=True, slots=True)
class Simulation:
    """What a virtual solver shall do."""

    solves: int
    seed: int
    speed: float


class SimulatedSource:
    """A simulated cube, straight into the decoder."""

    name = _PROTOCOL
    clock: Literal["cube", "host"] = "cube"
    link = "simulated"
    typed = None

    def __init__(
        self,
        simulation: Simulation,
        *,
        capture: bool = False,
        begin: asyncio.Event | None = None,
    ) -> None:
        """``begin``: the cube rests until this is set; None: it is turned at once."""
        self.title = f"simulated cube, seed {simulation.seed}"
        self.speed = simulation.speed
        self._simulation = simulation
        self._capture = capture
        self._begin = begin

    async def find(self) -> None:
        """It is there."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events, until the virtual solver is done."""
        session = await asyncio.to_thread(_session, self._simulation)
        link = SimulatedLink(_firmware(session), session, time.monotonic, self.speed, self._begin)
        return decoded(link, find_decoder(_PROTOCOL)(), capture=self._capture)


class CubeSource:
    """A cube by radio: the wanted one, the remembered one, the only one, or one asked for."""

    speed = 1.0
    typed = None

    def __init__(
        self,
        radio: Radio,
        wanted: Wanted,
        ask: Callable[[Sequence[ChosenCube]], ChosenCube] | None,
        *,
        capture: bool = False,
    ) -> None:
        self.link = radio.label
        self._radio = radio
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
        """Its name, as it gives it."""
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

        decoders = known_decoders()
        if self._wanted.decoder not in (None, *decoders):
            known = ", ".join(sorted(decoders)) or "none"
            raise UsageError(f"no decoder is called {self._wanted.decoder!r}; installed: {known}")
        remembered = remembered_cube()
        self._chosen = await choose_cube(self._radio, decoders, self._wanted, remembered, self._ask)
        sighting = self._chosen.sighting
        remember_cube(RememberedCube(sighting.address, sighting.name, self._chosen.name))

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events; they end only with the program, or if it cannot be connected at all."""
        from livecube.edges.radio_link import RadioLink

        began, chosen = time.monotonic(), self.chosen
        link = RadioLink(
            self._radio, chosen.sighting, chosen.decoder.notify, lambda: time.monotonic() - began
        )
        return decoded(link, chosen.decoder(), capture=self._capture)


class VirtualRadioSource:
    """A simulated cube, by way of a real GATT exchange and bleak. Needs the extra ``virtual``."""

    name = _PROTOCOL
    clock: Literal["cube", "host"] = "cube"
    link = "virtual radio"
    typed = None

    def __init__(
        self,
        simulation: Simulation,
        *,
        capture: bool = False,
        begin: asyncio.Event | None = None,
    ) -> None:
        """``begin``: the cube rests until this is set; None: it is turned at once."""
        self.title = f"virtual radio, simulated cube, seed {simulation.seed}"
        self.speed = simulation.speed
        self._simulation = simulation
        self._capture = capture
        self._begin = begin

    async def find(self) -> None:
        """It will be there."""
        try:
            import bumble  # noqa: F401
        except ImportError:
            raise UsageError(
                "the virtual radio needs bumble; install it: pip install 'livecube[virtual]'"
            ) from None

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events, until the virtual solver is done."""
        from livecube.edges.radio_link import RadioLink
        from livecube.edges.virtual_radio.radio import VirtualRadio, VirtualSolver

        session = await asyncio.to_thread(_session, self._simulation)
        radio = VirtualRadio()
        await radio.start()
        firmware = _firmware(session)
        solver = VirtualSolver(
            radio.link, firmware, session, time.monotonic, self.speed, begin=self._begin
        )
        solving = asyncio.create_task(solver.run(), name="virtual solver")
        chosen = await choose_cube(
            radio, {_PROTOCOL: find_decoder(_PROTOCOL)}, Wanted(), None, None, _VIRTUAL_SCAN_S
        )
        link = RadioLink(radio, chosen.sighting, chosen.decoder.notify, time.monotonic)
        return _until(decoded(link, chosen.decoder(), capture=self._capture), solving)


class TypedSource:
    """Moves that are typed on the keyboard."""

    title = "typed turns"
    name = "typed"
    clock: Literal["cube", "host"] = "host"
    link = "keyboard"
    speed = 1.0

    def __init__(self, held: Callable[[], Holding | None], scramble: bytes | None) -> None:
        began = time.monotonic()
        self.typed = TypedCube(lambda: time.monotonic() - began, held, scramble)

    async def find(self) -> None:
        """It is there."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """What is typed."""
        return self.typed.events()


async def _until(
    events: AsyncGenerator[CubeEvent, None], over: asyncio.Task[None]
) -> AsyncGenerator[CubeEvent, None]:
    """The events before something is over."""
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
