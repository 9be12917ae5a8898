"""An evening of livecube beside a real Home Assistant and a real mosquitto.

``python tests/checks/home_check.py --home FOLDER`` (as root, on Linux with ``mmdebstrap``) makes a
Home Assistant in the folder, if none is there yet (about 6 minutes, once), adds MQTT by its own
interface, and runs solves, practice, drills, a killed and restarted broker, a restarted home, a
killed livecube, a change of ``discovery`` and a ``forget`` (about 2 minutes). After each step the
home's states are compared with those that a stand-in makes of the same messages. It fails on a
state that differs, on an entity that is unknown or unavailable without need, and on any line of the
home's log that names livecube. ``--brief`` compares the stand-in with itself, so that the suite can
run the evening without a home.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Protocol

import beside  # noqa: F401 - before helpers are imported
from broker import Broker, free_port
from consumer import Consumer
from home import Home
from real_home import RealHome, make_home

if TYPE_CHECKING:
    from collections.abc import Callable

_DESK: Final = "Eve's desk"
_DEVICE: Final = f"livecube {_DESK}"
_LIVE: Final = ("Session", "Link", "Battery")
_PATIENCE_S: Final = 30.0
_VERSION: Final = "homeassistant==2026.2.*"


class AtHome(Protocol):
    """The interface of a home."""

    def states(self, device: str) -> dict[str, str | None]:
        """The state of each entity by its name; None: unknown."""
        ...

    def log_lines(self, word: str) -> list[str]:
        """The lines of its log that hold a word."""
        ...

    def start(self) -> None:
        """Start it."""
        ...

    def stop(self) -> None:
        """End it in order."""
        ...


@dataclass
class StandIn:
    """A home that gets the consumer's messages."""

    consumer: Consumer
    home: Home = field(default_factory=lambda: Home("homeassistant"))

    def states(self, device: str) -> dict[str, str | None]:
        for heard in self.consumer.heard[self.home.heard :]:
            self.home.take(heard.topic, heard.payload, retained=heard.retained)
        self.home.heard = len(self.consumer.heard)
        return self.home.states()

    def log_lines(self, word: str) -> list[str]:
        return []

    def start(self) -> None:
        """Nothing to do: it was always running."""

    def stop(self) -> None:
        """Nothing to do: it goes on running."""


