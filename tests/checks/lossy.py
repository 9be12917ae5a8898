"""A cube over a link that loses, repeats and reorders packets, and breaks: all from one seed.

``python tests/checks/lossy.py --schedules 1000`` runs more schedules than the test does and prints
the outcomes.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import entry_points
from typing import TYPE_CHECKING

from livecube.composition.decoders import known_decoders
from livecube.composition.reception import Reception
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.link import LinkDown, LinkUp, Notification
from livecube.edges.profile_files import installed_profiles
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.virtual.cube import GROUP, simulated_cube
from livecube.virtual.profile_cube import ProfileCube
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.decoding import Write
    from livecube.edges.link import LinkItem
    from livecube.events import CubeEvent
    from livecube.stages.solve import Solve, Split
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = ["Outcome", "protocols", "run"]

_SESSIONS = 40

IDLE_S = 0.1
QUIET_S = 30.0
"""Time after the last turn without faults, in which the cube and the link finish."""


@dataclass(frozen=True)
class Schedule:
    """The faults of a session."""

    seed: int
    drop: float
    """Part of the packets that are lost, either way."""
    repeat: float
    swap: float
    """Part of the packets that the next one overtakes."""
    breaks: tuple[tuple[float, float], ...]
    """Intervals without connection, as parts of the session."""


def random_schedule(seed: int) -> Schedule:
    """Up to a fifth of the packets lost and five breaks a solve."""
    rng = random.Random(seed)
    breaks = sorted(rng.random() for _ in range(rng.randint(0, 5)))
    return Schedule(
        seed,
        drop=rng.choice([0.0, rng.uniform(0.0, 0.2)]),
        repeat=rng.choice([0.0, rng.uniform(0.0, 0.1)]),
        swap=rng.choice([0.0, rng.uniform(0.0, 0.1)]),
        breaks=tuple((at, at + rng.choice([0.01, 0.05, 0.2])) for at in breaks),
    )


@dataclass
class _LossyLink:
    cube: SimulatedCube
    reception: Reception
    schedule: Schedule
    rng: random.Random
    events: list[CubeEvent] = field(default_factory=list)
    late: list[bytes] = field(default_factory=list)
    up: bool = True
    faults: bool = False

    def happens(self, part: float) -> bool:
        return self.faults and self.rng.random() < part

    def carry(self, packets: tuple[bytes, ...], t: float) -> None:
        for data in packets:
            if not self.up or self.happens(self.schedule.drop):
                continue
            if not self.late and self.happens(self.schedule.swap):
                self.late.append(data)
                continue
            self.bring([data] * (2 if self.happens(self.schedule.repeat) else 1), t)
        if not self.faults:
            self.bring([], t)

    def bring(self, packets: list[bytes], t: float) -> None:
        """Deliver packets, and after them the overtaken ones."""
        late, self.late = self.late, []
        for data in packets + late:
            self.take(Notification(t, self.cube.events, data), t)

    def take(self, item: LinkItem, t: float) -> None:
        events, writes = self.reception.take(item)
        self.events += events
        for write in writes:
            self.answer(write, t)

    def answer(self, write: Write, t: float) -> None:
        if self.up and not self.happens(self.schedule.drop):
            self.carry(self.cube.written(write.data, round(t * 1000)), t)

    def set_up(self, up: bool, t: float) -> None:
        if up != self.up:
            self.up = up
            self.late.clear()
            self.take(LinkUp(t) if up else LinkDown(t), t)


def protocols() -> list[str]:
    """The cubes that can be played: all with a simulated cube or a profile."""
    profiles = [profile.name for profile in installed_profiles()]
    return sorted({*entry_points(group=GROUP).names, *profiles})


def _cube(protocol: str, position: bytes) -> SimulatedCube:
    for profile in installed_profiles():
        if profile.name == protocol:
            return ProfileCube(profile, position)
    return simulated_cube(protocol)(position)


def played(
    done: VirtualSession, schedule: Schedule, protocol: str
) -> tuple[list[CubeEvent], bytes]:
    """The events that arrive, and the cube's final position."""
    cube = _cube(protocol, _start(done))
    reception = Reception(known_decoders()[protocol]())
    link = _LossyLink(cube, reception, schedule, random.Random(schedule.seed))
    link.take(LinkUp(0.0), 0.0)  # the cube rests, and is received before the first turn
    link.faults = True
    end = done.turns[-1].t
    t = 0.0
    for turn in done.turns:
        while t + IDLE_S < turn.t:
            t += IDLE_S
            link.set_up(not any(a <= t / end < b for a, b in schedule.breaks), t)
            link.carry(cube.idle(round(t * 1000)), t)
        t = max(t, turn.t)
        link.set_up(not any(a <= t / end < b for a, b in schedule.breaks), t)
        link.carry(cube.turn(turn.turn, round(t * 1000)), t)
    # At the end the cube sends once more: only this can reveal a lost last turn.
    link.faults = False
    link.carry((), t)
    link.set_up(False, t)
    link.set_up(True, t)
    for last in (0, 2):  # U and back
        link.carry(cube.turn(last, round((end + 1 + last) * 1000)), end + 1 + last)
    while t < end + QUIET_S:
        t += IDLE_S
        link.carry(cube.idle(round(t * 1000)), t)
    return link.events + link.reception.give_up(), cube.position


