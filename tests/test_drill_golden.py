"""The positions that are drawn for drills, and the results of rounds.

Other tests judge whether it is right: ``test_drills.py``, ``test_drill_rounds.py``. This test only
shows every change. ``python tests/test_drill_golden.py`` rewrites the golden file; read the
difference before you commit it.
"""

from __future__ import annotations

import random
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from advising import advisor_at
from examples import thorough

from livecube.cube.position import SOLVED, apply_turns, inverse_turns
from livecube.drills.beat import BeatSession, judged_beat
from livecube.drills.fingers import PATTERNS, FingerDrill
from livecube.drills.positions import Wish, drawn_cases, drawn_set, sampled
from livecube.events import Reset, State, Turn
from livecube.scrambling.path import ScramblePath
from livecube.techniques.base import traits
from livecube.techniques.registry import TECHNIQUES
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from livecube.drills.place import DrillPlace

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "drills.golden.txt"
BY_ID: Final = {technique.id: technique for technique in TECHNIQUES}


def place_text(place: DrillPlace) -> str:
    margin = "-" if place.margin_s is None else f"{place.margin_s:.3f}"
    row = f"{place.row.slots} {place.row.turns_fixed} {place.row.seconds:.3f}"
    return f"  {place.key} {place.grade} {place.case} {place.case.side} {margin} {row}"


def sampled_for(technique: str, face: int) -> Iterator[str]:
    """Random positions in which a technique is the best choice, each near the one before."""
    rng, base = random.Random(face + 10), SOLVED
    for number in range(4 if traits(BY_ID[technique]).in_inspection else 16):
        place = sampled(advisor_at(), BY_ID[technique], face, rng, base)
        if place is not None:
            yield f"  {number}"
            yield place_text(place)
            if number % 3:
                base = apply_turns(base, place.row.turns_fixed)


def drawn() -> Iterator[str]:
    """A set, a set with wishes, and positions of its cases."""
    shares: list[float] = []
    technique = BY_ID["made-pair"]
    first = drawn_set(advisor_at(), Wish(technique, 3), random.Random(5), (), shares.append)
    yield from map(place_text, first)
    wish = Wish(technique, 2, 5, "medium", ("green-red", "blue-red"))
    known = [place.key for place in first]
    yield from map(place_text, drawn_set(advisor_at(), wish, random.Random(5), known))
    cases = [str(place.case) for place in first[:2]]
    again = drawn_cases(advisor_at(), Wish(technique, 3), cases, random.Random(6), known)
    yield from map(place_text, again)
    yield f"  {[round(share, 4) for share in shares]}"


def stroked() -> Iterator[str]:
    """Rounds of the ring fingers, with slips, hasty turns and new beginnings."""
    for seed in range(8):
        rng, drill = random.Random(seed), FingerDrill(2 + seed % 3)
        yield from map(repr, drill.give_up(0.0) + drill.begin(0.0))
        t, at = 0.0, 0
        while not drill.over and t < 90:
            t += rng.choice((0.15, 0.2, 0.25, 0.4, 0.99, 1.0, 1.3))
            wanted = PATTERNS[(drill.number - 1) % 3].quarters[at % 8]
            quarters = wanted if rng.random() < 0.93 else rng.randrange(1, 4)
            told = drill.feed(Turn(t, 3 * (5 if rng.random() < 0.98 else 0) + quarters - 1))
            at = getattr(told[0], "done", at) if told else at
            yield from map(repr, told)
            yield from map(repr, drill.feed(Reset(t)))
            if rng.random() < 0.01:
                yield from map(repr, drill.give_up(t))
                at = 0
        yield from map(repr, drill.finish())


def beaten() -> Iterator[str]:
    """Virtual solves to a beat, one of them disturbed, another broken off."""
    for seed in range(6):
        done, rng, tempo = solve(seed), random.Random(seed), (1.0, 2.0, 3.3)[seed % 3]
        scrambled = apply_turns(SOLVED, done.scramble).tobytes()

        def path(start: bytes, end: bytes, way: list[int] = done.scramble) -> ScramblePath:
            return ScramblePath(start, way if start == SOLVED.tobytes() else inverse_turns(way))

        session, t = BeatSession(tempo, scrambled, path), 1.0
        yield from map(repr, session.give_up(0.5) + session.finish() + session.begin(t))
        for turn in done.scramble:
            t += 0.3
            yield from map(repr, session.feed(Turn(t, turn)))
        if seed == 2:
            yield from map(repr, session.feed(Turn(t + 0.99, 4)))
            yield from map(repr, session.feed(Turn(t + 1.2, 4)))
        if seed == 3:
            yield from map(repr, session.feed(State(t + 0.5, scrambled)))
            yield from map(repr, session.feed(State(t + 0.6, SOLVED.tobytes())))
            yield from map(repr, session.feed(Reset(t + 0.7)))
            yield from map(repr, session.feed(State(t + 0.8, scrambled)))
            yield from map(repr, session.begin(t + 0.9))
        t += 1.0
        for number, solving in enumerate(done.solving):
            t += rng.choice((0.02, 0.09, 0.11, 0.2, 1 / tempo, 1 / tempo, 1.2 / tempo, 3 / tempo))
            yield from map(repr, session.feed(Turn(t, solving.turn)))
            if seed == 4 and number == 30:
                break
        yield from map(repr, session.finish())


def judged() -> Iterator[str]:
    """Random turns against a beat."""
    for seed in range(10):
        rng, t = random.Random(seed), 3.0
        turns = []
        for number in range(30):
            t += rng.choice((0.1, 0.4, 0.5, 0.5, 0.6, 1.7))
            turns.append((t, f"stage {number // 9}"))
        result = judged_beat(turns, 2.0 + seed % 2)
        for turn in result.turns:
            yield f"{turn.number} {turn.stage} {turn.off_s:.6f} {turn.empty} {turn.missed}"
        yield f"{result.missed} {result.empty} {result.stages}"
        yield f"{[one.number for one in result.farthest_off + result.longest_pauses]}"


READ: Final[dict[str, Callable[[], Iterator[str]]]] = {
    "drawn": drawn,
    **{
        name: partial(sampled_for, name, at % 2 * 5)
        for at, name in enumerate(BY_ID)
        if not traits(BY_ID[name]).is_yardstick  # it is not drilled
    },
}
DIGESTED: Final[dict[str, Callable[[], Iterator[str]]]] = {
    "stroked": stroked, "beaten": beaten, "judged": judged,
}  # fmt: skip


def written(name: str) -> str:
    return "\n".join([name, *READ[name]()])


def digest(name: str) -> str:
    lines = list(DIGESTED[name]())
    return f"{name}: {len(lines)} {sha256(chr(10).join(lines).encode()).hexdigest()[:12]}"


@pytest.mark.parametrize("name", [thorough(n) if n == "beaten" else n for n in DIGESTED])
def test_rounds_come_to_what_they_came_to(name: str) -> None:
    assert digest(name) in GOLDEN.read_text(encoding="utf-8").splitlines()


SLOW: Final = ("drawn", "keyhole-flip", "pseudo-pair", "pseudo-x-cross")
"""What is drawn more slowly."""


@pytest.mark.parametrize("name", [thorough(n) if n in SLOW else n for n in READ])
def test_positions_are_drawn_as_they_were(name: str) -> None:
    assert written(name) in GOLDEN.read_text(encoding="utf-8").split("\n\n")


if __name__ == "__main__":
    parts = [*map(written, READ), "\n".join(map(digest, DIGESTED)) + "\n"]
    GOLDEN.write_text("\n\n".join(parts), encoding="utf-8")
