"""A simulated cube whose virtual solver practises: he follows what practice asks of him."""

from __future__ import annotations

import asyncio
import time
from typing import TYPE_CHECKING, Final, Literal

from livecube.composition.assembly import find_decoder
from livecube.composition.reception import decoded

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Sequence

    from livecube.composition.sources import Simulation
    from livecube.edges.practised_link import PractisedLink
    from livecube.events import CubeEvent
    from livecube.practice.news import PracticeNews

__all__ = ["PractisedSource"]

_PROTOCOL: Final = "turnwire"


class PractisedSource:
    """As :class:`~livecube.composition.sources.Source`; ``show`` it what practice tells."""

    name = _PROTOCOL
    clock: Literal["cube", "host"] = "cube"
    link = "simulated"
    typed = None

    def __init__(self, simulation: Simulation) -> None:
        self.title = f"simulated cube, seed {simulation.seed}"
        self.speed = simulation.speed
        self._simulation = simulation
        self._practised: PractisedLink | None = None

    def show(self, news: PracticeNews) -> None:
        """The virtual solver sees this."""
        if self._practised is not None:
            self._practised.show(news)

    async def find(self) -> None:
        """It is there."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """Its events, until the virtual solver is done."""
        self._practised = await asyncio.to_thread(self._made)
        return decoded(self._practised, find_decoder(_PROTOCOL)())

    def _made(self) -> PractisedLink:
        import numpy as np

        from livecube.cube.position import SOLVED_BYTES
        from livecube.edges.practised_link import PractisedLink
        from livecube.virtual.cube import simulated_cube
        from livecube.virtual.solver import solve

        rng = np.random.default_rng(self._simulation.seed)

        def solving(scramble: Sequence[int]) -> list[tuple[float, int]]:
            return [(turn.t, turn.turn) for turn in solve(rng, scramble).turns]

        cube = simulated_cube(_PROTOCOL)(SOLVED_BYTES)
        return PractisedLink(
            cube, solving, self._simulation.solves, rng, time.monotonic, self._simulation.speed
        )
