"""The conformance tests find what is wrong with a decoder: each fault fails its test."""

from __future__ import annotations

from typing import ClassVar

import pytest
from livecube_protocols.turnwire import TurnwireDecoder
from livecube_protocols.turnwire_cube import TurnwireCube

from livecube.conformance import decoder_tests
from livecube.decoding import Advertisement, Decoded, Decoder, Write
from livecube.events import BadPacket, TurnReport


class Sound:
    """A decoder without a fault, to be given one."""

    name: ClassVar[str] = "faulty"
    clock_wrap_ms: ClassVar[float | None] = TurnwireDecoder.clock_wrap_ms
    notify: ClassVar[tuple[str, ...]] = TurnwireDecoder.notify

    def __init__(self) -> None:
        self._sound: Decoder = TurnwireDecoder()

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        return bool(TurnwireDecoder.claims(advertisement))

    def connected(self) -> tuple[Write, ...]:
        return self._sound.connected()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        return self._sound.received(characteristic, data)


class Raising(Sound):
    def received(self, characteristic: str, data: bytes) -> Decoded:
        if len(data) > 30:
            raise ValueError
        return super().received(characteristic, data)


class Leaking(Sound):
    seen: ClassVar[list[bytes]] = []

    def received(self, characteristic: str, data: bytes) -> Decoded:
        self.seen.append(bytes(bytearray(data)))
        return super().received(characteristic, data)


class Claiming(Sound):
    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        return True


class Repeating(Sound):
    """Forgets now and then that it has told a turn."""

    told: tuple[TurnReport, ...] = ()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        if not decoded.reports and self.told:
            return Decoded(self.told, decoded.writes)
        self.told = tuple(r for r in decoded.reports if isinstance(r, TurnReport))[-1:]
        return decoded


class Silent(Sound):
    """Gives up for good at the first bad packet."""

    stuck = False

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        self.stuck |= any(isinstance(r, BadPacket) for r in decoded.reports)
        return Decoded() if self.stuck and characteristic in self.notify else decoded


class Guessing(Sound):
    """Makes up the turns that were lost."""

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        kept = tuple(r for r in decoded.reports if isinstance(r, TurnReport | BadPacket))
        return Decoded(kept, ())


class WrongClock(Sound):
    clock_wrap_ms: ClassVar[float | None] = 1 << 31


class Timeless(Sound):
    clock_wrap_ms: ClassVar[float | None] = None


def test_a_sound_decoder_passes() -> None:
    made = decoder_tests(Sound, TurnwireCube)
    for name in (name for name in dir(made) if name.startswith("test_")):
        getattr(made(), name)()


@pytest.mark.parametrize(
    ("decoder", "test"),
    [
        (Raising, "test_random_packets"),
        (Leaking, "test_memory_is_bounded"),
        (Claiming, "test_it_describes_itself_and_claims_no_stranger"),
        (Repeating, "test_repeats_are_dropped"),
        (Silent, "test_after_nonsense_it_finds_its_way_back"),
        (Guessing, "test_lost_packets_leave_no_wrong_position"),
        (WrongClock, "test_the_clock_may_wrap"),
        (Timeless, "test_good_packets_give_turns"),
    ],
)
def test_a_fault_is_found(decoder: type[Sound], test: str) -> None:
    with pytest.raises(AssertionError if decoder is not Raising else ValueError):
        getattr(decoder_tests(decoder, TurnwireCube)(), test)()


def test_a_decoder_needs_something_to_be_tried_with() -> None:
    with pytest.raises(ValueError, match="a simulated cube, or some good packets"):
        decoder_tests(TurnwireDecoder)
