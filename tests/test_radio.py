"""The whole way by radio: bleak, GATT and a virtual cube, in one process; and its faults."""

from __future__ import annotations

import asyncio
import random
import time
from contextlib import aclosing, asynccontextmanager
from itertools import islice, repeat
from typing import TYPE_CHECKING

import numpy as np
import pytest
from examples import thorough

from livecube.composition.assembly import find_decoder
from livecube.composition.reception import decoded
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.link import LinkDown, LinkUp
from livecube.edges.radio import uuid16
from livecube.edges.radio_link import RadioLink, back_off
from livecube.edges.virtual_radio.faults import Faults
from livecube.edges.virtual_radio.radio import VirtualRadio, VirtualSolver
from livecube.errors import RadioError
from livecube.events import Battery, DeviceInfo, Gap, LinkChange, State, Turn
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.virtual.cube import simulated_cube
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from livecube.edges.radio import Connection, Sighting
    from livecube.events import CubeEvent
    from livecube.stages.solve import Solve

SESSION = session(5, 1, on_cube=False)
START = bytes(apply_turns(SOLVED, SESSION.scramble).tolist())
TURNS = [turn.turn for turn in SESSION.turns]
DECODER = find_decoder("turnwire")
HURRY = 40.0


class Table:
    """A virtual radio with one cube that a virtual solver turns."""

    def __init__(self, faults: Faults | None = None, speed: float = HURRY) -> None:
        self.radio = VirtualRadio()
        firmware = simulated_cube("turnwire")(START, battery_percent=71)
        link = self.radio.link
        self.solver = VirtualSolver(
            link, firmware, SESSION, time.monotonic, speed, faults, percent=71
        )
        self.cube = self.solver.cube
        self.events: list[CubeEvent] = []
        self.away_s = 0.05
        """Seconds until the link is back."""

    async def follow(self, watch: Callable[[Table], None] = lambda table: None) -> None:
        """Follow the whole solve; ``watch`` looks at it after each event."""
        sightings = await self.radio.scan(5, lambda sighting: True)
        notify = DECODER.notify
        delays = lambda: repeat(self.away_s)  # noqa: E731
        link = RadioLink(self.radio, sightings[0], notify, time.monotonic, delays)
        async with aclosing(decoded(link, DECODER())) as events:
            async for event in events:
                self.events.append(event)
                watch(self)

    @property
    def turns(self) -> list[int]:
        return [event.turn for event in self.events if isinstance(event, Turn)]

    def of(self, kind: type[CubeEvent]) -> list[CubeEvent]:
        return [event for event in self.events if isinstance(event, kind)]

    def solve(self) -> Solve:
        told = Tracker().feed_all(self.events)
        return next(one.solve for one in told if isinstance(one, SolveOver))


@asynccontextmanager
async def laid(table: Table) -> AsyncIterator[asyncio.Task[None]]:
    await table.radio.start()
    solving = asyncio.create_task(table.solver.run())
    try:
        yield solving
    finally:
        solving.cancel()
        await asyncio.wait([solving])
        await table.cube.stop()


async def followed(
    faults: Faults | None = None,
    watch: Callable[[Table], None] = lambda table: None,
    speed: float = HURRY,
    away_s: float = 0.05,
) -> Table:
    """A table after the whole solve was followed."""
    table = Table(faults, speed)
    table.away_s = away_s
    async with laid(table) as solving, asyncio.timeout(300):
        following = asyncio.create_task(table.follow(watch))
        await asyncio.wait([solving, following], return_when=asyncio.FIRST_COMPLETED)
        following.cancel()
        await asyncio.wait([following])
        if not following.cancelled():
            following.result()
    return table


async def test_a_cube_is_found_with_all_that_it_advertises() -> None:
    table = Table()
    async with laid(table):
        (sighting,) = await table.radio.scan(5, lambda sighting: True)
        assert sighting.name == "turnwire"
        assert sighting.title == "turnwire (F0:F1:F2:F3:F4:01)"
        assert -127 < sighting.rssi < 20
        assert DECODER.claims(sighting.advertisement)


async def test_a_whole_solve_is_followed_through_bleak_and_gatt() -> None:
    table = await followed()
    assert table.turns == TURNS
    times = [event.t for event in table.of(Turn)]
    assert np.diff(times) == pytest.approx(np.diff([turn.t for turn in SESSION.turns]))
    assert isinstance(table.of(State)[0], State)
    assert table.of(State)[0].position == START  # type: ignore[union-attr]
    assert Battery(0.0, 71) in table.events
    assert table.of(Battery)[1:] == []  # two services tell it, and it is told once
    (device,) = table.of(DeviceInfo)
    assert device.told == (  # type: ignore[union-attr]
        ("maker", "livecube"), ("model", "virtual cube"), ("firmware", "1"),
    )  # fmt: skip
    assert table.of(LinkChange) == table.of(Gap) == []
    solve = table.solve()
    assert solve.solved
    assert not solve.gap


