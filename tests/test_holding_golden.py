"""The holdings of virtual solvers as the model infers them, to four digits.

Other tests judge whether it is right: ``test_holding.py``, ``test_acquaintance.py``. This test only
shows every change. ``python tests/test_holding_golden.py`` rewrites the golden file; read the
difference before you commit it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pytest
from examples import thorough
from holding_truth import true_counts, true_part, virtual_solves

from livecube.cube.holding import HOLDINGS, Holding
from livecube.cube.notation import moves_text
from livecube.edges.holding_file import holding_model
from livecube.events import HeldAs
from livecube.holding.acquaintance import Acquaintance
from livecube.holding.counts import counts_text
from livecube.holding.follower import HoldingFollower, LiveHolding
from livecube.holding.inference import adapted, evidence, read_solve
from livecube.holding.likelihoods import likelihoods
from livecube.holding.written import HAND_MOVES
from livecube.stages.progress import HeldNow, SolveOver, StageDone
from livecube.stages.tracker import Tracker
from livecube.virtual.habits import LEFT_HANDED, OTHERWISE, RIGHT_HANDED, Habits
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from livecube.holding.inference import Reading
    from livecube.holding.kernel import Array, Quaternion
    from livecube.holding.observations import SolvePart
    from livecube.virtual.records import Kind

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "holding.golden.txt"
MODEL: Final = holding_model()


def digits(values: Iterable[float]) -> str:
    return " ".join(f"{value:.4f}" for value in values)


def likeliest(held: Array) -> str:
    """The likeliest holding of each turn, and how likely it is."""
    return " ".join(f"{row.argmax()}:{row.max():.4f}" for row in held)


def lines_of(reading: Reading) -> Iterator[str]:
    yield f"  {moves_text(HAND_MOVES[step.move] for step in reading.path)}"
    yield f"  held {likeliest(reading.held)}"
    yield f"  kinds {likeliest(reading.kinds)}"
    yield f"  unexpected {digits(reading.unexpected)}"
    yield f"  by kind {digits(reading.by_kind)}"


def met(habits: Habits, count: int = 6) -> Iterator[str]:
    """Solves of one person, one after the other."""
    solver = Acquaintance(MODEL)
    for done in virtual_solves(range(900, 900 + count), habits):
        reading = solver.read(true_part(done))
        yield f"  stranger {solver.stranger:.4f}, {solver.grip}, {digits(solver.kinds)}"
    yield from lines_of(reading)


def believed(habits: Habits) -> Iterator[str]:
    """The believed probability for each group of stages."""
    solver = Acquaintance(MODEL)
    for done in virtual_solves(range(950, 955), habits):
        solver.read(true_part(done))
    tops = np.array([0.05, 0.08, 0.12, 0.2, 0.35, 0.5, 0.7, 0.9, 0.97, 0.995, 0.9993, 0.99995])
    held = np.full((len(tops), 24), ((1 - tops) / 23)[:, None])
    held[:, 7] = tops
    for kinds in np.eye(len(MODEL.kinds))[::2]:
        solver.kinds = 60 * (kinds - 1)
        for live in (False, True):
            for name in (0, 1, 2):
                left = solver.believed(held, [name] * len(tops), live=live)
                yield f"  {solver.grip} {live} {name}: {digits(left.max(axis=1))}"


def attitudes(part: SolvePart) -> list[Quaternion | None]:
    """Attitudes of a sensor that sways, is sometimes silent, and turns over once."""
    rng = np.random.default_rng(3)
    told: list[Quaternion | None] = []
    for i in range(len(part.turns)):
        w, x, y, z = rng.normal((2 - 3 * (i > 20), 0.1 + (i > 20), 0.1, 0), 0.25)
        told.append(None if i % 7 == 3 else (w, x, y, z))
    return told


def sensed() -> Iterator[str]:
    """Holdings with a gyroscope, and with a holding stated during the solve."""
    part = true_part(next(virtual_solves([21], RIGHT_HANDED)))
    yield from lines_of(read_solve(replace(part, attitudes=attitudes(part)), MODEL))
    yield from lines_of(read_solve(replace(part, stated={4: 3, 30: 17}), MODEL))


def live() -> Iterator[str]:
    """Holdings turn by turn; the cross is known late, and a holding is stated."""
    holding = LiveHolding(MODEL)
    for number, done in enumerate(virtual_solves([31, 32], LEFT_HANDED)):
        part = true_part(done)
        told = attitudes(part) if number else [None] * len(part.turns)
        for i, (turn, t, stage) in enumerate(zip(part.turns, part.times, part.stages, strict=True)):
            if number and i == 40:
                holding.state(HOLDINGS[11])
            holding.turn(turn, t, stage, part.cross if stage else -1, told[i])
            if i % 4 == 0:
                yield f"  {i}: {likeliest(holding.recent())} now {likeliest(holding.held[None])}"
        holding.begin()


def followed(kind: Kind) -> Iterator[str]:
    """The pipeline's events of three solves, the second of a kind and with a stated holding."""
    solves = session(12, [set(), {kind}, set()], RIGHT_HANDED)
    tracker, follower = Tracker(), HoldingFollower(MODEL)
    events = solves.events()
    for number, event in enumerate(events):
        told = list(tracker.feed(event))
        if number == len(events) // 2:
            told += tracker.feed(HeldAs(event.t, Holding.of(5, 3)))
        for one in follower.take(told):
            match one:
                case HeldNow(t=t, holding=holding, confidence=sure):
                    yield f"  {t:.3f} {holding} {sure:.4f}"
                case StageDone(split=split):
                    yield f"  {split.stage} {split.end_turn} {split.holding}"
                case SolveOver(solve=solve):
                    yield f"  over {[str(split.holding) for split in solve.splits]}"


def learned() -> Iterator[str]:
    """The counts of a person's own solves, beside a few of others."""
    others = true_counts(virtual_solves(range(40, 44), RIGHT_HANDED))
    parts = [true_part(done) for done in virtual_solves(range(4), OTHERWISE)]
    for kinds in ([others], [others, others.mirrored().weakened(0.5)]):
        counts = adapted(kinds, parts, np.random.default_rng(8))
        lines = counts_text(counts, "a test", least=5.0).splitlines()
        yield from (f"  {line[:120]}" for line in lines[:: max(1, len(lines) // 40)])
        yield f"  evidence {digits(evidence(part, likelihoods(counts)) for part in parts)}"


PARTS: Final[dict[str, Callable[[], Iterator[str]]]] = {
    "met right-handed": lambda: met(RIGHT_HANDED),
    "met otherwise": lambda: met(OTHERWISE),
    "believed": lambda: believed(OTHERWISE),
    "sensed": sensed,
    "live": live,
    "followed": lambda: followed("reopened"),
    "followed, given up": lambda: followed("abandoned"),
    "learned": learned,
}


def written(name: str) -> str:
    return "\n".join([name, *PARTS[name]()]) + "\n"


LONG: Final = ("met right-handed", "met otherwise", "followed, given up", "learned")


@pytest.mark.parametrize(
    "name",
    [thorough(one) if one in LONG else one for one in PARTS],
)
def test_hands_are_read_as_they_were_read(name: str) -> None:
    assert written(name).strip() in [
        one.strip() for one in GOLDEN.read_text(encoding="utf-8").split("\n\n")
    ]


if __name__ == "__main__":
    GOLDEN.write_text("\n".join(map(written, PARTS)), encoding="utf-8")
