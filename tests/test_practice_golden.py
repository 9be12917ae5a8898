"""Sessions of practice, scrambles, and ways back onto them.

Other tests judge whether it is right: ``test_practice.py``, ``test_scrambles.py``. This test only
shows every change. ``python tests/test_practice_golden.py`` rewrites the golden file; read the
difference before you commit it.
"""

from __future__ import annotations

import random
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest
from examples import part_of

from livecube.composition.scrambler import load_scrambler
from livecube.cube.notation import parse_turns
from livecube.cube.position import (
    SOLVED,
    SOLVED_BYTES,
    TURN_BYTES,
    apply_turns,
    inverse_turns,
    turns_text,
)
from livecube.dashboard.settings import MQTT_ENTRIES
from livecube.events import Battery, Reset, State, Turn
from livecube.practice.gestures import BreakRule
from livecube.practice.loop import Practice, PracticeRules, Wish
from livecube.practice.news import Guided, InspectionBegun, ScrambleAsked
from livecube.practice.settings import PRACTICE_ENTRIES
from livecube.scrambling.partial_link import partial_link
from livecube.scrambling.path import ScramblePath

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.events import CubeEvent
    from livecube.practice.loop import Outcome

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "practice.golden.txt"
SEEDS: Final = range(16)
WISHES: Final[tuple[Wish, ...]] = ("on", "next", "discard", "penalty")
GESTURES: Final = ("R R' R R'", "U U' U U'", "L' L L' L", "D D' D D'")


class _Scrambles:
    """Short scrambles, and ways that are found quickly."""

    def __init__(self, rng: random.Random) -> None:
        self._rng = rng
        self._ways: dict[bytes, list[int]] = {}

    def new(self, start: bytes = SOLVED_BYTES) -> ScramblePath:
        turns = [self._rng.randrange(18) for _ in range(7)]
        path = ScramblePath(start, turns)
        self._ways[path.target] = turns
        return path

    def to(self, start: bytes, target: bytes) -> ScramblePath:
        return ScramblePath(start, self._ways.get(target, [0, 4, 8]))


class _Evening:
    """A session of practice, sometimes not as asked."""

    def __init__(self, seed: int) -> None:
        self.rng, self.t = random.Random(seed), 5.0
        rules = PracticeRules(
            by_hand=seed % 6 == 5, timed=seed % 4 > 0, settle_s=1.0 + seed % 3,
            breaks=BreakRule(minutes=1.5, turns=90) if seed % 2 else BreakRule(),
        )  # fmt: skip
        self.practice = Practice(rules, _Scrambles(self.rng))
        self.position = SOLVED_BYTES
        self.told: list[Outcome] = []
        self.take(self.practice.begin(self.t))

    def take(self, told: Sequence[Outcome]) -> None:
        self.told += told

    def wait(self, seconds: float) -> None:
        until = self.t + seconds
        while (due := self.practice.due) is not None and due <= until:
            self.take(self.practice.wake(due))
        self.t = until

    def turn(self, turns: Sequence[int], each_s: float) -> None:
        for turn in turns:
            self.wait(round(each_s * self.rng.uniform(0.5, 2.0), 4))
            self.position = self.position.translate(TURN_BYTES[turn])
            self.take(self.practice.feed(Turn(self.t, turn)))

    def event(self, event: CubeEvent) -> None:
        self.take(self.practice.feed(event))

    def last(self, kind: type[Any]) -> Any:
        return next((one for one in reversed(self.told) if isinstance(one, kind)), None)

    def stray(self) -> None:
        """Do something unexpected."""
        match self.rng.randrange(7):
            case 0:
                self.turn([self.rng.randrange(18)], 0.3)
            case 1:
                self.take(self.practice.wish(self.rng.choice(WISHES), self.t))
            case 2:
                self.event(Battery(self.t - 0.2, 50))
            case 3:
                self.event(State(self.t, self.position))
            case 4:
                self.turn(parse_turns(self.rng.choice(GESTURES)), 0.15)
            case 5 if self.rng.random() < 0.4:  # turned without being received
                self.position = self.position.translate(TURN_BYTES[self.rng.randrange(18)])
                self.event(State(self.t, self.position))
            case 6 if self.rng.random() < 0.3:
                self.position = SOLVED_BYTES
                self.event(self.rng.choice((Reset(self.t), State(self.t, SOLVED_BYTES))))

    def round(self) -> None:
        """Scramble, inspect, solve."""
        asked = self.last(ScrambleAsked)
        turns = list(asked.turns) or [self.rng.randrange(18) for _ in range(9)]
        for number, turn in enumerate(turns):
            if self.rng.random() < 0.04:
                self.stray()
            guided = self.last(Guided)
            left = list(guided.guidance.back) if guided and number else []
            self.turn([*left, turn], 0.3)
        self.wait(self.rng.choice((2.5, 4.0, 9.0, 13.5, 16.0, 18.5)))
        begun = self.last(InspectionBegun)
        if self.rng.random() < 0.3:
            self.stray()
        for turn in inverse_turns(begun.scramble if begun else turns):
            self.turn([turn], 0.25)
            if self.rng.random() < 0.02:
                self.stray()
        for _ in range(self.rng.randrange(3)):
            self.stray()
        self.take(self.practice.wish(self.rng.choice(("on", "next", "penalty", "on")), self.t))


