"""Learns cubes of unforeseen forms from owners who slip, and judges by the true turns.

``python tests/checks/slip_check.py --cubes 200`` learns 200, each from a clean recording and from
one with slips. A learned profile is tried on other days: with the counter before each wrap, and
with the clock hours later.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, NamedTuple

import beside  # noqa: F401 - before helpers are imported
from wild_layouts import SLIPS, recorded, session, wild
from wild_owner import Led

from livecube.clock import CubeClock
from livecube.conformance.telling import lines_of, why_untrue
from livecube.cube.position import summed_quarters
from livecube.events import Battery, Turn, TurnReport
from livecube.learning.learner import learn
from livecube.learning.verdicts import Refused
from livecube.profiles.decoder import decoder_class
from livecube.profiles.values import Claim

if TYPE_CHECKING:
    from wild_layouts import Slip, Wild

    from livecube.events import Packet, Report
    from livecube.learning.verdicts import Learned
    from livecube.profiles.values import Profile

CLAIM = Claim(name="WILD")
LEARNED = ("exact", "less", "unsaid")
FIELDS = ("counter", "clock")
TURNS = 80
"""Turns of one day: some more than it takes to the next wrap of the clock or counter."""
SAID = {
    "counter": "a lost packet may go unnoticed",
    "clock": "timed when they arrive",
    "fine clock": "bits of the clock are left out",
    "history": "lost",
}
"""By what a profile lacks, a part of the note that says so."""


class Outcome(NamedTuple):
    verdict: str
    """``exact``; ``less`` (right, but without a field, as the profile's notes say); ``unsaid`` (the
    same, but a note is missing); ``wrong``; or ``refused``."""
    why: str


def slips_of(seed: int) -> list[Slip]:
    """One to three slips, and perhaps a pause."""
    rng = random.Random(f"slips {seed}")
    return [rng.choice(SLIPS) for _ in range(rng.randint(1, 3))]


def judged(seed: int, slips: list[Slip]) -> Outcome:
    """The verdict on the profile that is learned for a cube."""
    layout = wild(seed)
    verdict = learn(recorded(layout, seed, slips), "learned", CLAIM)
    if isinstance(verdict, Refused):
        return Outcome("refused", f"{verdict.why}: {verdict.reason}")
    return of_profile(verdict, layout)


def of_profile(verdict: Learned, layout: Wild) -> Outcome:
    """Whether a profile reports the true turns, on other days too."""
    profile = verdict.profile
    days = [(0, 0.0), (7, 4.7 * 3600), (97, 65.0), (layout.counter_wrap - 60, 2**24 / 1000 - 30)]
    days += [(235, 2**16 / layout.clock_rate - 20), (5, 2**32 / layout.clock_rate - 40)]
    for number, (made, cube_s) in enumerate(days):
        why = wrong_day(profile, layout, number, max(0, made), cube_s)
        if why:
            return Outcome("wrong", why)
    telling = next(one for one in profile.layouts if one.turns is not None or one.state)
    lacking = [name for name in FIELDS if name in layout.parts and getattr(telling, name) is None]
    if layout.history and (telling.turns is None or telling.turns.codes.count <= layout.history):
        lacking.append("history")
    if telling.clock is not None and profile.per_second < layout.clock_rate:
        lacking.append("fine clock")
    unsaid = [name for name in lacking if not any(SAID[name] in note for note in verdict.notes)]
    if unsaid:
        return Outcome("unsaid", ", ".join(unsaid))
    return Outcome("less" if lacking else "exact", ", ".join(lacking))


def wrong_day(profile: Profile, layout: Wild, seed: int, made: int, cube_s: float) -> str:
    """The first wrong report of one day; empty: none."""
    packets, done = session(layout, seed, made, cube_s, TURNS)
    reports, events = told(profile, packets)
    turns = [report.turn for report in reports if isinstance(report, TurnReport)]
    if (
        summed_quarters(turns) != summed_quarters([turn for turn, _ in done])
        or len(lines_of(reports)) > 1
    ):
        return f"from turn {made}, second {cube_s:.0f}: turns"
    if profile.clock_values is not None and layout.half_turns:
        zero = events[0].t - done[0][1]
        late = max(abs(e.t - zero - s) for e, (_, s) in zip(events, done, strict=True))
        if late > 0.0025 + 2 / min(layout.clock_rate, profile.per_second):
            return f"from turn {made}, second {cube_s:.0f}: times by {late:.3f} s"
    one = next(one for one in profile.layouts if one.turns is not None or one.state)
    if one.counter is None:
        return ""
    packets, done = session(layout, seed + 100, made, cube_s, TURNS, loss=0.12)
    reports, _ = told(profile, packets)
    whole = [t for turn, _ in done for t in ((turn,) if turn in layout.codes else (turn - 1,) * 2)]
    why = why_untrue(lines_of(reports), whole)
    return f"from turn {made}: packets lost, {why}" if why else ""


def told(profile: Profile, packets: list[Packet]) -> tuple[list[Report], list[Turn]]:
    """The reports of a profile's decoder, and its turns."""
    decoder = decoder_class(profile)()
    clock = CubeClock(decoder.clock_wrap_ms)
    reports: list[Report] = []
    events = []
    for packet in packets:
        if packet.char in decoder.notify:
            news = decoder.received(packet.char, packet.data).reports
            reports += news
            events += [e for e in clock.events(news, packet.t) if not isinstance(e, Battery)]
    return reports, [event for event in events if isinstance(event, Turn)]


