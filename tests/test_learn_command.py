"""``livecube learn``: offline from a capture, and led through the routine over a link."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner
from examples import part_of
from learn_check import exact
from learn_layouts import MAIN, Made, Owner, made, way_home
from profile_texts import NAMES, PROFILES, ROOT
from slip_check import of_profile
from wild_layouts import wild
from wild_owner import Led

from livecube.cli.learn import learn
from livecube.composition.learning import Conductor
from livecube.edges.link import Notification
from livecube.edges.profile_files import load_profile
from livecube.errors import UsageError
from livecube.events import Asked, Packet
from livecube.learning.learner import learn as learned_from
from livecube.learning.routine import REST_S, STEPS
from livecube.learning.verdicts import Learned
from livecube.profiles.values import Claim

if TYPE_CHECKING:
    from collections.abc import AsyncIterator
    from pathlib import Path

    from livecube.events import CubeEvent


@pytest.mark.parametrize("name", part_of(NAMES))
def test_the_captures_of_the_invented_cubes_are_learned(name: str, tmp_path: Path) -> None:
    path, capture = tmp_path / "mine.toml", str(ROOT / f"fixtures/{name}.capture.jsonl")
    arguments = ["--capture", capture, "--name", "mine", "--cube-name", "X-"]
    done = CliRunner().invoke(learn, [*arguments, "--output", str(path)])
    assert done.exit_code == 0, done.output
    assert "were decoded correctly" in done.output
    learned, true = load_profile(path), PROFILES[name]
    assert learned.claim == Claim(name="X-")
    assert learned.layouts[0].counter == true.layouts[0].counter
    assert learned.layouts[0].clock == true.layouts[0].clock
    assert learned.layouts[0].turns == true.layouts[0].turns
    assert learned.turns == true.turns
    again = CliRunner().invoke(learn, [*arguments, "--output", str(path)])
    assert isinstance(again.exception, UsageError)


def test_a_log_in_which_nothing_was_asked_for_cannot_be_learned_from() -> None:
    log = str(ROOT / "fixtures/evening.jsonl")
    done = CliRunner().invoke(learn, ["--capture", log, "--name", "mine"])
    assert isinstance(done.exception, UsageError)
    assert "no asked turns" in str(done.exception)


@pytest.mark.parametrize("name", ["Bad Name", "", "a" * 41, "ä", "-x"])
def test_a_name_with_which_no_profile_could_be_read_was_written(name: str) -> None:
    capture = str(ROOT / "fixtures/skerry.capture.jsonl")
    done = CliRunner().invoke(learn, ["--capture", capture, "--name", name])
    assert isinstance(done.exception, UsageError)
    assert "lower-case letters" in str(done.exception)


def test_what_is_not_learned_is_said_with_status_1(tmp_path: Path) -> None:
    whole = (ROOT / "fixtures/skerry.capture.jsonl").read_text(encoding="utf-8").splitlines()
    path = tmp_path / "short.jsonl"
    path.write_text("\n".join(whole[:40]) + "\n", encoding="utf-8")
    done = CliRunner().invoke(learn, ["--capture", str(path), "--name", "mine"])
    assert done.exit_code == 1
    assert "not learned: each quarter turn has to be made 3 times" in done.output


class SimulatedLink:
    """An obedient owner and the packets of the cube, on a clock that runs fast."""

    def __init__(self, cube: Made, now: float) -> None:
        self.owner = Owner(cube, 5)
        self.now = now
        self.sent: asyncio.Queue[Notification] = asyncio.Queue()

    def ask(self, asked: Asked) -> None:
        for turn in asked.turns if asked.turns is not None else way_home(self.owner):
            for packet in self.owner.turned(turn, 0.7):
                host_s = self.now + packet.t
                self.sent.put_nowait(Notification(host_s, packet.char, packet.data))

    async def notifications(self) -> AsyncIterator[Notification]:
        while True:
            yield await self.sent.get()


@pytest.mark.thorough
async def test_an_owner_is_led_through_the_routine() -> None:
    cube = made(2)
    link = SimulatedLink(cube, 0.0)
    link.now = -(link.owner.host_s + link.owner.cube_s)
    kept: list[CubeEvent] = []
    clock = FlyingClock()
    conductor = Conductor(clock.now, lambda asked: clock.after(link, asked), kept.append)
    found = await conductor.lead(link.notifications(), clock.sleep)
    assert [step.turns for step in found.steps] == list(STEPS)
    assert sum(isinstance(event, Packet) for event in kept) == len(found.packets)
    assert {packet.char for packet in found.packets} == {MAIN}
    verdict = learned_from(found, "learned", Claim(name="MADE"))
    assert isinstance(verdict, Learned)
    assert exact(verdict.profile, cube)


@pytest.mark.thorough
async def test_a_stream_as_long_as_the_turns_and_an_owner_who_slips() -> None:
    """Earlier such packets were ignored as at rest, and a wrong turn was recorded as right."""
    layout = replace(wild(5), orientation="same length", repeats=1, check="")
    owner = Led(layout, 5, ["wrong", "corrected", "lost", "pause"])
    owner.owner.rate_hz = 4.0
    found = await owner.lead()
    assert any("understood: " in sentence for sentence in owner.said)
    assert any("once more, please" in sentence for sentence in owner.said)
    assert any("Take your time" in sentence for sentence in owner.said)
    assert len(owner.asked) > len(STEPS)
    verdict = learned_from(found, "learned", Claim(name="WILD"))
    assert isinstance(verdict, Learned)
    assert of_profile(verdict, layout).verdict == "exact"


async def test_nothing_is_asked_for_before_the_cube_is_connected() -> None:
    """A connection may take longer than the rest before the first turn."""
    clock, connected, asked = FlyingClock(), asyncio.Event(), list[Asked]()

    async def silent() -> AsyncIterator[Notification]:
        clock.t += 10 * REST_S
        for _ in range(10):
            await asyncio.sleep(0)
        assert asked == []
        connected.set()
        for _ in range(100):
            await asyncio.sleep(0)
        yield Notification(clock.t, MAIN, b"")

    await Conductor(clock.now, asked.append, connected=connected).lead(silent(), clock.sleep)
    assert asked
    assert asked[0].t >= 11 * REST_S


class FlyingClock:
    """Time that passes only while the program waits."""

    def __init__(self) -> None:
        self.t = 0.0

    def now(self) -> float:
        return self.t

    async def sleep(self, seconds: float) -> None:
        self.t += seconds
        for _ in range(3):
            await asyncio.sleep(0)

    def after(self, link: SimulatedLink, asked: Asked) -> None:
        """The owner turns, and time goes on until the last packet has come."""
        link.ask(asked)
        self.t = max(self.t, link.now + link.owner.heard)
