"""Which files of ``livecube/`` a turn enters, on its way from a packet to the sink of the screen.

``python tests/checks/doors_check.py`` follows simulated solves packet by packet, with hints at
level bold. The screen takes in the events; the thread that draws it fifteen times a second is not
counted. It prints how many files a turn enters (least, most, median): one that is
quiet (it ends no stage, and the advisor is not asked), one with a hint, and others; and the files
of the median one by room.
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
from livecube.edges.sinks import Board, ScreenSink
from livecube.events import CubeEvent
from livecube.stages.progress import HeldNow, Turned
from livecube.stages.tracker import Tracker
from livecube.views.live_screen import LiveScreen
from livecube.virtual.cube import simulated_cube
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.edges.sinks import Item

PACKAGE = Path(livecube.__file__).parent
_PREFIX = str(PACKAGE)


class Entered:
    """The files of the package whose functions are called inside the context."""

    def __init__(self) -> None:
        self._paths: set[str] = set()

    @property
    def files(self) -> set[str]:
        return {str(Path(path).relative_to(PACKAGE)) for path in self._paths}

    def __enter__(self) -> Entered:
        sys.setprofile(self._called)
        return self

    def __exit__(self, *_: object) -> None:
        sys.setprofile(None)

    def _called(self, frame: Any, event: str, _: object) -> None:
        path = frame.f_code.co_filename
        if event == "call" and path.startswith(_PREFIX):
            self._paths.add(path)


class Heard:
    """A sink that notes the items of a turn."""

    name = "heard"

    def __init__(self) -> None:
        self.items: list[Item] = []

    async def take(self, item: Item) -> None:
        """Note it."""
        self.items.append(item)

    async def close(self) -> None:
        """There is nothing to close."""


def kind(items: Sequence[Item], is_asked: bool) -> str:
    """The kind of a turn with these items; ``is_asked``: the advisor was asked."""
    if any(isinstance(item, Spoken) for item in items):
        return "with a hint"
    only = all(isinstance(item, CubeEvent | Turned | HeldNow) for item in items)
    return "quiet" if only and not is_asked else "others"


async def turns(seed: int, solves: int) -> list[tuple[str, set[str]]]:
    """For each turn of some virtual solves its kind, and the files that it entered."""
    pipeline, heard = Pipeline(Tracker(), lambda: 0.0), Heard()
    pipeline.advisor, pipeline.holdings = load_advisor(), load_holdings()
    set_level(pipeline.advisor, "bold")
    console = Console(file=StringIO(), force_terminal=True, width=100, height=40)
    done = session(seed, solves, on_cube=True)
    cube = simulated_cube("turnwire")(SOLVED_BYTES)
    reception = Reception(find_decoder("turnwire")())
    writes = reception.take(LinkUp(0.0))[1]
    waiting = [data for write in writes for data in cube.written(write.data, 0)]
    found: list[tuple[str, set[str]]] = []
    board = Board(LiveScreen("a simulated cube"))
    screen = ScreenSink(console, board, lambda error: None)
    async with Hub([screen, heard]) as hub:
        follower = CubeFollower(pipeline, hub)
        for turn in done.turns:
            packets = [*waiting, *cube.turn(turn.turn, round(1000 * turn.t))]
            waiting = []
            heard.items, asked = [], len(pipeline.advice_ms)
            with Entered() as entered:
                for data in packets:
                    events, _ = reception.take(Notification(turn.t, cube.events, data))
                    follower.pass_on(events)
                await hub.settle()
            is_asked = len(pipeline.advice_ms) > asked
            found.append((kind(heard.items, is_asked), entered.files))
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
    for name in ("quiet", "with a hint", "others"):
        print("\n".join(told(name, [files for of, files in found if of == name])))


if __name__ == "__main__":
    main()
