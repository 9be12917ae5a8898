"""Sets of positions for drills: drawn for the cases that are due, or missed in kept solves."""

from __future__ import annotations

import random
from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np

from livecube.cube.holding import parse_colour
from livecube.drills.place import MissedPlace

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.drills.place import DrillPlace
    from livecube.drills.positions import Wish
    from livecube.drills.scheduling import DrillCard
    from livecube.review.reviewed import Review

__all__ = ["due_set", "generator", "missed_place"]


def generator(seed: int | None) -> random.Random:
    """The random generator that draws positions; ``seed``: None: an unpredictable one."""
    return random.SystemRandom() if seed is None else random.Random(seed)


def due_set(
    advisor: Advisor,
    cards: Sequence[DrillCard],
    wish: Callable[[str], Wish],
    rng: random.Random,
    known: Collection[str],
    step: Callable[[float], None],
    names: Collection[str],
) -> list[DrillPlace]:
    """A position for each card, if one was found, in the order of the cards.

    ``wish`` gives the wish for a technique, without the case. ``names``: the techniques that can
    be drilled; ``known``: keys of positions that are left out. ``step`` gets the share of the work
    that is done.
    """
    from livecube.drills.positions import drawn_cases

    asked: dict[str, list[str]] = defaultdict(list)
    for card in cards:
        asked[card.technique].append(card.case)
    found: dict[tuple[str, str], DrillPlace] = {}
    for number, (technique, cases) in enumerate(asked.items()):
        if technique not in names:
            continue  # a technique of a third party that is not installed any more
        for place in drawn_cases(
            advisor,
            wish(technique),
            cases,
            rng,
            known,
            lambda share, number=number: step((number + share) / len(asked)),  # type: ignore[misc]
        ):
            found[technique, str(place.case)] = place
    places = [found.get((card.technique, card.case)) for card in cards]
    return [place for place in places if place is not None]


def missed_place(review: Review, solve: int, pair: int, technique: str) -> MissedPlace | None:
    """The chance of a technique before a pair of a reviewed solve; None if the review has none."""
    from livecube.drills.judging import grade_of, points
    from livecube.drills.place import case_of
    from livecube.search.situation import Situation

    stage = review.stages[pair] if pair < len(review.stages) else None
    ways = [] if stage is None else [w for w in stage.chances if w.row.technique == technique]
    if stage is None or stage.began is None or not ways:
        return None
    way = ways[0]  # of all its slots the one that would have saved most
    face = parse_colour(review.written.of.solve.cross or "")
    situation = Situation.of(np.frombuffer(stage.began, dtype=np.uint8), face)
    grade = grade_of(points(situation, way.row))
    case = case_of(situation, way.row)
    return MissedPlace(stage.began, face, way.row, case, grade, None, solve, pair, way.saved_s)
