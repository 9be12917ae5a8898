"""The virtual radio as a whole: a link, an adapter on this side, cubes on the other."""

from __future__ import annotations

import asyncio
import logging
from typing import TYPE_CHECKING, Final

from bumble.link import LocalLink

from livecube.edges.bleak_radio import BleakRadio
from livecube.edges.simulated_link import Player
from livecube.edges.virtual_radio.backend import Central
from livecube.edges.virtual_radio.cube import CUBE_ADDRESS, GattCube

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.edges.virtual_radio.faults import Faults
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = ["VirtualRadio", "VirtualSolver"]

_LAST_WORD_S: Final = 0.3

# A packet in flight when its connection ends is no news for whoever reads the screen.
logging.getLogger("bumble").setLevel(logging.ERROR)


class VirtualRadio(BleakRadio):
    """A radio that hears only the cubes on its ``link``. Make it in a running loop."""

    def __init__(self) -> None:
        self.link = LocalLink()  # type: ignore[no-untyped-call]
        self._central = Central(self.link)
        super().__init__("virtual radio", self._central.client, self._central.scanner)

    async def start(self) -> None:
        """Switch it on."""
        await self._central.start()


class VirtualSolver:
    """A cube on a link; a virtual session is turned on it from its first subscription on.

    Turning goes on while the connection is lost, as with people.
    """

    def __init__(
        self,
        link: LocalLink,
        firmware: SimulatedCube,
        session: VirtualSession,
        now: Callable[[], float],
        speed: float = 1.0,
        faults: Faults | None = None,
        address: str = CUBE_ADDRESS,
        percent: int = 100,
        begin: asyncio.Event | None = None,
    ) -> None:
        self._player = Player(firmware, session, now, speed, self._send, begin)
        self.cube = GattCube(
            link,
            firmware.advertisement,
            firmware.events,
            firmware.control,
            self._player.written,
            address=address,
            percent=percent,
            faults=faults,
        )

    async def run(self) -> None:
        """Start and make all turns; returns after the last packets, with the cube still on."""
        await self.cube.start()
        await self.cube.subscribed.wait()
        await self._player.play()
        await asyncio.sleep(_LAST_WORD_S)  # so that the host's last requests are answered

    def _send(self, data: bytes) -> None:
        self.cube.send(data)
