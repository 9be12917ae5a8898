"""Tests that need only bytes; an ``AssertionError`` says what is wrong.

Each test is an ordinary method, so that a failing one has a name. They run without pytest, too.
"""

from __future__ import annotations

import random
import tracemalloc
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from livecube.conformance.attacks import ATTACKS, changed, noise
from livecube.conformance.bench import fed
from livecube.conformance.telling import lines_of, why_untrue
from livecube.cube.position import summed_quarters, turns_text
from livecube.decoding import Advertisement
from livecube.events import BadPacket, TurnReport

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.decoding import Decoder
    from livecube.events import Report

__all__ = ["DecoderTests"]

_STRANGER: Final = "00000000-0000-0000-0000-000000000000"
_MEMORY: Final = 100_000
"""Bytes that a decoder may grow by over 25,000 senseless packets: 4 bytes for each are a leak."""


class DecoderTests:
    """Tests that need only some good packets."""

    decoder: Callable[[], Decoder]
    given: tuple[bytes, ...]
    turns: tuple[tuple[int, ...] | None, ...] = ()
    """The turns that each of the given packets reports; None: not stated."""

    def _good(self) -> list[bytes]:
        return list(self.given)

    def _characteristic(self) -> str:
        return self.decoder().notify[0]

    def _told(self, packets: Sequence[bytes]) -> list[Report]:
        return fed(self.decoder(), self._characteristic(), packets)

    def _survives(self, attack: str) -> None:
        good, characteristic = self._good(), self._characteristic()
        hostile = ATTACKS[attack](good, random.Random(1))
        fed(self.decoder(), characteristic, hostile)
        decoder = self.decoder()
        decoder.connected()
        fed(decoder, characteristic, [*good[:50], b"", *hostile, *good])
        decoder.connected()
        fed(decoder, characteristic, hostile)

    def test_it_describes_itself_and_claims_no_stranger(self) -> None:
        """Name, clock and characteristics are stated; an empty advertisement is not claimed."""
        decoder = self.decoder()
        assert decoder.name, "a decoder needs a name"
        assert decoder.clock_wrap_ms is None or decoder.clock_wrap_ms > 0
        assert decoder.notify, "a decoder needs characteristics to subscribe to"
        assert all(uuid == uuid.lower() for uuid in decoder.notify), "UUIDs are lower case"
        assert not decoder.claims(Advertisement(None)), "it claims an unknown cube"

    def test_truncated_packets(self) -> None:
        """Nothing raises, no report is out of range."""
        self._survives("truncated")

    def test_random_packets(self) -> None:
        """Nothing raises, no report is out of range."""
        self._survives("noise")

    def test_repeated_packets(self) -> None:
        """Nothing raises, no report is out of range."""
        self._survives("repeated")

    def test_reordered_packets(self) -> None:
        """Nothing raises, no report is out of range."""
        self._survives("reordered")

    def test_changed_packets(self) -> None:
        """Nothing raises, no report is out of range."""
        self._survives("changed")

    def test_packets_of_another_characteristic(self) -> None:
        """They are reported as bad packets and nothing else."""
        decoded = self.decoder().received(_STRANGER, b"\x11")
        assert [type(report) for report in decoded.reports] == [BadPacket]

    def test_the_same_packets_mean_the_same(self) -> None:
        """A decoder reads no clock and uses no random numbers."""
        rng, good, characteristic = random.Random(3), self._good(), self._characteristic()
        packets = [*good, *changed(good, rng)[:2000], *good]
        once, again = (fed(self.decoder(), characteristic, packets) for _ in range(2))
        assert once == again

    def test_good_packets_give_turns(self) -> None:
        """Good packets give turns, and none of them is a bad packet."""
        reports = fed(self.decoder(), self._characteristic(), self._good())
        assert any(isinstance(report, TurnReport) for report in reports)
        assert not [report for report in reports if isinstance(report, BadPacket)]

    def test_packets_tell_the_turns_that_are_given_with_them(self) -> None:
        """Faces and directions are right, and several turns of one packet are in order."""
        decoder, characteristic = self.decoder(), self._characteristic()
        for data, turns in zip(self.given, self.turns, strict=False):
            told = _turns(fed(decoder, characteristic, [data]))
            assert turns is None or summed_quarters(told) == summed_quarters(turns), (
                f"{data.hex()} tells {turns_text(told) or 'nothing'}, not {turns_text(turns)}"
            )

    def test_repeated_packets_tell_nothing_twice(self) -> None:
        """Each comes three times; if turns are numbered, also once more after the next one."""
        good = self._good()
        once = self._told(good)
        if not _repeats_are_known(once, good):
            return  # a repeat looks like a new turn
        thrice = self._told([packet for packet in good for _ in range(3)])
        assert _turns(thrice) == _turns(once), "a repeat is told as a turn"
        if all(report.seq is not None for report in once if isinstance(report, TurnReport)):
            late = [packet for pair in pairwise(good) for packet in pair[::-1]]
            told = _turns(self._told([good[0], *late]))
            assert told == _turns(once), "a packet that comes late once more is told as a turn"

    def test_what_is_lost_is_recovered_in_order_or_a_gap(self) -> None:
        """One to three packets in a row are lost; needs numbered turns."""
        good = self._good()
        once = self._told(good)
        made = _turns(once)
        if any(isinstance(report, TurnReport) and report.seq is None for report in once):
            return  # without numbers a missing turn cannot be noticed
        for seed in range(3):
            rng, arriving, left = random.Random(seed), [], 0
            for number, packet in enumerate(good):
                left = rng.randint(1, seed + 1) if not left and rng.random() < 0.15 else left
                if not left or number == 0:
                    arriving.append(packet)
                left = max(0, left - 1)
            untrue = why_untrue(lines_of(self._told(arriving)), made)
            assert untrue is None, f"with packets lost, {untrue}"

    def test_memory_is_bounded(self) -> None:
        """Every other packet is lost, no write of the decoder is answered, and noise comes."""
        rng, good, characteristic = random.Random(2), self._good(), self._characteristic()
        decoder = self.decoder()
        packets = [*good[::2], *changed(good, rng), *noise(good, rng)]
        _feed_blindly(decoder, characteristic, packets)
        tracemalloc.start()
        before, _ = tracemalloc.get_traced_memory()
        for _ in range(3):
            _feed_blindly(decoder, characteristic, packets)
        after, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert after - before < _MEMORY, f"{after - before} bytes more after {len(packets) * 3}"


def _turns(reports: Sequence[Report]) -> list[int]:
    return [report.turn for report in reports if isinstance(report, TurnReport)]


def _repeats_are_known(reports: Sequence[Report], packets: Sequence[bytes]) -> bool:
    """Whether a repeat differs from a new turn: by a number, a time, or bytes that change."""
    turns = [report for report in reports if isinstance(report, TurnReport)]
    if all(report.seq is not None or report.cube_ms is not None for report in turns):
        return True
    twice = any(one.turn == two.turn for one, two in pairwise(turns))
    return twice and all(one != two for one, two in pairwise(packets))


def _feed_blindly(decoder: Decoder, characteristic: str, packets: list[bytes]) -> None:
    for data in packets:
        decoder.received(characteristic, data)
