"""Every number in reviews of virtual solves, computed again.

``python tests/checks/review_check.py --solves 500`` prints how many technique names were right and
which numbers were wrong. ``tests/referee_review.py`` computes each number: turns replayed and
merged, seconds by the printed table, rotations that an equally quick way avoids.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import beside  # noqa: F401 - before helpers are imported

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from referee_review import Given, complaints  # noqa: E402

from livecube.composition.assembly import load_advisor, set_level  # noqa: E402 - as numba wants it
from livecube.composition.reviewing import chances_of  # noqa: E402
from livecube.cube.position import SOLVED, apply_turns  # noqa: E402
from livecube.edges.automaton_file import load_hands  # noqa: E402
from livecube.edges.holding_file import holding_model  # noqa: E402
from livecube.holding.inference import read_solve  # noqa: E402
from livecube.holding.observations import solves_in  # noqa: E402
from livecube.holding.written import write_solve  # noqa: E402
from livecube.review.making import review_solve  # noqa: E402
from livecube.review.text import review_json  # noqa: E402
from livecube.stages.tracker import Tracker  # noqa: E402
from livecube.virtual.session import session  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.advice.advisor import Advisor
    from livecube.holding.observations import SolveTurns
    from livecube.review.reviewed import Review
    from livecube.virtual.records import VirtualSolve

MODEL = holding_model()


@dataclass
class Figures:
    pairs: int = 0
    named_right: int = 0
    alternatives: int = 0
    rotations: int = 0
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
    told = json.loads(json.dumps(review_json(review)))
    ways = [row for stage in told["stages"] for row in stage["alternatives"]]
    figures.alternatives += len(ways) + len(told["openings"])
    figures.rotations += sum(one["spare"]["rotations"] for one in told["stages"] if one["spare"])
    found = [*complaints(told, given_of(done, of, review)), *_wrong_chances(review)]
    figures.wrong += [f"seed {seed}: {complaint}" for complaint in found]


def given_of(done: VirtualSolve, of: SolveTurns, review: Review) -> Given:
    """The referee's knowledge of a solve."""
    return Given(
        done.scramble,
        of.part.turns,
        of.part.times,
        " ".join(map(str, review.written.before)),
        [(" ".join(str(m.move) for m in s.moves), s.confidence) for s in review.written.stages],
    )


def _wrong_chances(review: Review) -> Iterator[str]:
    """A slower way is not a chance, unless it was taken."""
    for chance in chances_of(review):
        if chance.saved_ms < 0 and not chance.taken:
            yield f"{chance.technique} {chance.slot} is a chance and saves {chance.saved_ms} ms"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solves", type=int, default=500)
    given = parser.parse_args()
    advisor, figures = bold_advisor(), Figures()
    for seed in range(given.solves):
        check(seed, advisor, figures)
    share = 100 * figures.named_right / figures.pairs
    print(f"{given.solves} solves, {figures.pairs} pairs, {share:.2f} % named right")
    print(f"{figures.alternatives} other ways, {figures.rotations} rotations counted")
    print(f"{len(figures.wrong)} numbers wrong", *figures.wrong[:20], sep="\n")


if __name__ == "__main__":
    main()
