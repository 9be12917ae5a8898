"""Reviews of virtual solves against the virtual solver's own cube and truth.

``python tests/checks/review_check.py --solves 500`` prints how many technique names were right, and
whether every alternative does what it says.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from livecube.composition.assembly import load_advisor, set_level  # noqa: E402 - as numba wants it
from livecube.cube.holding import fixed_turns, parse_colour  # noqa: E402
from livecube.cube.position import (  # noqa: E402
    SOLVED,
    apply_turns,
    htm,
)
from livecube.edges.automaton_file import load_hands  # noqa: E402
from livecube.edges.holding_file import shipped_counts  # noqa: E402
from livecube.holding.inference import HoldingModel, read_solve  # noqa: E402
from livecube.holding.observations import solves_in  # noqa: E402
from livecube.holding.written import write_solve  # noqa: E402
from livecube.review.making import review_solve  # noqa: E402
from livecube.stages.tracker import Tracker  # noqa: E402
from livecube.virtual.looks import looks_after, whole_line  # noqa: E402
from livecube.virtual.session import session  # noqa: E402

if TYPE_CHECKING:
    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.holding.observations import SolveTurns
    from livecube.review.values import Review
    from livecube.virtual.records import VirtualSolve

MODEL = HoldingModel.of(shipped_counts())


@dataclass
class Figures:
    pairs: int = 0
    named_right: int = 0
    alternatives: int = 0
    wrong: list[str] = field(default_factory=list)


@cache
def bold_advisor() -> Advisor:
    advisor = load_advisor()
    set_level(advisor, "bold")
    return advisor


@lru_cache(maxsize=20)  # tests look at the same ones again
def one_review(seed: int, advisor: Advisor) -> tuple[VirtualSolve, SolveTurns, Review]:
    """A virtual solve that begins in a given position, and its review."""
    virtual = session(seed, 1, on_cube=False)
    start = apply_turns(SOLVED, virtual.scramble).tobytes()
    (of,) = solves_in(Tracker(start).feed_all(virtual.events()))
    written = write_solve(of, read_solve(of.part, MODEL))
    return virtual.solves[0], of, review_solve(written, start, advisor, load_hands())


def check(seed: int, advisor: Advisor, figures: Figures) -> None:
    done, of, review = one_review(seed, advisor)
    true = {(s.slots, s.end_turn): s.technique for s in done.stages if s.stage == "pair"}
    for stage in review.stages:
        if stage.split.stage == "pair":
            figures.pairs += 1
            key = (stage.split.slots, stage.split.end_turn)
            figures.named_right += key in true and true[key] == stage.split.technique
    before = 0
    for stage in review.stages:
        for way in (*stage.alternatives, *stage.chances):
            figures.alternatives += 1
            made = [*done.scramble, *of.part.turns[: before + way.after]]
            complaint = wrong_with(way.row, made, review)
            if complaint:
                figures.wrong.append(f"seed {seed}, {way.row.technique}: {complaint}")
        before = max(before, (stage.split.end_turn or 0) - of.first_line + 1)
    for opening in review.openings:
        figures.alternatives += 1
        complaint = wrong_with(opening.row, done.scramble, review)
        if complaint:
            figures.wrong.append(f"seed {seed}, opening {opening.row.technique}: {complaint}")


def wrong_with(row: Opportunity, made: list[int], review: Review) -> str:
    """What a row does not do although it says so; judged by the virtual solver's cube."""
    cross = parse_colour(review.written.of.solve.cross or "")
    turns = list(row.turns_fixed)
    if fixed_turns(row.moves, row.holding)[0] != turns and htm(turns) != row.turns:
        return "its moves are not its turns"
    look = looks_after(made)[-1]
    now, then = whole_line(0, look, cross), whole_line(1, looks_after(turns, look)[-1], cross)
    if then is None or then.offset:
        return "the cross is not whole and aligned"
    solved = now.corners & now.edges if now else frozenset()
    missing = (solved | set(row.slots)) - (then.corners & then.edges)
    return f"not solved then: {', '.join(sorted(missing))}" if missing else ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solves", type=int, default=500)
    given = parser.parse_args()
    advisor, figures = bold_advisor(), Figures()
    for seed in range(given.solves):
        check(seed, advisor, figures)
    share = 100 * figures.named_right / figures.pairs
    print(f"{given.solves} solves, {figures.pairs} pairs, {share:.2f} % named right")
    print(f"{figures.alternatives} alternatives, {len(figures.wrong)} wrong", *figures.wrong[:20])


if __name__ == "__main__":
    main()