def evening_told(seed: int) -> _Evening:
    """A session after some rounds."""
    one = _Evening(seed)
    for _ in range(9):
        one.round()
    return one


def evening(seed: int) -> Iterator[str]:
    """All news of some rounds."""
    one = evening_told(seed)
    yield from map(repr, one.told)
    yield repr((one.practice.phase, one.practice.number, one.practice.due))


@cache
def _scrambler() -> Any:
    return load_scrambler(seed=12)


def scrambled(seed: int) -> Iterator[str]:
    """A scramble between two positions, and a way for some pieces only."""
    rng = random.Random(seed)
    ends = [
        apply_turns(SOLVED, [rng.randrange(18) for _ in range(rng.choice((2, 9, 30)))])
        for _ in range(2)
    ]
    way = _scrambler().to(*(end.tobytes() for end in ends))
    yield turns_text(way.turns)
    near = apply_turns(ends[0], [rng.randrange(18) for _ in range(3)]).tobytes()
    link = partial_link(ends[0].tobytes(), near, sorted(rng.sample(range(20), 9)))
    yield "none" if link is None else turns_text(link)


def strayed(seed: int) -> Iterator[str]:
    """The guidance for somebody who leaves a path."""
    rng = random.Random(seed)
    path = ScramblePath(SOLVED_BYTES, [rng.randrange(18) for _ in range(10)])
    position = SOLVED
    for turn in path.turns:
        position = apply_turns(position, [rng.choice((turn, turn, turn, rng.randrange(18)))])
        yield repr(path.guide(position.tobytes()))
        yield repr(path.guide(apply_turns(position, [rng.randrange(18)]).tobytes()))


def entries() -> str:
    """The entries of a configuration and their limits."""
    rows = [
        f"entry {one.name}: {one.kind} {one.default} {one.least:g} {one.most:g} {one.choices}"
        for one in (*PRACTICE_ENTRIES, *MQTT_ENTRIES)
    ]
    return "\n".join(rows)


PARTS: Final[dict[str, Callable[[int], Iterator[str]]]] = {
    "evening": evening, "scrambled": scrambled, "strayed": strayed,
}  # fmt: skip


def line_of(name: str, seed: int) -> str:
    lines = list(PARTS[name](seed))
    return f"{name} {seed}: {len(lines)} {sha256(chr(10).join(lines).encode()).hexdigest()[:12]}"


@pytest.mark.parametrize("seed", part_of(SEEDS, 3))
@pytest.mark.parametrize("name", PARTS)
def test_practice_is_as_it_was(name: str, seed: int) -> None:
    assert line_of(name, seed) in GOLDEN.read_text(encoding="utf-8").splitlines()


def test_a_configuration_may_hold_what_it_might() -> None:
    assert entries() in GOLDEN.read_text(encoding="utf-8")


if __name__ == "__main__":
    lines = [line_of(name, seed) for name in PARTS for seed in SEEDS]
    GOLDEN.write_text("\n".join([entries(), *evening(1), *lines]) + "\n", encoding="utf-8")
