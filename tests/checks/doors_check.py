"""Which files of ``livecube/`` a turn enters, on its way from a packet to the screen.

``python tests/checks/doors_check.py`` follows a simulated solve packet by packet, with hints at
the liveliest level, and draws the screen behind each. It prints how many files a turn enters that
says nothing, and one that brings a hint (least, median, most), and the files of the median one by
room.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

import livecube
from livecube.advice.speaker import Spoken
from livecube.composition.assembly import find_decoder, load_advisor, load_holdings, set_level
from livecube.composition.following import CubeFollower, Hub
from livecube.composition.pipeline import Pipeline
from livecube.composition.reception import Reception
from livecube.cube.position import SOLVED_BYTES
from livecube.edges.link import LinkUp, Notification
from livecube.stages.tracker import Tracker
from livecube.views.board import Board
from livecube.views.screen import LiveScreen
from livecube.virtual.cube import simulated_cube
from livecube.virtual.session import session

if TYPE_CHECKING:
    from livecube.edges.sink import Item

PACKAGE = Path(livecube.__file__).parent


class Entered:
    """The files of the package whose functions are called meanwhile."""

    def __init__(self) -> None:
        self.files: set[str] = set()

    def __enter__(self) -> Entered:
        sys.setprofile(self._called)
        return self

    def __exit__(self, *_: object) -> None:
        sys.setprofile(None)

    def _called(self, frame: Any, event: str, _: object) -> None:
        path = frame.f_code.co_filename
        if event == "call" and path.startswith(str(PACKAGE)):
            self.files.add(str(Path(path).relative_to(PACKAGE)))


class Shown:
    """The sink of the screen, drawn at once."""

    name = "screen"

    def __init__(self) -> None:
        self.board = Board(LiveScreen("a simulated cube"))
        self.hints = 0

    async def take(self, item: Item) -> None:
        """Show it."""
        self.board.take(item)  # type: ignore[arg-type]
        self.hints += isinstance(item, Spoken)

    async def close(self) -> None:
        """There is nothing to close."""


async def turns(seed: int, solves: int) -> list[tuple[bool, set[str]]]:
    """For each turn of some virtual solves whether it brought a hint, and the files entered."""
    pipeline, shown = Pipeline(Tracker(), lambda: 0.0), Shown()
    pipeline.advisor, pipeline.holdings = load_advisor(), load_holdings()
    set_level(pipeline.advisor, "bold")
    console = Console(file=StringIO(), force_terminal=True, width=100, height=40)
    done = session(seed, solves, on_cube=True)
    cube = simulated_cube("turnwire")(SOLVED_BYTES)
    reception = Reception(find_decoder("turnwire")())
    writes = reception.take(LinkUp(0.0))[1]
    waiting = [data for write in writes for data in cube.written(write.data, 0)]
    found: list[tuple[bool, set[str]]] = []
    async with Hub([shown]) as hub:
        follower = CubeFollower(pipeline, hub)
        for turn in done.turns:
            packets = [*waiting, *cube.turn(turn.turn, round(1000 * turn.t))]
            waiting = []
            hints = shown.hints
            with Entered() as entered:
                for data in packets:
                    events, _ = reception.take(Notification(turn.t, cube.events, data))
                    follower.pass_on(events)
                await hub.settle()
                console.print(shown.board.shown)
            found.append((shown.hints > hints, entered.files))
    return found


def told(name: str, entered: list[set[str]]) -> list[str]:
    """The figures of these turns, and the files of the median one by room."""
    entered = sorted(entered, key=len)
    median = entered[len(entered) // 2]
    rooms: dict[str, list[str]] = {}
    for file in sorted(median):
        room, _, module = file.rpartition("/")
        rooms.setdefault(room or "livecube", []).append(module.removesuffix(".py"))
    return [
        f"{name}: {len(entered)} turns; files {len(entered[0])} to {len(entered[-1])}, "
        f"median {len(median)}, in {len(rooms)} rooms",
        *(f"  {room:<12} {' '.join(modules)}" for room, modules in rooms.items()),
    ]


def main() -> None:
    """Follow, and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=25)
    parser.add_argument("--solves", type=int, default=4)
    asked = parser.parse_args()
    found = asyncio.run(turns(asked.seed, asked.solves))
    for name, hinted in (("quiet", False), ("with a hint", True)):
        print("\n".join(told(name, [files for has, files in found if has == hinted])))


if __name__ == "__main__":
    main()