def led(seed: int) -> tuple[int, Outcome, int]:
    """The verdict on a cube whose owner was led through the routine, and the number of requests."""
    layout = wild(seed)
    slips: list[Slip] = [("wrong", "corrected", "lost", "pause")[(seed + k) % 4] for k in range(2)]
    owner = Led(layout, seed, slips)
    verdict = learn(asyncio.run(owner.lead()), "learned", CLAIM)
    if isinstance(verdict, Refused):
        return seed, Outcome("refused", f"{verdict.why}: {verdict.reason}"), len(owner.asked)
    return seed, of_profile(verdict, layout), len(owner.asked)


def both(seed: int) -> tuple[int, float, Outcome, Outcome, list[Slip]]:
    began, slips = time.process_time(), slips_of(seed)
    clean, slipped = judged(seed, []), judged(seed, slips)
    return seed, time.process_time() - began, clean, slipped, slips


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cubes", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, metavar="SEED")
    parser.add_argument("--verbose", action="store_true", help="every cube that is not exact")
    parser.add_argument("--led", type=int, default=0, metavar="N", help="number of cubes led live")
    arguments = parser.parse_args()
    seeds = range(arguments.first, arguments.first + arguments.cubes)
    counts: dict[str, Counter[str]] = {"clean": Counter(), "with slips": Counter()}
    lacks: dict[str, Counter[str]] = {"clean": Counter(), "with slips": Counter()}
    kept = learned = 0
    spent = 0.0
    with ProcessPoolExecutor() as workers:
        for seed, seconds, clean, slipped, slips in workers.map(both, seeds):
            spent += seconds
            for title, one in (("clean", clean), ("with slips", slipped)):
                counts[title][one.verdict] += 1
                lacks[title].update(one.why.split(", ") if one.verdict == "less" else [])
            if clean.verdict in LEARNED:
                learned += 1
                kept += slipped.verdict in LEARNED
            for how, one in (("clean", clean), (", ".join(slips), slipped)):
                if one.verdict in ("wrong", "unsaid") or (
                    arguments.verbose and one.verdict != "exact"
                ):
                    print(f"{seed} ({wild(seed)}), {how}: {one.verdict}, {one.why}", flush=True)
    for title, count in counts.items() if seeds else ():
        print(f"{title}: " + ", ".join(f"{n} {verdict}" for verdict, n in count.most_common()))
        print(f"  without: {', '.join(f'{part} {n}' for part, n in lacks[title].most_common())}")
    if seeds:
        print(
            f"{kept} of the {learned} learned from a clean recording were also learned with slips"
        )
        print(f"{spent / len(seeds):.2f} s of processor time for each cube")
    with ProcessPoolExecutor() as workers:
        live: Counter[str] = Counter()
        for seed, one, asked in workers.map(
            led, range(arguments.first, arguments.first + arguments.led)
        ):
            live[one.verdict] += 1
            if one.verdict != "exact":
                print(
                    f"{seed} ({wild(seed)}), led, {asked} steps: {one.verdict}, {one.why}",
                    flush=True,
                )
    if live:
        print(
            "led, with slips: " + ", ".join(f"{n} {verdict}" for verdict, n in live.most_common())
        )


if __name__ == "__main__":
    main()