@dataclass
class Evening:
    """The steps of an evening; each reports its faults."""

    broker: Broker
    consumer: Consumer
    home: AtHome
    folder: Path
    brief: bool
    wrong: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._expected = StandIn(self.consumer)

    async def run(self) -> None:
        """Run all steps; briefly, only the cheapest."""
        speed = "1000" if self.brief else "20"
        live = ("live", "--simulated", "--no-hints", "--speed", speed, "--json")
        slow = (*live, "--speed", "2")  # a home is back within 10 s
        await self._step("solves", *live, "--solves", "2", "--seed", "3")
        if not self.brief:
            await self._practise(speed)
            await self._step("a killed broker", *slow, "--solves", "2", "--seed", "7",
                             meanwhile=self._broker_dies)  # fmt: skip
            await self._step("a home that starts again", *slow, "--solves", "2", "--seed", "8",
                             meanwhile=self._home_restarts)  # fmt: skip
            await self._step("a killed livecube", *live, "--solves", "3", "--seed", "9", kill=True)
            await self._step("after the kill", *live, "--solves", "1", "--seed", "10")
            self._configure("entities")
            await self._step("discovery entities", *live, "--solves", "1", "--seed", "11")
            self._configure("device")
            await self._step("discovery device", *live, "--solves", "1", "--seed", "11")
        await self._step("forget", "mqtt", "forget")
        if states := self._expected.states(_DEVICE):
            self.wrong.append(f"forget: left is {', '.join(states)}")
        self.wrong += [f"in the home's log: {line}" for line in self.home.log_lines("livecube")]

    async def _practise(self, speed: str) -> None:
        asked = ("--simulated", "--seed", "5", "--speed", speed, "--json")
        await self._step("practice", "practice", *asked, "--solves", "2", "--person", "eve")
        await self._step("a drill", "drill", "made-pair", *asked, "--count", "1")
        await self._step("drill fingers", "drill", "fingers", *asked, "--rounds", "2")
        await self._step("drill beat", "drill", "beat", *asked)

    def _configure(self, form: str) -> None:
        (self.folder / "config.toml").write_text(
            f'[mqtt]\nurl = "{self.broker.url}"\ndesk = "{_DESK}"\ndiscovery = "{form}"\n'
        )

    async def _step(
        self,
        name: str,
        *command: str,
        meanwhile: Callable[[], None] | None = None,
        kill: bool = False,
    ) -> None:
        began, heard = time.monotonic(), len(self.consumer.heard)
        environment = os.environ | {
            f"LIVECUBE_{what}": str(self.folder) for what in ("CONFIG", "STATE", "DATA")
        }
        livecube = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "livecube", *command,
            env=environment, stdout=asyncio.subprocess.DEVNULL,
        )  # fmt: skip
        if meanwhile is not None or kill:
            await self.consumer.until(lambda: self._stages_since(heard) >= 3)
        if meanwhile is not None:
            await asyncio.to_thread(meanwhile)
        if kill:
            livecube.kill()
        status = await livecube.wait()
        if status and not kill:
            self.wrong.append(f"{name}: livecube ended with {status}")
        await self._agree(name, is_known=command[0] != "mqtt" and not kill)
        print(f"  {name}: {time.monotonic() - began:.0f} s")

    def _stages_since(self, heard: int) -> int:
        return sum(one.topic.endswith("/stage") for one in self.consumer.heard[heard:])

    async def _agree(self, name: str, *, is_known: bool) -> None:
        """Wait until the home shows the published states."""
        expected, found = {}, {}
        until = time.monotonic() + _PATIENCE_S
        while time.monotonic() < until:
            expected = _comparable(self._expected.states(_DEVICE))
            found = _comparable(await asyncio.to_thread(self.home.states, _DEVICE))
            if found == expected:
                break
            await asyncio.sleep(0.3)
        for one in sorted(expected.keys() | found.keys()):
            if (shown := found.get(one, "none")) != (told := expected.get(one, "none")):
                self.wrong.append(f"{name}: {one} is {shown}, published was {told}")
        unknown = [one for one, state in found.items()
                   if state in (None, "unavailable") and one not in _LIVE]  # fmt: skip
        if is_known and unknown:
            self.wrong.append(f"{name}: unknown or unavailable: {', '.join(unknown)}")

    def _broker_dies(self) -> None:
        self.broker.kill()
        time.sleep(3)
        self.broker.start()

    def _home_restarts(self) -> None:
        self.home.stop()
        self.home.start()


def _comparable(states: dict[str, str | None]) -> dict[str, Any]:
    """Numbers as numbers; a home writes ``on`` where the message has ``ON``."""
    made: dict[str, Any] = {}
    for name, state in states.items():
        try:
            made[name] = float(state or "")
        except ValueError:
            made[name] = state.lower() if state in ("ON", "OFF") else state
    return made


async def _check(folder: Path | None, brief: bool) -> list[str]:
    with tempfile.TemporaryDirectory() as own:
        broker = Broker(Path(own) / "broker").start()
        home: RealHome | None = None
        try:
            async with Consumer(broker.port, "#") as consumer:
                if folder is not None:
                    home = RealHome(folder, free_port())
                    await asyncio.to_thread(home.set_up, broker.port)
                    print(f"Home Assistant {home.version}")
                evening = Evening(broker, consumer, home or StandIn(consumer), Path(own), brief)
                evening._configure("device")
                await evening.run()
                return evening.wrong
        finally:
            if home is not None:
                home.stop()
            broker.stop()


def main() -> None:
    """Make a home if needed, run the evening, and report the faults."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--home", type=Path, help="the folder of the home, made if it is not there")
    parser.add_argument("--version", default=_VERSION, help=f"of a home that is made ({_VERSION})")
    parser.add_argument("--brief", action="store_true", help="without a home")
    asked = parser.parse_args()
    if (asked.home is None) != asked.brief:
        parser.error("give --home FOLDER, or --brief")
    if asked.home is not None:
        make_home(asked.home, asked.version)
    wrong = asyncio.run(_check(asked.home, asked.brief))
    print("\n".join(wrong) or "all states are right, and no line of the log names livecube")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
