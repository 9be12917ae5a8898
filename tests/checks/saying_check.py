"""When hints are said in virtual solves, how long they stand, and the rules that silence them.

``python tests/checks/saying_check.py --solves 100`` follows that many solves, of each of several
virtual solvers in turn, at each level, and prints

- *kept four*: hints said while four slots are kept (must be 0);
- *gone*: hints withdrawn less than 1.0 s after they were said, their pair not in (at most 10 %);
- *a pair*: hints for one pair, at the 95th percentile (at most 2);
- *stands*: of the pairs whose first turn comes at least 0.4 s after the cross or the pair before
  was done, those with a hint standing at that turn (at least 95 %; level calm only);
- the rules that silenced hints, and how often.

It ends with status 1 if level calm misses one of these.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.settings import LEVEL_NAMES
from livecube.advice.speaker import Adjusted, Repair, Spoken, Taken, Withdrawn
from livecube.composition.assembly import (
    load_advisor,
    load_holdings,
    set_level,
)
from livecube.composition.pipeline import Pipeline
from livecube.stages.progress import StageDone, Turned
from livecube.stages.tracker import Tracker
from livecube.virtual.habits import (
    LEFT_HANDED,
    OTHERWISE,
    RIGHT_HANDED,
    SHORT_SIGHTED,
    UNPLANNED,
)
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from livecube.advice.advisor import Advisor
    from livecube.advice.speaker import Happening
    from livecube.events import CubeEvent
    from livecube.virtual.habits import Habits

FAST = replace(RIGHT_HANDED, name="fast", turn_s=0.09, pair_pause_s=0.2, p_longer_pair=0.1)
SOLVERS = (RIGHT_HANDED, UNPLANNED, LEFT_HANDED, OTHERWISE, SHORT_SIGHTED, FAST)
SLOTS = 4
SOON_S = 1.0
LOOKED_S = 0.4


@dataclass(slots=True)
class Tally:
    """Counts at one level."""

    hints: int = 0
    kept_four: int = 0
    gone: int = 0
    a_pair: list[int] = field(default_factory=list)
    stood: list[bool] = field(default_factory=list)
    kinds: Counter[str] = field(default_factory=Counter)
    silences: Counter[str] = field(default_factory=Counter)

    def add(self, told: Iterable[Happening]) -> None:
        """Count the happenings of one log."""
        hint: Spoken | None = None
        kept: tuple[str, ...] = ()
        began: float | None = None
        """When the stage before was done; None after the first turn of the next."""
        since = 0
        """Hints since then."""
        for happening in told:
            match happening:
                case Turned():
                    if began is not None and happening.t - began >= LOOKED_S:
                        self.stood.append(hint is not None)
                    began = None
                    kept = happening.kept
                case StageDone(split=split) if split.stage in ("cross", "pair"):
                    if split.stage == "pair" and not split.shared:
                        self.a_pair.append(since)
                    began = None if len(kept) == SLOTS else happening.t
                    since = 0
                case Spoken(inspection=False):
                    hint, since = happening, since + 1
                    self.hints += 1
                    self.kept_four += len(kept) == SLOTS
                case Spoken():
                    hint = None
                case Withdrawn() if hint is not None:
                    self.gone += happening.t - hint.t < SOON_S
                    hint = None
                case Taken():
                    hint = None
            if isinstance(happening, Spoken | Adjusted | Taken | Withdrawn | Repair):
                self.kinds[type(happening).__name__.lower()] += 1

    @property
    def misses(self) -> list[str]:
        """The targets that level calm misses."""
        wanted = {
            "kept four": self.kept_four == 0,
            "gone": self.gone <= 0.1 * self.hints,
            "a pair": float(np.percentile(self.a_pair or [0], 95)) <= 2,
            "stands": sum(self.stood) >= 0.95 * len(self.stood),
        }
        return [name for name, holds in wanted.items() if not holds]

    def line(self, level: str) -> str:
        """One line of figures."""
        gone = 100 * self.gone / max(1, self.hints)
        stands = 100 * sum(self.stood) / max(1, len(self.stood))
        most = float(np.percentile(self.a_pair or [0], 95))
        return (
            f"{level:<6}{self.hints} hints, {len(self.a_pair)} pairs "
            f"  kept four {self.kept_four}   gone {gone:.1f} %   a pair {most:.0f}"
            f"   stands {stands:.1f} % of {len(self.stood)}"
        )


def told_by(pipeline: Pipeline, events: Iterable[CubeEvent]) -> Iterator[Happening]:
    """All happenings of a log; openings, which take long, are not answered."""
    for event in events:
        while (due := pipeline.due) is not None and due <= event.t:
            yield from pipeline.wake()
        yield from pipeline.feed(event)
    yield from pipeline.finish()


def tally(advisor: Advisor, solver: Habits, solves: int, seed: int, into: Tally) -> None:
    """Follow a log of one solver's solves."""
    pipeline = Pipeline(Tracker(), lambda: 0.0)
    pipeline.advisor, pipeline.holdings = advisor, load_holdings()
    into.add(told_by(pipeline, session(seed, solves, solver).events(marks=False)))
    into.silences += pipeline.silences


def main() -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--solves", type=int, default=50, help="at each level")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    advisor = load_advisor()
    misses: list[str] = []
    for level in LEVEL_NAMES:
        set_level(advisor, level)
        seen = Tally()
        for number, solver in enumerate(SOLVERS):
            count = len(range(number, asked.solves, len(SOLVERS)))
            tally(advisor, solver, count, asked.seed + number, seen)
        print(seen.line(level))
        rules = ", ".join(f"{rule} {n}" for rule, n in sorted(seen.silences.items())) or "none"
        print(f"      {', '.join(f'{kind} {n}' for kind, n in sorted(seen.kinds.items()))}")
        print(f"      silenced by rules: {rules}")
        if level == LEVEL_NAMES[0]:
            misses = seen.misses
    print(f"misses: {', '.join(misses)}" if misses else "all targets met")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
