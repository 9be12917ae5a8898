"""Tests that need only bytes; an ``AssertionError`` says what is wrong.

Each test is an ordinary method, so that a failing one has a name. They run without pytest, too.
What the packets cannot show raises ``unittest.SkipTest`` with the reason; pytest reports it.
"""

from __future__ import annotations

import random
import tracemalloc
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, Final
from unittest import SkipTest

import numpy as np

from livecube.conformance.attacks import ATTACKS, changed, noise
from livecube.conformance.bench import Follower, fed
from livecube.conformance.telling import lines_of, why_untrue
from livecube.cube.position import summed_quarters, turns_text
from livecube.decoding import Advertisement
from livecube.events import BadPacket, GapReport, StateReport, TurnReport
from livecube.learning.bits import Bits
from livecube.learning.counters import find_counters
from livecube.learning.samples import ORDERS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.decoding import Decoder
    from livecube.events import Report

__all__ = ["DecoderTests"]

_STRANGER: Final = "00000000-0000-0000-0000-000000000000"
_MOST_LOST: Final = 20
"""The longest history that is looked for, in packets."""
_MEMORY: Final = 100_000
"""Bytes that a decoder may grow by over 17,000 senseless packets: 6 bytes for each are a leak."""


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
        if self.given and all(turns is None for turns in self.turns):
            raise SkipTest("the packets come without their turns: faces and directions are open")
        decoder, characteristic = self.decoder(), self._characteristic()
        for data, turns in zip(self.given, self.turns, strict=False):
            told = _turns(fed(decoder, characteristic, [data]))
            assert turns is None or summed_quarters(told) == summed_quarters(turns), (
                f"{data.hex()} tells {turns_text(told) or 'nothing'}, not {turns_text(turns)}"
            )

    def test_repeated_packets_tell_nothing_twice(self) -> None:
        """Each comes three times; if turns are numbered, also once more after the next one."""
        good = self._good()
        each = self._told_each(good)
        once = [report for reports in each for report in reports]
        numbered = _reports_number(once) or _packets_number(good, each)
        if not numbered and (unknown := _why_repeats_are_unknown(each, good)):
            raise SkipTest(unknown)
        thrice = self._told([packet for packet in good for _ in range(3)])
        assert _turns(thrice) == _turns(once), "a repeat is told as a turn"
        if numbered:
            late = [packet for pair in pairwise(good) for packet in pair[::-1]]
            told = _turns(self._told([good[0], *late]))
            assert told == _turns(once), "a packet that comes late once more is told as a turn"

    def test_what_is_lost_is_recovered_in_order_or_a_gap(self) -> None:
        """One or more packets in a row are lost, up to more than a packet's history holds."""
        good = self._good()
        each = self._told_each(good)
        once = [report for reports in each for report in reports]
        noticed = True
        for most in (1, 2, 3, self._longest_loss(good, each)):
            kept = _kept([bool(_turns(reports)) for reports in each], most)
            told = self._told([good[at] for at in kept])
            untrue = why_untrue(lines_of(told), _turns(once))
            if untrue and _are_positions_of(told, once):
                untrue = None
            if untrue and not _reports_number(once) and _is_unaware(told, [each[k] for k in kept]):
                noticed = False
            else:
                assert untrue is None, f"with packets lost, {untrue}"
        if not noticed:
            assert not _packets_number(good, each), (
                "a field of the packets numbers the turns, but lost turns leave no gap"
            )
            raise SkipTest(
                "neither reports nor packets number the turns: whether lost turns leave a gap, "
                "and whether earlier turns are in order, is open"
            )

    def _told_each(self, packets: Sequence[bytes]) -> list[list[Report]]:
        """The reports of each packet, in order."""
        decoder, characteristic = self.decoder(), self._characteristic()
        return [fed(decoder, characteristic, [data]) for data in packets]

    def _longest_loss(self, good: list[bytes], each: list[list[Report]]) -> int:
        """A number of lost packets in a row that is too large for the packets' history.

        If reports have numbers, it is less than half of those: a decoder may take more for old
        packets.
        """
        telling = [at for at, reports in enumerate(each) if _turns(reports)]
        lost = 0
        for lost in range(1, min(_MOST_LOST, len(telling) // 2)):
            gone = telling[len(telling) // 2 :][:lost]
            arriving = [data for at, data in enumerate(good[: gone[-1] + 4]) if at not in gone]
            told = self._told(arriving)
            made = _turns([report for reports in each[: gone[-1] + 4] for report in reports])
            if _has_gap(told) or _turns(told) != made:
                break
        seqs = [r.seq for one in each for r in one if isinstance(r, TurnReport) and r.seq]
        return min(lost + 1, max(1, max(seqs, default=2 * _MOST_LOST + 3) // 2 - 1))

    def test_memory_is_bounded(self) -> None:
        """Every other packet is lost, no write of the decoder is answered, and noise comes."""
        rng, good, characteristic = random.Random(2), self._good(), self._characteristic()
        decoder = self.decoder()
        packets = [*good[::2], *changed(good, rng), *noise(good, rng)]
        _feed_blindly(decoder, characteristic, packets)
        tracemalloc.start()
        before, _ = tracemalloc.get_traced_memory()
        for _ in range(2):
            _feed_blindly(decoder, characteristic, packets)
        after, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert after - before < _MEMORY, f"{after - before} bytes more after {len(packets) * 2}"


def _turns(reports: Sequence[Report]) -> list[int]:
    return [report.turn for report in reports if isinstance(report, TurnReport)]


def _has_gap(reports: Sequence[Report]) -> bool:
    return any(isinstance(report, GapReport) for report in reports)


def _reports_number(reports: Sequence[Report]) -> bool:
    """Whether all turns have numbers."""
    return all(report.seq is not None for report in reports if isinstance(report, TurnReport))


def _packets_number(packets: Sequence[bytes], each: Sequence[Sequence[Report]]) -> bool:
    """Whether a field of the packets of the commonest length counts the turns."""
    ((length, _),) = Counter(map(len, packets)).most_common(1)
    made = np.cumsum([len(_turns(reports)) for reports in each])
    some = [at for at, packet in enumerate(packets) if len(packet) == length]
    tables = [Bits([packets[at] for at in some], order) for order in ORDERS]
    return any(find_counters(bits, made[some], bits) for bits in tables)


def _why_repeats_are_unknown(
    each: Sequence[Sequence[Report]], packets: Sequence[bytes]
) -> str | None:
    """Why a repeat may look like a new turn; None: a time, or bytes that change, show it."""
    turns = [r for reports in each for r in reports if isinstance(r, TurnReport)]
    if all(report.cube_ms is not None for report in turns):
        return None
    pairs = zip(pairwise(packets), pairwise(each), strict=True)
    again = [one == two for (one, two), (a, b) in pairs if _turns(a)[-1:] == _turns(b)[:1] != []]
    if any(again):
        return "one packet comes twice in a row for two turns: repeats look like new turns"
    if not again:
        return "no turn comes twice in a row: give such packets, and repeats are tried"
    return None


def _kept(telling: Sequence[bool], most: int) -> list[int]:
    """The packets that arrive, if at times up to ``most`` in a row are lost.

    ``telling``: whether a packet reports turns; others do not count, and are lost with them.
    """
    rng, left, kept = random.Random(most - 1), 0, []
    for number, tells in enumerate(telling):
        left = rng.randint(1, most) if not left and rng.random() < 0.15 else left
        if not left or number == 0:
            kept.append(number)
        left = max(0, left - tells)
    return kept


def _are_positions_of(told: Sequence[Report], once: Sequence[Report]) -> bool:
    """Whether a decoder that reports positions is always at one that there was.

    Between two positions it may report one turn for several of the same face.
    """
    if not any(isinstance(report, StateReport) for report in once):
        return False
    return set(_positions(told)) <= {None, *_positions(once)}


def _positions(reports: Sequence[Report]) -> Iterator[bytes | None]:
    follower = Follower()
    for report in reports:
        follower.take(report)
        yield follower.position


def _is_unaware(told: Sequence[Report], each: Sequence[Sequence[Report]]) -> bool:
    """Whether packets that arrived tell what each tells if none is lost."""
    return not _has_gap(told) and _turns(told) == [turn for one in each for turn in _turns(one)]


def _feed_blindly(decoder: Decoder, characteristic: str, packets: list[bytes]) -> None:
    for data in packets:
        decoder.received(characteristic, data)