@dataclass
class Outcome:
    """The outcome of a schedule."""

    position_right: bool
    exact: int = 0
    """Splits without a mark that are right."""
    inferred: int = 0
    gap: int = 0
    wrong: list[str] = field(default_factory=list)
    """Splits without a mark that are wrong."""


def judged(solves: Sequence[Solve], truth: Sequence[Solve], position_right: bool) -> Outcome:
    """Compare the result with the same turns without any fault."""
    outcome = Outcome(position_right)
    true_splits = [split for solve in truth for split in solve.splits]
    for solve in solves:
        for split in solve.splits:
            if split.end_turn is None:
                continue
            if split.gap:
                outcome.gap += 1
            elif split.inferred:
                outcome.inferred += 1
            elif any(_same(split, true) for true in true_splits):
                outcome.exact += 1
            else:
                outcome.wrong.append(f"{split} in {solve.started:.3f}")
    return outcome


def _solves(tracker: Tracker, events: list[CubeEvent]) -> list[Solve]:
    told = tracker.feed_all(events)
    return [one.solve for one in told if isinstance(one, SolveOver)]


def _same(split: Split, true: Split) -> bool:
    """Whether a split is right; line numbers are the log's own."""
    return (
        split.stage,
        split.slots,
        split.turns,
        split.technique,
        split.case,
        split.offset,
        split.shared,
    ) == (
        true.stage,
        true.slots,
        true.turns,
        true.technique,
        true.case,
        true.offset,
        true.shared,
    ) and abs(split.seconds - true.seconds) + abs(split.pause - true.pause) < 2e-3


@cache
def _session(seed: int) -> VirtualSession:
    return session(seed, 2, on_cube=False)


@cache
def _unharmed(seed: int, protocol: str) -> tuple[Solve, ...]:
    """The solves of the same turns without any fault."""
    done = _session(seed)
    events, _ = played(done, Schedule(0, 0.0, 0.0, 0.0, ()), protocol)
    return tuple(_solves(Tracker(_start(done)), events))


def _start(done: VirtualSession) -> bytes:
    return bytes(apply_turns(SOLVED, done.scramble).tolist())


def run(seed: int, protocol: str) -> Outcome:
    """One schedule, judged."""
    done = _session(seed % _SESSIONS)
    events, position = played(done, random_schedule(seed), protocol)
    tracker = Tracker(_start(done))
    solves = _solves(tracker, events)
    return judged(solves, _unharmed(seed % _SESSIONS, protocol), tracker.position == position)


def main() -> None:
    """Run many schedules, and print the outcomes."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--schedules", type=int, default=1000)
    arguments.add_argument("--seed", type=int, default=0)
    given = arguments.parse_args()
    for protocol in protocols():
        total: Counter[str] = Counter()
        for seed in range(given.seed, given.seed + given.schedules):
            outcome = run(seed, protocol)
            total["position wrong"] += not outcome.position_right
            total["exact"] += outcome.exact
            total["inferred"] += outcome.inferred
            total["gap"] += outcome.gap
            total["wrong"] += len(outcome.wrong)
            if outcome.wrong or not outcome.position_right:
                print(protocol, seed, outcome)
        print(protocol, dict(total))


if __name__ == "__main__":
    main()
