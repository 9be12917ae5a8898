"""The events of the tracker in virtual solves and in wild turns, with resets and lost turns.

Other tests judge whether it is right: ``test_stages.py``. This test only shows every change.
``python tests/test_stages_golden.py`` rewrites the golden file; read the difference before you
commit it.
"""

from __future__ import annotations

import random
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from examples import part_of

from livecube.cube.holding import Holding
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, inverse_turns
from livecube.events import (
    Attitude,
    Battery,
    ClockAccount,
    DeviceInfo,
    Gap,
    HeldAs,
    LinkChange,
    Reset,
    SolveMark,
    State,
    Turn,
)
from livecube.stages.cases import orientation_classes, permutation_classes
from livecube.stages.progress import SolveOver, StageDone, Turned
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session
from livecube.virtual.solver import KINDS, LEFT_HANDED, RIGHT_HANDED

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from livecube.cube.geometry import Array
    from livecube.events import CubeEvent
    from livecube.stages.progress import Progress
    from livecube.virtual.records import Kind
    from livecube.virtual.session import VirtualSession

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "stages.golden.txt"
SEEDS: Final = range(40)
WILD: Final = range(24)
SHORT: Final = [
    parse_turns(text)
    for text in (
        "R U R'", "R U' R'", "F' U' F", "L' U L", "R' F R F'", "D", "D'", "U", "U2", "R2 F2 R2",
        "R U R' U R U2 R'", "F R U R' U' F'", "B L' D2",
    )
]  # fmt: skip
PHASES: Final = ("scramble", "inspect", "start", "end", "abandon")


def besides(rng: random.Random, t: float) -> CubeEvent:
    """An event that is not a turn."""
    events: list[CubeEvent] = [
        Battery(t, 55), LinkChange(t, True), DeviceInfo(t, (("model", "a"),)),
        ClockAccount(t, 12.5, 30.0), Attitude(t, (1.0, 0.0, 0.5, 0.0)), HeldAs(t, None),
        HeldAs(t, Holding.of(5, 2)), HeldAs(t, Holding.of(0, 3)),
    ]  # fmt: skip
    return rng.choice(events)


def solves_of(seed: int) -> VirtualSession:
    kinds: list[set[Kind]]
    kinds = [{KINDS[seed % len(KINDS)]}, set(), {KINDS[(5 * seed + 7) % len(KINDS)]}]
    habits = LEFT_HANDED if seed % 2 else RIGHT_HANDED
    return session(seed, kinds, habits, on_cube=seed % 5 > 0)


def lived(solves: VirtualSession, seed: int) -> Iterator[CubeEvent]:
    """The events of three solves; at some seeds turns are lost, or the cube is reset."""
    rng = random.Random(seed)
    position = apply_turns(SOLVED, solves.scramble)
    unheard = 0
    for event in solves.events(marks=seed % 3 == 0):
        if isinstance(event, Turn):
            position = apply_turns(position, [event.turn])
            if unheard:
                unheard -= 1
                if not unheard:
                    yield State(event.t, position.tobytes())
                continue
            if seed % 4 == 1 and rng.random() < 0.02:
                unheard = rng.randrange(1, 5)
                yield Gap(event.t, unheard, event.t - 0.5 if rng.random() < 0.5 else None)
                continue
            if seed % 4 == 2 and rng.random() < 0.004:
                yield Reset(event.t)
                yield State(event.t, position.tobytes())
        yield event
        if rng.random() < 0.03:
            yield besides(rng, event.t)
        if seed % 4 == 3 and rng.random() < 0.01:
            yield State(event.t, position.tobytes())


def wild(position: Array, seed: int) -> Iterator[CubeEvent]:
    """Short sequences and their inverses: crosses of all colours and pairs come and go.

    Pauses are of all lengths that mean something; at every third seed there are marks, at others
    turns are lost and the cube is reset.
    """
    rng, t = random.Random(seed), 0.0
    made: list[list[int]] = []
    for number in range(40):
        if made and rng.random() < 0.6:
            turns = inverse_turns(made.pop())
        else:
            turns = rng.choice(SHORT) if rng.random() < 0.9 else rng.choices(range(18), k=12)
            made.append([*turns])
        for turn in turns:
            t += rng.choice((0.125, 0.25, 0.5, 1.25))
            position = apply_turns(position, [turn])
            yield Turn(t, turn, inferred=rng.random() < 0.01)
        t += rng.choice((0.25, 0.5, 1.0, 3.0, 4.0, 9.0, 31.0))
        match rng.randrange(30):
            case 0 | 1:
                yield besides(rng, t)
            case 2 if seed % 3:
                yield Gap(t, 1, t - rng.randrange(20))
            case 3 if seed % 3:
                yield State(t, (position := apply_turns(position, rng.choice(SHORT))).tobytes())
            case 4 if seed % 3:
                yield Reset(t)
                position = SOLVED
            case 5 | 6 | 7 if not seed % 3:
                yield SolveMark(t, number, rng.choice(PHASES))


