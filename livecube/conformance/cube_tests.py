"""Tests that need the cube's side, too: a whole exchange, over good and bad radio."""

from __future__ import annotations

import random
from itertools import pairwise
from typing import TYPE_CHECKING, Any, ClassVar, Final
from unittest import SkipTest

from livecube.clock import CubeClock
from livecube.conformance.attacks import ATTACKS
from livecube.conformance.bench import Bench, fed
from livecube.conformance.byte_tests import DecoderTests
from livecube.cube.position import summed_quarters
from livecube.events import Turn, TurnReport

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.conformance.bench import Bends
    from livecube.virtual.cube import SimulatedCubeFactory

__all__ = ["CubeTests", "faces_turned"]

_TURNS: Final = 400
_LIMIT: Final = 200
"""A decoder must have recovered after so many turns on a good radio."""
_QUARTER_TURNS: Final = tuple(turn for turn in range(18) if turn % 3 != 1)
"""Every cube sends these as one turn; a half turn may come as two."""
_TICK_MS: Final = 11
"""Allowed error of a clock of a hundred ticks a second or more."""
_COARSEST_MS: Final = 101
"""The same for a clock of ten ticks a second. Coarser ones are of no use for splits."""
_PROBE_MS: Final = 3


def _unbent(packets: list[bytes]) -> list[bytes]:
    return packets


