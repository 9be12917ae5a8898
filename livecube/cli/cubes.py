"""The cube that a command follows: one by radio, or typed turns."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from livecube.edges.saying import say
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.composition.again import TrierSource, TryPart
    from livecube.composition.choosing import ChosenCube, Wanted
    from livecube.composition.sources import Source
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding

__all__ = ["by_radio", "check_source", "say_aside", "tries_source", "typed_source"]


def check_source(wanted: Wanted, *, simulated: bool, typed: bool) -> None:
    """Refuse contradicting kinds of cubes."""
    if simulated and typed:
        raise UsageError("give one of --simulated and --typed")
    if (wanted.cube or wanted.decoder) and (simulated or typed):
        raise UsageError("--cube and --decoder are for a cube by radio")


def typed_source(held: Callable[[], Holding | None], start: Array | None) -> Source:
    """Typed turns in the holding ``held``, from a position (shape (20,)); None: from solved."""
    from livecube.composition.sources import TypedSource

    return TypedSource(held, None if start is None else start.tobytes())


def by_radio(wanted: Wanted, as_json: bool, capture: bool) -> Source:
    """A cube by Bluetooth; if there are several, a user at a terminal is asked."""
    from livecube.composition.sources import CubeSource
    from livecube.edges.bleak_radio import BleakRadio

    can_ask = sys.stdin is not None and sys.stdin.isatty() and not as_json
    say("livecube: listening for cubes …", err=True)
    ask = _ask if can_ask else None
    return CubeSource(BleakRadio(), wanted, ask, capture=capture, complain=say_aside)


def tries_source(
    part: TryPart, wanted: Wanted, virtual: TrierSource | None, *, typed: bool, as_json: bool
) -> Source:
    """The cube of tries or drills: that of a virtual solver, typed turns, or one by Bluetooth."""
    if virtual is not None:
        return virtual
    if typed:
        return typed_source(lambda: part.holding, None)
    return by_radio(wanted, as_json, False)


def say_aside(sentence: str) -> None:
    """Print a message on standard error; the command goes on."""
    say(f"livecube: {sentence}", err=True)


def _ask(cubes: Sequence[ChosenCube]) -> ChosenCube:
    """Let the user choose among several cubes, the nearest one first."""
    for number, cube in enumerate(cubes, start=1):
        say(f"{number:3d}  {cube.sighting.rssi:4d} dBm  {cube.sighting.title}", err=True)
    choice = click.prompt("Which cube", type=click.IntRange(1, len(cubes)), default=1, err=True)
    return cubes[choice - 1]
