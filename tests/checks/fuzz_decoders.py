"""Random, cut off and changed packets through every decoder: no exception, no stuck state.

``python tests/checks/fuzz_decoders.py --packets 5000000`` sends this many through each: those in
code, those of installed profiles, and some that were learned from generated cubes. After every
50,000 the decoder is connected to a cube on a good radio again, and must report all of its turns.
"""

from __future__ import annotations

import argparse
import functools
import random
import time
import tracemalloc
from concurrent.futures import ProcessPoolExecutor, as_completed
from typing import TYPE_CHECKING

import beside  # noqa: F401 - before helpers are imported
from learn_check import CLAIM
from learn_layouts import made, recording

from livecube.composition.decoders import known_decoders
from livecube.conformance.attacks import one_hostile
from livecube.conformance.bench import Bench, look_at
from livecube.conformance.cube_tests import faces_turned
from livecube.learning.learner import learn
from livecube.learning.verdicts import Learned
from livecube.profiles.decoder import decoder_class
from livecube.virtual.cube import simulated_cube
from livecube.virtual.profile_cube import ProfileCube

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.decoding import Decoder
    from livecube.virtual.cube import SimulatedCube

ROUND = 50_000
LEARNED = (0, 1, 2, 3, 4, 5, 6)
"""Seeds of the generated cubes that are learned, one of each shape."""
_SETTLING = 600
"""Turns on a good radio after which all is well: a decoder may hold turns of a forged future, and
drops the last of them only when the cube has passed their numbers (turnwire: 256 turns ahead)."""
_MEMORY = 100_000


@functools.cache
def pair(name: str) -> tuple[Callable[[], Decoder], Callable[[], SimulatedCube]]:
    """A decoder and its cube."""
    if name.startswith("learned_"):
        cube = made(int(name.removeprefix("learned_")))
        verdict = learn(recording(cube, 5), name.replace("_", "-"), CLAIM)
        assert isinstance(verdict, Learned)
        rng = random.Random(6)
        return decoder_class(verdict.profile), lambda: cube.cube(rng)
    decoder = known_decoders()[name]
    profile = getattr(decoder, "profile", None)
    if profile is not None:
        return decoder, functools.partial(ProfileCube, profile)
    return decoder, simulated_cube(name)


def names() -> list[str]:
    return [*known_decoders(), *(f"learned_{seed}" for seed in LEARNED)]


def fuzzed(name: str, packets: int, seed: int = 1, *, traced: bool = False) -> float:
    """Send packets through a decoder; returns microseconds for each. Raises the first fault."""
    make_decoder, make_cube = pair(name)
    decoder, rng = make_decoder(), random.Random(seed)
    good = _good_packets(decoder, make_cube())
    characteristic = make_cube().events
    began, spent, grown = time.perf_counter(), 0.0, 0
    if traced:
        tracemalloc.start()
    for start in range(0, packets, ROUND):
        before = tracemalloc.get_traced_memory()[0] if traced else 0
        for _ in range(min(ROUND, packets - start)):
            look_at(decoder, decoder.received(characteristic, one_hostile(good, rng)))
        spent = time.perf_counter() - began
        _not_stuck(decoder, make_cube(), rng)
        if traced and start:
            grown = max(grown, tracemalloc.get_traced_memory()[0] - before)
    if traced:
        tracemalloc.stop()
    assert grown < _MEMORY, f"{name} grew by {grown} bytes in a round"
    return spent / packets * 1e6


def _good_packets(decoder: Decoder, cube: SimulatedCube) -> list[bytes]:
    rng = random.Random(2)
    packets = [answer for write in decoder.connected() for answer in cube.written(write.data, 0)]
    for number in range(300):
        packets += cube.turn(rng.randrange(18), number * 200)
    return packets


def _not_stuck(decoder: Decoder, cube: SimulatedCube, rng: random.Random) -> None:
    """On a good radio the decoder recovers, and then reports every turn."""
    bench = Bench(decoder, cube, lambda packets: packets)
    bench.connect(0)
    ms = 0
    for number in range(_SETTLING + 40):
        if number == _SETTLING:
            bench.begin(bench.bends)
        ms += 400
        bench.turn(rng.choice((0, 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17)), ms)
    assert faces_turned(bench.follower.turns) == faces_turned(bench.made)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packets", type=int, default=5_000_000)
    parser.add_argument("--decoder", action="append", help="only this one; may be repeated")
    parser.add_argument("--memory", action="store_true", help="watch memory, too; slower")
    arguments = parser.parse_args()
    packets = arguments.packets
    with ProcessPoolExecutor() as workers:
        chosen = arguments.decoder or names()
        waiting = {
            workers.submit(fuzzed, name, packets, traced=arguments.memory): name for name in chosen
        }
        for done in as_completed(waiting):
            spent = done.result()
            print(f"{waiting[done]:<12} {packets:,} packets, {spent:.1f} µs each", flush=True)


if __name__ == "__main__":
    main()
