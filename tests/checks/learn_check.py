"""Learns generated cubes and compares the profiles with the truth, on packets of another day.

``python tests/checks/learn_check.py --cubes 200`` learns 200, and 200 encrypted ones.
"""

from __future__ import annotations

import argparse
import functools
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, NamedTuple

import beside  # noqa: F401 - before helpers are imported
from learn_layouts import Made, fresh, made, recording

from livecube.clock import CubeClock
from livecube.events import Battery, Gap, State, Turn
from livecube.learning.learner import learn
from livecube.learning.verdicts import Learned, Refused
from livecube.profiles.decoder import decoder_class
from livecube.profiles.values import Claim

if TYPE_CHECKING:
    from livecube.events import CubeEvent, Packet
    from livecube.profiles.values import Profile

CLAIM = Claim(name="MADE")
COARSER = "Perhaps lower bits of the clock are left out"
"""Part of the note that says so."""


class Outcome(NamedTuple):
    seed: int
    shape: str
    verdict: str
    """``exact``; ``less`` (right, with coarser times, as a note says); ``wrong``; or the reason of
    the refusal."""
    reason: str


def told(profile: Profile, packets: list[Packet]) -> list[CubeEvent]:
    """The events of a profile's decoder, with times from the first turn on."""
    decoder = decoder_class(profile)()
    clock = CubeClock(decoder.clock_wrap_ms)
    events: list[CubeEvent] = []
    for packet in packets:
        if packet.char in decoder.notify:
            reports = decoder.received(packet.char, packet.data).reports
            events += clock.events(reports, packet.t)
    return [event for event in events if not isinstance(event, Battery)]


def same(found: Profile, true: Profile, packets: list[Packet], within_s: float) -> bool:
    """Whether both report the same turns, gaps, positions and times."""
    first, second = told(found, packets), told(true, packets)
    return len(first) == len(second) > 0 and all(
        abs(a.t - b.t) <= within_s and _said(a) == _said(b)
        for a, b in zip(first, second, strict=True)
    )


def _said(event: CubeEvent) -> tuple[object, ...]:
    match event:
        case Turn():
            return "turn", event.turn
        case Gap():
            return "gap", event.lost
        case State():
            return "state", event.position
    raise AssertionError(event)


def exact(found: Profile, cube: Made, within_s: float = 0.002) -> bool:
    """Whether a learned profile decodes as the truth does, with and without lost packets."""
    days = fresh(cube, 77, 300, 0.0), fresh(cube, 78, 150, 0.1)
    return all(same(found, cube.profile, packets, within_s) for packets in days)


def of_verdict(verdict: Learned | Refused, cube: Made) -> tuple[str, str]:
    """``exact``, ``less``, ``wrong`` or the kind of the refusal; and its reason or note."""
    if isinstance(verdict, Refused):
        return verdict.why, verdict.reason
    if cube.secret is None and exact(verdict.profile, cube):
        return "exact", ""
    note = next((note for note in verdict.notes if note.startswith(COARSER)), "")
    tick_s = 1 / verdict.profile.per_second
    if cube.secret is None and note and exact(verdict.profile, cube, tick_s + 0.002):
        return "less", note
    return "wrong", ""


@functools.cache
def learned(seed: int, *, encrypted: bool = False) -> Learned | Refused:
    """The learner's verdict on the generated cube of a seed."""
    cube = made(seed, encrypted=encrypted)
    return learn(recording(cube, seed + 10_000), "learned", CLAIM)


def outcome(seed: int, *, encrypted: bool = False) -> Outcome:
    """The learner's result for the generated cube of a seed."""
    cube = made(seed, encrypted=encrypted)
    verdict = learned(seed, encrypted=True) if encrypted else learned(seed)
    return Outcome(seed, cube.shape, *of_verdict(verdict, cube))


def encrypted_outcome(seed: int) -> Outcome:
    return outcome(seed, encrypted=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cubes", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    arguments = parser.parse_args()
    seeds = range(arguments.first, arguments.first + arguments.cubes)
    with ProcessPoolExecutor() as workers:
        for title, judge in (("plain", outcome), ("encrypted", encrypted_outcome)):
            counts: dict[str, int] = {}
            for one in workers.map(judge, seeds):
                counts[one.verdict] = counts.get(one.verdict, 0) + 1
                if one.verdict not in ("exact", "encrypted"):
                    print(f"{title} cube {one.seed} ({one.shape}): {one.verdict} {one.reason}")
            print(f"{title}: " + ", ".join(f"{n} {verdict}" for verdict, n in counts.items()))


if __name__ == "__main__":
    main()