@pytest.mark.parametrize(
    "away_s", [0.05, thorough(0.4)], ids=["a moment", "some seconds of the cube's"]
)
async def test_a_link_that_is_lost_in_mid_solve_comes_back_and_nothing_is_missing(
    away_s: float,
) -> None:
    ended: list[asyncio.Task[None]] = []
    cut = (12, 30, 50)

    def watch(table: Table) -> None:
        if len(table.turns) in cut[len(ended) : len(ended) + 1]:
            ended.append(asyncio.create_task(table.cube.drop_link()))

    table = await followed(watch=watch, speed=10, away_s=away_s)
    assert len(ended) == len(cut)
    assert table.cube.connections == 1 + len(cut)
    assert [event.up for event in table.of(LinkChange)] == [False, True] * len(cut)  # type: ignore[union-attr]
    assert table.turns == TURNS
    assert table.of(Gap) == []
    assert table.solve().solved


@pytest.mark.parametrize(
    "faults",
    [
        Faults(drop=0.15, seed=3),
        thorough(Faults(repeat=0.3, swap=0.3, seed=3)),
        Faults(garbage=0.3, spoil=0.1, seed=3),
        thorough(Faults(delay_s=0.05, drop=0.05, seed=3)),
    ],
    ids=["drops", "repeats and swaps", "garbage", "slow"],
)
async def test_a_disturbed_radio_costs_no_turn(faults: Faults) -> None:
    table = await followed(faults)
    assert table.turns == TURNS
    assert table.of(Gap) == []
    assert table.cube.sent > 0


async def test_a_battery_that_runs_down_is_told() -> None:
    told: list[asyncio.Task[None]] = []

    def watch(table: Table) -> None:
        if not told and len(table.turns) > 5:
            told.append(asyncio.create_task(table.cube.set_battery(70)))

    table = await followed(watch=watch)
    assert [event.percent for event in table.of(Battery)] == [71, 70]  # type: ignore[union-attr]


async def test_a_cube_that_is_away_is_looked_for_until_it_is_back() -> None:
    table = Table()
    table.solver = VirtualSolver(
        table.radio.link, simulated_cube("turnwire")(START), session(5, 1), time.monotonic
    )
    table.cube = table.solver.cube
    seen: list[type] = []
    async with laid(table), asyncio.timeout(300):
        sightings = await table.radio.scan(5, lambda sighting: True)
        delays = lambda: islice([0.0, 0.01, 0.02, 0.03], 4)  # noqa: E731
        link = RadioLink(table.radio, sightings[0], DECODER.notify, time.monotonic, delays)
        async with aclosing(link.items()) as items:
            async for item in items:
                if isinstance(item, LinkUp | LinkDown):
                    seen.append(type(item))
                    if len(seen) == 1:
                        await table.cube.hide()
                    elif len(seen) == 2:
                        assert await table.radio.scan(0.1) == []
                        await table.cube.show()
                    else:
                        break
    assert seen == [LinkUp, LinkDown, LinkUp]


async def test_a_cube_that_is_not_there_is_said_to_be_away() -> None:
    table = Table()
    async with laid(table):
        sightings = await table.radio.scan(5, lambda sighting: True)
        await table.cube.hide()
        radio = Impatient(table.radio)
        delays = lambda: iter([0.0, 0.0])  # noqa: E731
        link = RadioLink(radio, sightings[0], DECODER.notify, time.monotonic, delays)
        with pytest.raises(RadioError, match="does not answer") as caught:
            async for _ in link.items():
                pass
        assert caught.value.trouble == "no answer"
        assert radio.tries == 3


async def test_a_cube_without_its_decoders_characteristic_is_refused_at_once() -> None:
    table = Table()
    async with laid(table):
        sightings = await table.radio.scan(5, lambda sighting: True)
        radio = Impatient(table.radio)
        link = RadioLink(radio, sightings[0], (uuid16(0x2A00 + 0xFF),), time.monotonic)
        with pytest.raises(RadioError, match="has no characteristic") as caught:
            async for _ in link.items():
                pass
        assert caught.value.trouble == "refused"
        assert radio.tries == 1


class Impatient:
    """A radio that waits only a moment for an answer, and counts its tries."""

    def __init__(self, radio: VirtualRadio) -> None:
        self.label = radio.label
        self.scan = radio.scan
        self.tries = 0
        self._radio = radio

    async def connect(self, sighting: Sighting, lost: Callable[[], None]) -> Connection:
        self.tries += 1
        return await self._radio.connect(sighting, lost, seconds=0.3)


def test_delays_grow_to_a_limit_and_never_agree() -> None:
    delays = list(islice(back_off(random.Random(7)), 12))
    assert all(0.1 <= delays[0] <= 0.2 and delay <= 5.0 for delay in delays)
    assert all(2.5 <= delay <= 5.0 for delay in delays[6:])
    assert len(set(delays)) == len(delays)
    assert delays != list(islice(back_off(random.Random(8)), 12))
