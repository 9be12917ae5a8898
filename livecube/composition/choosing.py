"""Which cube to follow: the one that was named, the remembered one, the only one, or ask."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.errors import RadioError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.decoding import Advertisement, Decoder
    from livecube.edges.radio import Radio, Sighting
    from livecube.edges.remembered import RememberedCube

__all__ = [
    "SCAN_S",
    "ChosenCube",
    "Wanted",
    "choose_cube",
    "claimant",
    "find_named",
    "nearest_first",
]

SCAN_S: Final = 4.0
"""Seconds of listening if no cube is named: cubes advertise at least once a second."""
_NAMED_S: Final = 12.0
"""Seconds of waiting for a named cube: a person may have to wake it by a turn."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """The user's choice."""

    cube: str | None = None
    """Name or address; None: any."""
    decoder: str | None = None
    """Name of a decoder, used even if it does not claim the cube; None: one that claims it."""


@dataclass(frozen=True, slots=True)
class ChosenCube:
    """A cube that can be followed, and by which decoder."""

    sighting: Sighting
    name: str
    """Name under which the decoder is installed."""
    decoder: type[Decoder]


def claimant(advertisement: Advertisement, decoders: dict[str, type[Decoder]]) -> str | None:
    """The first decoder that understands the sender of this advertisement."""
    return next((name for name, one in decoders.items() if one.claims(advertisement)), None)


def nearest_first(sightings: Sequence[Sighting]) -> list[Sighting]:
    """The strongest signal first."""
    return sorted(sightings, key=lambda sighting: (-sighting.rssi, sighting.address))


async def choose_cube(
    radio: Radio,
    decoders: dict[str, type[Decoder]],
    wanted: Wanted,
    remembered: RememberedCube | None,
    ask: Callable[[Sequence[ChosenCube]], ChosenCube] | None,
    scan_s: float = SCAN_S,
) -> ChosenCube:
    """Listen, and choose. ``ask``: lets the user choose among several; None: no user to ask.

    Raises :class:`~livecube.errors.RadioError` if there is no cube to follow,
    :class:`~livecube.errors.UsageError` if the user has to choose one.
    """
    if wanted.cube is not None:
        return await _named(radio, decoders, wanted, wanted.cube)
    known = remembered.address if remembered is not None else None
    seconds = scan_s if known is None else max(scan_s, _NAMED_S / 2)
    seen = await radio.scan(seconds, lambda sighting: sighting.address == known)
    cubes = _claimed(seen, decoders, wanted.decoder)
    cubes = [cube for cube in cubes if cube.sighting.address == known] or cubes
    if not cubes:
        raise RadioError("unclaimed" if seen else "not found", _none_claimed(seen))
    if len(cubes) == 1:
        return cubes[0]
    if ask is not None:
        return ask(cubes)
    titles = ", ".join(cube.sighting.title for cube in cubes)
    raise UsageError(f"there are several cubes: {titles}; choose one with --cube")


async def find_named(radio: Radio, name: str, seconds: float = _NAMED_S) -> Sighting:
    """The device with this name or address, of any kind.

    Raises :class:`~livecube.errors.RadioError` if it is not heard.
    """
    seen = await radio.scan(seconds, lambda sighting: _is_named(sighting, name))
    sighting = next((sighting for sighting in seen if _is_named(sighting, name)), None)
    if sighting is None:
        raise RadioError("not found", _not_seen(name, seen))
    return sighting


async def _named(
    radio: Radio, decoders: dict[str, type[Decoder]], wanted: Wanted, name: str
) -> ChosenCube:
    """The cube that the user named, with any advertisement."""
    sighting = await find_named(radio, name)
    decoder = wanted.decoder or claimant(sighting.advertisement, decoders)
    if decoder is None:
        raise RadioError(
            "unclaimed",
            f"no installed decoder claims {sighting.title}; install one for it, or say with "
            f"--decoder which of these understands it: {', '.join(sorted(decoders)) or 'none'}",
        )
    return ChosenCube(sighting, decoder, decoders[decoder])


def _is_named(sighting: Sighting, named: str) -> bool:
    return named.lower() in (sighting.address.lower(), (sighting.name or "").lower())


def _claimed(
    seen: Sequence[Sighting], decoders: dict[str, type[Decoder]], only: str | None
) -> list[ChosenCube]:
    """The cubes among the sightings; with ``only`` those that this decoder claims."""
    asked = decoders if only is None else {only: decoders[only]}
    return [
        ChosenCube(sighting, name, asked[name])
        for sighting in nearest_first(seen)
        if (name := claimant(sighting.advertisement, asked)) is not None
    ]


def _not_seen(named: str, seen: Sequence[Sighting]) -> str:
    others = f" ({len(seen)} other devices were heard: livecube scan --all)" if seen else ""
    return (
        f"{named!r} was not heard{others}; turn a face to wake it, bring it near, and check that "
        "no phone or other program is connected to it: a connected cube is silent"
    )


def _none_claimed(seen: Sequence[Sighting]) -> str:
    if not seen:
        return (
            "no cube was heard; turn a face to wake it, bring it near, and check that no phone or "
            "other program is connected to it: a connected cube is silent"
        )
    return (
        f"{len(seen)} devices were heard, but no installed decoder claims one of them; turn a "
        "face to wake the cube and try again. livecube scan --all lists all devices; if the "
        "cube is among them, it needs a decoder"
    )