def told_of(seed: int) -> Iterator[tuple[Progress | None, bool]]:
    """All progress in a virtual session."""
    solves = solves_of(seed)
    return told(apply_turns(SOLVED, solves.scramble), lived(solves, seed))


def told_of_wild(seed: int) -> Iterator[tuple[Progress | None, bool]]:
    """The same in a wild one, which begins with a solved cube or with one in the middle."""
    start = apply_turns(SOLVED, random.Random(seed).choices(range(18), k=seed % 2 * 4))
    return told(start, wild(start, seed))


def told(start: Array, happened: Iterable[CubeEvent]) -> Iterator[tuple[Progress | None, bool]]:
    """All progress, and whether the cube is looked at before a solve then."""
    tracker = Tracker(start.tobytes())
    for event in happened:
        yield from ((one, tracker.before_solve) for one in tracker.feed(event))
        yield None, tracker.before_solve
    yield from ((one, tracker.before_solve) for one in tracker.finish())


CALLED: Final = {
    Battery: "BatteryLevel",
    ClockAccount: "ClockTold",
    DeviceInfo: "DeviceTold",
    LinkChange: "LinkChanged",
}
"""The names of events when the digests were made, where they differ from the present names."""


def as_it_was_called(one: Progress | None) -> str:
    if isinstance(one, Gap):
        return f"Lost(t={one.t!r}, lost={one.lost!r})"
    name = type(one).__name__
    return repr(one).replace(f"{name}(", f"{CALLED.get(type(one), name)}(", 1)


def digest(happened: Iterable[tuple[Progress | None, bool]]) -> str:
    texts = (f"({as_it_was_called(one)}, {before})" for one, before in happened)
    return sha256("\n".join(texts).encode()).hexdigest()[:12]


def in_words(happened: Iterable[tuple[Progress | None, bool]]) -> Iterator[str]:
    for one, before in happened:
        match one:
            case Turned():
                slots = f"solved {' '.join(one.solved_slots)}, kept {' '.join(one.kept)}"
                yield f"  {one.line} {one.cross} {one.offset} {slots} {before}"
            case StageDone() | SolveOver():
                yield f"  {one}"


def written(seed: int) -> str:
    return "\n".join([f"seed {seed}", *in_words(told_of(seed))]) + "\n"


@pytest.mark.parametrize("seed", part_of(SEEDS, 8))
def test_the_tracker_tells_what_it_told(seed: int) -> None:
    *_, last = GOLDEN.read_text(encoding="utf-8").split("\n\n")
    assert f"digest {seed}: {digest(told_of(seed))}" in last.splitlines()


@pytest.mark.parametrize("seed", part_of(WILD, 3))
def test_the_tracker_tells_of_wild_turns_what_it_told(seed: int) -> None:
    *_, last = GOLDEN.read_text(encoding="utf-8").split("\n\n")
    assert f"wild {seed}: {digest(told_of_wild(seed))}" in last.splitlines()


@pytest.mark.parametrize("seed", [0, 1])
def test_the_tracker_tells_what_it_told_word_for_word(seed: int) -> None:
    texts = [one.strip() for one in GOLDEN.read_text(encoding="utf-8").split("\n\n")]
    assert written(seed).strip() in texts


def test_cases_of_the_last_layer_are_as_many_as_there_are_and_no_pattern_has_two() -> None:
    # Counted by orbits: 216 orientations and 288 permutations, up to turns of the layer.
    for classes, count, patterns in (
        (orientation_classes(), 58, 216),
        (permutation_classes(), 22, 288),
    ):
        assert len(classes) == count
        assert sum(map(len, classes.values())) == len(frozenset().union(*classes.values()))
        assert sum(map(len, classes.values())) == patterns


if __name__ == "__main__":
    last = "".join(f"digest {seed}: {digest(told_of(seed))}\n" for seed in SEEDS)
    last += "".join(f"wild {seed}: {digest(told_of_wild(seed))}\n" for seed in WILD)
    GOLDEN.write_text("\n".join([written(0), written(1), last]), encoding="utf-8")
