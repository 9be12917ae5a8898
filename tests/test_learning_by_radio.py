"""An unknown cube is learned through bleak and a real GATT exchange, its owner led all the way."""

from __future__ import annotations

import asyncio
import time
from typing import TYPE_CHECKING

import pytest

from livecube.composition import learning
from livecube.composition.choosing import find_named
from livecube.composition.learning import led_by_radio
from livecube.cube.position import inverse_turns, parse_turn
from livecube.edges.profile_files import installed_profiles
from livecube.edges.virtual_radio.cube import GattCube
from livecube.edges.virtual_radio.radio import VirtualRadio
from livecube.errors import RadioError
from livecube.learning import routine
from livecube.learning.learner import learn
from livecube.learning.verdicts import Learned
from livecube.profiles.decoder import decoder_class
from livecube.profiles.values import Claim
from livecube.virtual.profile_cube import ProfileCube

if TYPE_CHECKING:
    from livecube.events import CubeEvent

SKERRY = next(profile for profile in installed_profiles() if profile.name == "skerry")


@pytest.fixture
def hurried(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, seconds in (("REST_S", 0.1), ("QUIET_S", 0.01), ("BRIEF_S", 0.01), ("FREE_S", 0.3)):
        monkeypatch.setattr(routine, name, seconds)


class Owner:
    """Turns a cube as the sentences ask."""

    def __init__(self, radio: VirtualRadio) -> None:
        self.firmware = firmware = ProfileCube(SKERRY)
        self.began = time.monotonic()
        self.cube = GattCube(
            radio.link, firmware.advertisement, firmware.events, firmware.control, lambda _: None
        )
        self.made: list[int] = []
        self.said: list[str] = []
        self.turning: list[asyncio.Task[None]] = []

    def hear(self, sentence: str) -> None:
        self.said.append(sentence)
        if " of " not in sentence.split(":")[0]:
            return
        told = sentence.rsplit("turn ", 1)[1] if "as you like" not in sentence else None
        turns = [parse_turn(told)] if told else [0, *inverse_turns([*self.made, 0])]
        self.turning.append(asyncio.create_task(self.turn(turns)))

    async def turn(self, turns: list[int]) -> None:
        for turn in turns:
            self.made.append(turn)
            for packet in self.firmware.turn(turn, round(1000 * (time.monotonic() - self.began))):
                self.cube.send(packet)
            await asyncio.sleep(0.004)


@pytest.mark.usefixtures("hurried")
async def test_an_owner_is_led_by_radio_and_what_the_cube_sends_is_recorded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    steps = (*routine.STEPS[:7], None)
    for module in (routine, learning):
        monkeypatch.setattr(module, "STEPS", steps)
    monkeypatch.setattr(learning, "_MOST_ROUNDS", 0)  # too few to learn it; no more are asked for
    radio = VirtualRadio()
    await radio.start()
    owner = Owner(radio)
    await owner.cube.start()
    sighting = await find_named(radio, SKERRY.claim.name or "", 5)
    recording = await led_by_radio(radio, sighting, owner.hear, lambda event: None)
    await asyncio.sleep(0.3)
    await owner.cube.stop()
    assert owner.said[1] == "  1 of 8: turn U"
    assert [step.turns for step in recording.steps] == [*steps]
    assert [len(step.packets) for step in recording.steps] == [1] * 7 + [9]


@pytest.mark.thorough
@pytest.mark.usefixtures("hurried")
async def test_a_cube_is_learned_from_its_owner_and_then_understood() -> None:
    radio = VirtualRadio()
    await radio.start()
    owner = Owner(radio)
    await owner.cube.start()
    kept: list[CubeEvent] = []
    async with asyncio.timeout(300):
        sighting = await find_named(radio, SKERRY.claim.name or "", 5)
        recording = await led_by_radio(radio, sighting, owner.hear, kept.append)
    await asyncio.sleep(0.3)  # it advertises again after a connection, which must have begun
    await owner.cube.stop()
    assert "is connected" in owner.said[0]
    assert owner.said[1] == f"  1 of {len(routine.STEPS)}: turn U"
    assert [step.turns for step in recording.steps] == list(routine.STEPS)
    assert len(kept) > len(routine.STEPS)
    verdict = learn(recording, "mine", Claim(name=sighting.name))
    assert isinstance(verdict, Learned), verdict
    learned, known = decoder_class(verdict.profile)(), decoder_class(SKERRY)()
    fresh = ProfileCube(SKERRY)
    for number, turn in enumerate([0, 3, 5, 9, 9, 17, 14, 8, 6]):
        for packet in fresh.turn(turn, 500 * number):
            turns = [
                [report.turn for report in decoder.received(fresh.events, packet).reports]  # type: ignore[union-attr]
                for decoder in (learned, known)
            ]
            assert turns[0] == turns[1]


async def test_what_is_not_near_cannot_be_learned() -> None:
    radio = VirtualRadio()
    await radio.start()
    with pytest.raises(RadioError, match="'unknown-cube' was not heard"):
        await find_named(radio, "unknown-cube", 0.2)
