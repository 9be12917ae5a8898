"""How often the first advice is the fastest for a person's true hands.

``python tests/checks/first_advice_check.py`` draws persons whose true prices are known
(``tests/drawn_persons.py``), learns their hands from some solves with stated holdings, and asks at
beginnings of pairs of other virtual solves for the quickest next pair, by any technique that needs
no more than the position. What is advised by the prices in use, and by the usual ones, is priced by
the true ones: *loss* is the seconds by which it is slower than what the true prices would advise.
The true prices of who has practised triggers are those with the triggers (``--bare``: those of the
turns alone, which nobody's hands have).
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from itertools import islice
from typing import TYPE_CHECKING, Final

import beside  # noqa: F401 - before helpers are imported
import numpy as np

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from drawn_persons import (  # noqa: E402 - as numba wants
    draw_hands,
    solvers,
    stated,
    timed,
    true_automaton,
    walks,
)

from livecube.cube.position import SOLVED, apply_turns  # noqa: E402
from livecube.edges.automaton_file import load_hands  # noqa: E402
from livecube.edges.cache import forget_search, load_search  # noqa: E402
from livecube.hands.automaton import NEVER  # noqa: E402
from livecube.hands.kinship import Kinship  # noqa: E402
from livecube.hands.own_hands import learn_hands  # noqa: E402
from livecube.hands.own_table import own_automaton  # noqa: E402
from livecube.search.answers import Answers  # noqa: E402
from livecube.search.book import ceiling_ms, usual_book  # noqa: E402
from livecube.search.hand_arrays import UPRIGHT  # noqa: E402
from livecube.search.situation import Situation  # noqa: E402
from livecube.search.task import FASTEST_MS, TURNED_BACK, Task  # noqa: E402
from livecube.search.ways import FastestSearch  # noqa: E402
from livecube.techniques.base import traits  # noqa: E402
from livecube.techniques.registry import TECHNIQUES  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Sequence

    from drawn_persons import Walk

    from livecube.hands.automaton import Automaton
    from livecube.search.task import Written

KINDS: Final = ("ordinary", "ordinary", "triggers", "ordinary", "ordinary", "fatigue")
NEAR_MS: Final = 20
SLOWER_MS: Final = 7


def beginnings(solves: Sequence[Walk], count: int, rng: np.random.Generator) -> list[Situation]:
    """Positions at which a pair begins with the cross aligned, one of each solve."""
    found: list[Situation] = []
    for walk in solves:
        done = walk.of
        ends = [one.end_turn for one in done.stages if one.stage in ("cross", "pair")]
        line = int(rng.choice(ends)) + 1 - done.first_line
        turned = done.start_turn > done.first_line
        turns = [] if turned else [*done.scramble]
        turns += [report.turn for report in done.turns[:line]]
        situation = Situation.of(apply_turns(SOLVED, turns), done.cross)
        if situation.offset == 0 and situation.free:
            found.append(situation)
        if len(found) == count:
            break
    return found


def quickest(answers: Answers, situation: Situation) -> Written:
    """The quickest way to a next pair, from the best front."""
    best: Written | None = None
    for technique in TECHNIQUES:
        if traits(technique).is_yardstick or not traits(technique).sees_only_state:
            continue
        for chance in technique.chances(situation):
            if chance.then:
                continue
            for way in answers.ways(situation, [chance.task], UPRIGHT, however_dear=False)[:1]:
                if best is None or way.ms < best.ms:
                    best = way
    assert best is not None  # a plain pair is always possible
    return best


def price_ms(answers: Answers, way: Written) -> int:
    """A way by the prices of these answers, until the cross is down again."""
    moves = answers.moves(way.tokens)
    return answers.automaton.sequence_ms(moves) + int(answers.hands.finish[way.end])


def slower(usual: Automaton) -> Automaton:
    """Hands that are slower at every move: what bounds the usual ones bounds these, too."""
    table = np.where(usual.seconds_ms < NEVER, usual.seconds_ms + SLOWER_MS, NEVER)
    return usual.priced(table.astype(np.int32), usual.single_rotation_ms, usual.looking)


def answers_of(automaton: Automaton, search: FastestSearch) -> Answers:
    own = FastestSearch(lambda: search.tables, automaton)
    return Answers(automaton, usual_book(automaton), own)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--persons", type=int, default=8)
    parser.add_argument("--after", type=int, default=50, help="solves to learn from")
    parser.add_argument("--beginnings", type=int, default=40, help="for each person")
    parser.add_argument("--solvers", type=int, default=4, help="virtual solvers who solve for them")
    parser.add_argument("--seed", type=int, default=9)
    parser.add_argument(
        "--slower",
        action="store_true",
        help="persons a little slower at every move: quick, as the usual bounds hold for them",
    )
    parser.add_argument("--bare", action="store_true", help="judge without practised triggers")
    given = parser.parse_args()
    losses: dict[str, list[int]] = defaultdict(list)
    for number, solver in enumerate(islice(solvers(), given.solvers)):
        automaton = load_hands("left" if solver.left_handed else "right")
        search = load_search(automaton)
        by_usual = answers_of(automaton, search)
        every = walks(solver, automaton, given.after + 2 * given.beginnings)
        for person in range(number, given.persons, given.solvers):
            rng = np.random.default_rng([given.seed, person])
            if given.slower:
                true = slower(automaton)
                hands = draw_hands(rng, true, "near")
            else:
                hands = draw_hands(rng, automaton, KINDS[person % len(KINDS)])
                true = true_automaton(hands, automaton, with_triggers=not given.bare)
            solves = timed(hands, every[: given.after], rng)
            own = learn_hands(Kinship(automaton), [stated(one) for one in solves])
            used = own_automaton(own, None, automaton)
            by_true = answers_of(true, search if given.slower else load_search(true))
            by_own = by_usual if used is automaton else answers_of(used, load_search(used))
            of_all, highest = len(losses["own"]), ceiling_ms(Task(0, tail=TURNED_BACK), true)
            assert highest is not None
            for situation in beginnings(every[given.after :], given.beginnings, rng):
                best = quickest(by_true, situation)
                assert best.ms == price_ms(by_true, best)
                for name, by in (("own", by_own), ("usual", by_usual)):
                    took = price_ms(by_true, quickest(by, situation))
                    # A keyhole near the ceiling may be known to one of the tables only.
                    assert took >= min(best.ms, highest - FASTEST_MS), "the search is exact"
                    losses[name].append(max(took - best.ms, 0))
            near = 100 * np.mean(np.array(losses["own"][of_all:]) <= NEAR_MS)
            kept = automaton.seconds_ms < NEVER
            tempo = float(
                true.seconds_ms[: len(kept)][kept].mean() / automaton.seconds_ms[kept].mean()
            )
            print(f"{hands.kind}, tempo {tempo:.2f}: {near:.1f} %", flush=True)
            shipped = {load_hands(hand).fingerprint for hand in ("left", "right")}
            for one in {true.fingerprint, used.fingerprint} - shipped:
                forget_search(one)  # 50 MB each
    for name, those in losses.items():
        near = 100 * np.mean(np.array(those) <= NEAR_MS)
        print(
            f"{name} prices: {near:.1f} % of {len(those)} first advices are the fastest or within "
            f"{NEAR_MS / 1000:.2f} s of it; lost on average {np.mean(those) / 1000:.3f} s, "
            f"95th percentile {np.percentile(those, 95) / 1000:.3f} s"
        )


if __name__ == "__main__":
    main()