class CubeTests(DecoderTests):
    """Tests that need a simulated cube."""

    cube: SimulatedCubeFactory
    _sent: ClassVar[tuple[bytes, ...]] = ()

    def _bench(self, bends: Bends = _unbent) -> Bench:
        """A connected cube and decoder, after one turn that does not count."""
        bench = Bench(self.decoder(), self.cube(), _unbent)
        bench.connect(0)
        bench.turn(0, 0)
        bench.begin(bends)
        return bench

    def _turned(
        self,
        bench: Bench,
        count: int,
        cube_ms: int = 0,
        *,
        seed: int = 4,
        turns: Sequence[int] = range(18),
    ) -> int:
        """Make turns with pauses; return the cube's time after them."""
        rng = random.Random(seed)
        for _ in range(count):
            cube_ms += rng.choice((80, 120, 300, 1200))
            bench.turn(rng.choice(turns), cube_ms)
            bench.idle(cube_ms + 70)
        return cube_ms

    def _settled(self, bench: Bench, cube_ms: int) -> None:
        """Go back to a good radio: first a quiet time, then turns."""
        bench.bends = _unbent
        for _ in range(20):
            cube_ms += 20_000
            bench.idle(cube_ms)
        self._turned(bench, _LIMIT, cube_ms, seed=5, turns=_QUARTER_TURNS)

    def _good(self) -> list[bytes]:
        """What the cube sends in an exchange; made once, most tests begin with it."""
        if not self._sent:
            type(self)._sent = tuple(self._exchange())
        return list(self._sent)

    def _exchange(self) -> list[bytes]:
        sent: list[bytes] = []

        def kept(packets: list[bytes]) -> list[bytes]:
            sent.extend(packets)
            return packets

        bench = Bench(self.decoder(), self.cube(), kept)
        bench.connect(0)
        self._turned(bench, _TURNS)
        return sent

    def test_it_claims_its_cube(self) -> None:
        """It claims the cube's advertisement and subscribes to its packets."""
        cube = self.cube()
        assert self.decoder().claims(cube.advertisement)
        assert cube.events in self.decoder().notify

    def test_on_a_good_radio_every_turn_is_told_once_and_at_once(self) -> None:
        """Turns are reported in order, without a gap."""
        bench = self._bench()
        self._turned(bench, _TURNS)
        assert summed_quarters(bench.follower.turns) == summed_quarters(bench.made)
        assert bench.follower.lost == 0
        assert bench.follower.position == bench.cube.position

    def test_repeats_are_dropped(self) -> None:
        """Every packet arrives three times; needs numbered or timed turns."""
        bench = self._bench(lambda packets: [p for p in packets for _ in range(3)])
        self._turned(bench, _TURNS)
        if any(isinstance(r, TurnReport) and r.seq == r.cube_ms is None for r in bench.told):
            raise SkipTest("without numbers and times, a repeat looks like a new turn")
        assert summed_quarters(bench.follower.turns) == summed_quarters(bench.made)

    def test_lost_packets_leave_no_wrong_position(self) -> None:
        """Lost turns are a gap or fetched later: the position is right, or known to be unknown."""
        for seed, most in enumerate((1, 3, 20)):
            rng = random.Random(seed)
            bench = self._bench(_dropping(rng, most))
            cube_ms = self._turned(bench, _TURNS, turns=_QUARTER_TURNS)
            self._settled(bench, cube_ms)
            if all(seq is None for seq in bench.follower.seqs):
                raise SkipTest("without numbers, a missing turn cannot be noticed")
            assert bench.follower.position in (None, bench.cube.position)
            if bench.follower.lost is not None:
                told = len(faces_turned(bench.follower.turns)) + bench.follower.lost
                assert told == len(bench.made), f"{len(bench.made)} turns made, {told} told or lost"

    def test_turns_are_told_in_order(self) -> None:
        """Packets overtake one another; the reported turns are a subsequence of the made ones."""
        held: list[bytes] = []
        rng = random.Random(6)

        def swapping(packets: list[bytes]) -> list[bytes]:
            held.extend(packets)
            rng.shuffle(held)
            out, held[:] = held[2:], held[:2]
            return out

        bench = self._bench(swapping)
        self._turned(bench, _TURNS, turns=_QUARTER_TURNS)
        if bench.follower.seqs and None not in bench.follower.seqs:
            told, made = faces_turned(bench.follower.turns), faces_turned(bench.made)
            assert _is_part(told, made), "turns are told in another order"

    def test_the_clock_may_wrap(self) -> None:
        """Turns get the right time on the cube's clock, whatever it shows at first."""
        wrap_ms = self.decoder().clock_wrap_ms
        if wrap_ms is None:
            return
        allowed = max(_TICK_MS, min(_COARSEST_MS, self._tick_ms() + 1))
        for start in (0, int(wrap_ms) - 3000, 2**32 - 3000):
            bench, clock = self._bench(), CubeClock(wrap_ms)
            times, cube_ms = [], start
            for number in range(60):
                cube_ms += (90, 240, 700)[number % 3]
                bench.told.clear()
                bench.turn(3 * (number % 6), cube_ms)
                events = clock.events(bench.told, cube_ms / 1000)
                times += [(e.t, cube_ms / 1000) for e in events if isinstance(e, Turn)]
            zero = times[0][1] - times[0][0]
            worst = max(abs(t + zero - true) for t, true in times)
            assert worst * 1000 < allowed, f"a turn is {worst * 1000:.0f} ms off from {start}"

    def _tick_ms(self) -> int:
        """The smallest step between the times of turns that follow one another closely."""
        bench = self._bench()
        for number in range(400 // _PROBE_MS):
            bench.turn(3 * (number % 6), 1000 + number * _PROBE_MS)
        told = {r.cube_ms for r in bench.told if isinstance(r, TurnReport)}
        times = sorted(ms for ms in told if ms is not None)
        return min((later - ms for ms, later in pairwise(times)), default=_COARSEST_MS)

    def test_after_nonsense_it_finds_its_way_back(self) -> None:
        """After hostile packets the decoder recovers on a good radio."""
        for attack in ATTACKS.values():
            bench = self._bench()
            cube_ms = self._turned(bench, 50)
            hostile = attack(self._good()[:100], random.Random(7))[:3000]
            fed(bench.decoder, bench.cube.events, hostile)
            bench.connect(cube_ms)
            self._settled(bench, cube_ms)
            told = len(bench.follower.turns)
            self._turned(bench, 20, cube_ms + 2_000_000, seed=8)
            assert len(bench.follower.turns) > told, "it does not tell turns any more"
            assert summed_quarters(bench.follower.turns[told:]) == summed_quarters(bench.made[-20:])

    def test_a_restart_of_the_cube_does_not_silence_it(self) -> None:
        """The cube loses power for a moment, and is connected again."""
        bench = self._bench()
        cube_ms = self._turned(bench, 90)
        bench.cube.restarted()
        bench.connect(cube_ms)
        self._turned(bench, _LIMIT, cube_ms)
        assert summed_quarters(bench.follower.turns)[-20:] == summed_quarters(bench.made)[-20:]


def faces_turned(turns: list[int]) -> list[int]:
    """The face of each quarter turn; two for a half turn."""
    return [turn // 3 for turn in turns for _ in range(2 if turn % 3 == 1 else 1)]


def _dropping(rng: random.Random, most: int) -> Bends:
    """A radio that sometimes loses up to ``most`` packets in a row."""
    left = 0

    def bends(packets: list[bytes]) -> list[bytes]:
        nonlocal left
        arrived = []
        for data in packets:
            if left == 0 and rng.random() < 0.1:
                left = rng.randint(1, most)
            if left:
                left -= 1
            else:
                arrived.append(data)
        return arrived

    return bends


def _is_part(part: list[int], whole: list[int]) -> bool:
    """Whether ``part`` is a subsequence of ``whole``."""
    rest: Any = iter(whole)
    return all(turn in rest for turn in part)
