"""Sets of positions for drills: drawn for a technique, or for the cases that are due."""

from __future__ import annotations

import random
from collections import defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.drills.place import DrillPlace
    from livecube.drills.positions import Wish
    from livecube.drills.scheduling import DrillCard

__all__ = ["due_set", "generator"]


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
