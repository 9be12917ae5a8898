"""``livecube scan``: the cubes nearby, their signal strength, and their decoders."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any

import click

from livecube.cli.cubes import say_aside
from livecube.composition.choosing import SCAN_S, claimant, nearest_first
from livecube.edges.remembered import remembered_cube
from livecube.edges.saying import say, screen_width
from livecube.views.lines import table_lines

if TYPE_CHECKING:
    from collections.abc import Mapping

    from livecube.decoding import Decoder
    from livecube.edges.radio import Sighting

__all__ = ["scan", "sighting_json"]


@click.command()
@click.option(
    "--seconds",
    default=SCAN_S,
    show_default=True,
    type=click.FloatRange(0.1, 600),
    help="How long to listen.",
)
@click.option("--all", "everything", is_flag=True, help="Also devices that no decoder can read.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def scan(seconds: float, everything: bool, as_json: bool) -> None:
    """List the cubes nearby, the strongest signal first."""
    from livecube.composition.decoders import known_decoders
    from livecube.edges.bleak_radio import BleakRadio

    decoders = known_decoders(complain=say_aside)
    seen = nearest_first(asyncio.run(BleakRadio().scan(seconds)))
    claimed = {sighting.address: claimant(sighting.advertisement, decoders) for sighting in seen}
    shown = [one for one in seen if everything or claimed[one.address] is not None]
    if as_json:
        for one in shown:
            click.echo(json.dumps(sighting_json(one, claimed[one.address])))
        return
    for line in _lines(shown, claimed):
        say(line)
    say(_summary(len(shown), len(seen), decoders))


def sighting_json(sighting: Sighting, decoder: str | None) -> dict[str, Any]:
    """A device that was heard, and the decoder that claims it."""
    data = sighting.advertisement.manufacturer_data
    return {
        "address": sighting.address,
        "name": sighting.name,
        "rssi": sighting.rssi,
        "decoder": decoder,
        "services": list(sighting.advertisement.services),
        "manufacturer_data": {f"{company:04x}": told.hex() for company, told in data},
    }


def _lines(shown: list[Sighting], claimed: Mapping[str, str | None]) -> list[str]:
    known = remembered_cube()
    rows = []
    for one in shown:
        mark = ", the one of the last time" if known and known.address == one.address else ""
        decoder = claimed[one.address] or "–"
        name = one.name or "(no name)"
        rows.append((f"{one.rssi:4d} dBm", name, one.address, f"{decoder}{mark}"))
    heads = ("signal", "name", "address", "decoder")
    return table_lines([heads, *rows], screen_width(), (0,), words=True, left=(0, 1, 2, 3))


def _summary(shown: int, seen: int, decoders: Mapping[str, type[Decoder]]) -> str:
    if shown:
        return "\nlivecube live --cube NAME|ADDRESS follows one of them."
    if seen:
        return (
            f"{seen} devices were heard, but no installed decoder claims one of them "
            f"({', '.join(decoders) or 'none installed'}); --all lists them."
        )
    return (
        "Nothing was heard. Turn a face to wake the cube, bring it near, and check that no phone "
        "or other program is connected to it: a connected cube is silent."
    )
