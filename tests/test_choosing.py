"""Which cube is followed: the named one, the remembered one, the only one, or the user is asked."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

import pytest

from livecube.composition.choosing import ChosenCube, Wanted, choose_cube
from livecube.decoding import Advertisement, Decoded, Write
from livecube.edges.radio import Sighting
from livecube.edges.remembered import (
    RememberedCube,
    remember_cube,
    remembered_cube,
)
from livecube.errors import RadioError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from livecube.decoding import Decoder
    from livecube.edges.radio import Connection


class Red:
    """Claims every device named red."""

    name: ClassVar[str] = "red"
    clock_wrap_ms: ClassVar[float | None] = None
    notify: ClassVar[tuple[str, ...]] = ()

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        return (advertisement.name or "").startswith(cls.name)

    def connected(self) -> tuple[Write, ...]:
        return ()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        return Decoded()


class Blue(Red):
    """Claims every device named blue."""

    name: ClassVar[str] = "blue"


DECODERS: dict[str, type[Decoder]] = {"red": Red, "blue": Blue}


def near(name: str | None, rssi: int = -60) -> Sighting:
    return Sighting(f"address of {name}", name, rssi, Advertisement(name))


class Air:
    """A radio that hears the given sightings."""

    label = "air"

    def __init__(self, *heard: Sighting) -> None:
        self._heard = heard

    async def scan(
        self, seconds: float, enough: Callable[[Sighting], bool] = lambda sighting: False
    ) -> list[Sighting]:
        seen: list[Sighting] = []
        for sighting in self._heard:
            seen.append(sighting)
            if enough(sighting):
                break
        return seen

    async def connect(self, sighting: Sighting, lost: Callable[[], None]) -> Connection:
        raise NotImplementedError


async def choice(
    air: Air,
    wanted: Wanted | None = None,
    remembered: RememberedCube | None = None,
    ask: Callable[[Sequence[ChosenCube]], ChosenCube] | None = None,
) -> tuple[str | None, str]:
    chosen = await choose_cube(air, DECODERS, wanted or Wanted(), remembered, ask)
    assert chosen.decoder is DECODERS[chosen.name]
    return chosen.sighting.name, chosen.name


KNOWN = RememberedCube("address of blue 2", "blue 2", "blue")
SEVERAL = (near("lamp"), near("red 1", -80), near("blue 2", -90), near("red 3", -40))


async def test_the_only_cube_is_taken_whatever_else_is_near() -> None:
    assert await choice(Air(near("lamp"), near("red 1"), near(None))) == ("red 1", "red")


async def test_the_remembered_cube_is_taken_among_several() -> None:
    assert await choice(Air(*SEVERAL), remembered=KNOWN) == ("blue 2", "blue")


async def test_without_the_remembered_cube_the_only_other_one_is_taken() -> None:
    assert await choice(Air(near("red 1")), remembered=KNOWN) == ("red 1", "red")


@pytest.mark.parametrize("named", ["red 1", "RED 1", "address of red 1", "Address of Red 1"])
async def test_a_cube_is_named_by_name_or_address(named: str) -> None:
    wanted = Wanted(cube=named)
    assert await choice(Air(*SEVERAL), wanted, KNOWN) == ("red 1", "red")


async def test_of_several_cubes_the_user_chooses_the_nearest_first() -> None:
    offered: list[str | None] = []

    def ask(cubes: Sequence[ChosenCube]) -> ChosenCube:
        offered.extend(cube.sighting.name for cube in cubes)
        return cubes[1]

    assert await choice(Air(*SEVERAL), ask=ask) == ("red 1", "red")
    assert offered == ["red 3", "red 1", "blue 2"]


async def test_a_decoder_narrows_the_choice_and_reads_what_nobody_claims() -> None:
    assert await choice(Air(*SEVERAL), Wanted(decoder="blue")) == ("blue 2", "blue")
    assert await choice(Air(*SEVERAL), Wanted("lamp", "red")) == ("lamp", "red")


@pytest.mark.parametrize(
    ("air", "wanted", "error", "words"),
    [
        (Air(*SEVERAL), Wanted(), UsageError, "several cubes: red 3 .* --cube"),
        (Air(), Wanted(), RadioError, "no cube was heard; turn a face to wake it"),
        (Air(near("lamp")), Wanted(), RadioError, "no installed decoder claims one of them"),
        (Air(near("lamp")), Wanted("lamp"), RadioError, "--decoder which of these .* blue, red"),
        (Air(near("lamp")), Wanted("x"), RadioError, "'x' was not heard .* connected cube is sil"),
    ],
)
async def test_without_a_cube_to_follow_it_says_what_to_do(
    air: Air, wanted: Wanted, error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        await choice(air, wanted)


def test_a_cube_is_remembered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LIVECUBE_STATE", str(tmp_path / "state"))
    assert remembered_cube() is None
    remember_cube(KNOWN)
    assert remembered_cube() == KNOWN
    nameless = RememberedCube("AA", None, "red")
    remember_cube(nameless)
    assert remembered_cube() == nameless


@pytest.mark.parametrize("kept", ["", "{}", "[]", "null", '{"address": 1, "name": 2}', "\x00\xff"])
def test_what_makes_no_sense_is_no_cube(
    kept: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIVECUBE_STATE", str(tmp_path))
    (tmp_path / "cube.json").write_text(kept, encoding="latin-1")
    assert remembered_cube() is None


def test_a_folder_that_cannot_be_written_is_no_reason_to_stop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LIVECUBE_STATE", str(tmp_path / "file" / "below"))
    remember_cube(KNOWN)
    assert remembered_cube() is None
