"""Hostile input for every installed decoder, and for the example in protocols/README.md."""

from __future__ import annotations

import doctest
import random
import re
import tracemalloc
from importlib.metadata import entry_points
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from livecube.decoding import Advertisement, Decoded, Decoder, Write
from livecube.errors import UsageError
from livecube.events import (
    BadPacket,
    BatteryReport,
    GapReport,
    StateReport,
    TurnReport,
)
from livecube.virtual.cube import GROUP, simulated_cube

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

README = (Path(__file__).parent.parent / "protocols/README.md").read_text(encoding="utf-8")
REPORTS = (TurnReport, StateReport, BatteryReport, GapReport, BadPacket)


def block(language: str) -> str:
    (found,) = re.findall(rf"^```{language}\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    return str(found)


def example() -> dict[str, Any]:
    namespace: dict[str, Any] = {}
    exec(compile(block("python"), "README.md", "exec"), namespace)
    return namespace


DECODERS: dict[str, Callable[[], Decoder]] = {
    **{point.name: point.load() for point in entry_points(group="livecube.decoders")},
    "the README's example": example()["PlainDecoder"],
}


def good_packets(name: str) -> list[bytes]:
    """What a real cube would send; for a protocol without a simulated cube, the example's."""
    if name not in entry_points(group=GROUP).names:
        return [bytes([0x54, number % 256, number % 18]) for number in range(400)]
    cube = simulated_cube(name)()
    packets = [a for w in DECODERS[name]().connected() for a in cube.written(w.data, 0)]
    for number in range(400):
        packets += [*cube.turn(number % 18, number * 300), *cube.idle(number * 300 + 290)]
    return packets


def fed(decoder: Decoder, packets: Iterable[bytes]) -> None:
    for data in packets:
        decoded = decoder.received(decoder.notify[0], data)
        assert isinstance(decoded, Decoded)
        assert all(isinstance(report, REPORTS) for report in decoded.reports)
        assert all(isinstance(write, Write) for write in decoded.writes)


def truncated(packets: list[bytes], rng: random.Random) -> list[bytes]:
    return [p[:length] for p in packets[:60] for length in range(len(p))]


def noise(packets: list[bytes], rng: random.Random) -> list[bytes]:
    return [rng.randbytes(rng.randrange(40)) for _ in range(5000)] + [bytes(512)]


def repeated(packets: list[bytes], rng: random.Random) -> list[bytes]:
    return [p for p in packets for _ in range(3)] + packets * 2


def reordered(packets: list[bytes], rng: random.Random) -> list[bytes]:
    return rng.sample(packets, len(packets)) + packets[::-1]


def changed(packets: list[bytes], rng: random.Random) -> list[bytes]:
    return [_changed(rng.choice(packets), rng) for _ in range(20_000)]


def _changed(packet: bytes, rng: random.Random) -> bytes:
    data = bytearray(packet)
    for _ in range(rng.randrange(1, 4)):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


@pytest.mark.parametrize("name", DECODERS)
@pytest.mark.parametrize("attack", [truncated, noise, repeated, reordered, changed])
def test_hostile_packets_raise_nothing(
    name: str, attack: Callable[[list[bytes], random.Random], list[bytes]]
) -> None:
    good = good_packets(name)
    hostile = attack(good, random.Random(1))
    fed(DECODERS[name](), hostile)
    decoder = DECODERS[name]()
    decoder.connected()
    fed(decoder, [*good[:50], b"", *hostile, *good])
    decoder.connected()
    fed(decoder, hostile)


@pytest.mark.parametrize("name", DECODERS)
def test_hostile_packets_on_a_characteristic_that_is_not_the_cubes(name: str) -> None:
    decoded = DECODERS[name]().received("00000000-0000-0000-0000-000000000000", b"\x11")
    assert [type(report) for report in decoded.reports] == [BadPacket]


@pytest.mark.parametrize("name", DECODERS)
def test_hostile_packets_do_not_fill_the_memory(name: str) -> None:
    rng, good = random.Random(2), good_packets(name)
    decoder = DECODERS[name]()
    # Every other packet is lost for good: nothing that is asked for is ever answered.
    packets = [*good[::2], *changed(good, rng), *noise(good, rng)]
    fed(decoder, packets)
    tracemalloc.start()
    before, _ = tracemalloc.get_traced_memory()
    for _ in range(3):
        fed(decoder, packets)
    after, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert after - before < 100_000


@pytest.mark.parametrize("name", DECODERS)
def test_a_decoder_describes_itself_and_claims_no_stranger(name: str) -> None:
    decoder = DECODERS[name]()
    assert decoder.name
    assert decoder.clock_wrap_ms is None or decoder.clock_wrap_ms > 0
    assert all(uuid == uuid.lower() for uuid in decoder.notify)
    assert not decoder.claims(Advertisement(None))


def test_the_readmes_example_does_what_it_shows() -> None:
    test = doctest.DocTestParser().get_doctest(
        block("pycon"), example(), "README.md", "README.md", None
    )
    result = doctest.DocTestRunner().run(test)
    assert result.attempted > 1
    assert result.failed == 0


def test_every_simulated_cube_speaks_to_a_decoder_of_its_name() -> None:
    assert "turnwire" in entry_points(group=GROUP).names
    for name in entry_points(group=GROUP).names:
        cube = simulated_cube(name)()
        assert DECODERS[name]().claims(cube.advertisement)
        assert cube.events in DECODERS[name]().notify


def test_a_simulated_cube_that_is_not_installed_is_said_so() -> None:
    with pytest.raises(UsageError, match="no simulated cube speaks 'nothing'"):
        simulated_cube("nothing")
