"""Positions for a drill: sampled, judged by the advisor, balanced over cases, sides and slots.

Small random steps break pairs and keep the cross (:mod:`livecube.advice.examples`); for techniques
of inspection some turns scatter the cross. A position is taken if the technique is the best choice
in the advisor's ranking, if hindsight recognises it in its shortest way, and if hindsight does not
take the plain way into the same slot for it. Otherwise a try could not be judged.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.advice.best_choice import against_plain, best_row, deciding_slots, is_best_choice
from livecube.advice.examples import broken_pairs, random_turns
from livecube.cube.geometry import EDGES, NEXT_STICKER, OPPOSITE, piece_faces
from livecube.cube.position import SOLVED, apply_turns
from livecube.drills.judging import done_as_asked, drill_names, grade_of, points
from livecube.drills.place import DrillPlace, case_of
from livecube.review.trying import OneTry
from livecube.search.situation import Situation, slot_bits
from livecube.stages.frame import FRAMES
from livecube.techniques.base import traits
from livecube.timing.results import to_the_millisecond

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Collection, Iterable, Iterator, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Advice, Opportunity
    from livecube.cube.geometry import Array
    from livecube.techniques.base import Chance, Technique

__all__ = ["Wish", "drawn_cases", "drawn_set", "sampled"]

_POOL: Final = 6
_POOL_OF_SLOW: Final = 2
"""Each position of a set is chosen from this many candidates."""
_PATIENCE: Final = 3
"""A pool may grow to this many times its size, until a candidate is for a slot asked least."""
_AS_GOOD_S: Final = 0.1
"""Predicted seconds that a solver does not notice. If another technique is this close, the
position has no clear answer."""
_BROKEN: Final = 3
"""At most this many slots are broken between one position and the next."""
_STEPS: Final = 3
"""They are broken by at most this many steps, of three to five turns each."""
_TRIED: Final = 4000
"""At most this many positions are tried for a set."""
_TRIED_IN_INSPECTION: Final = 120
"""The same for techniques of inspection, whose advice takes longer."""
_ASIDE: Final = 0.15
_ASIDE_FOR_KEYHOLES: Final = 0.6
"""Share of positions in which the cross layer is not aligned. If it is aligned, the plain way is
nearly always as good as a keyhole."""
_LEAST: Final = 3
_LEAST_IN_INSPECTION: Final = 4
"""Fewest turns of a way that is worth drilling."""
_SCATTERING: Final = (3, 4)
"""Turns that scatter the cross for techniques of inspection: fewest, most."""


@dataclass(frozen=True, slots=True)
class Wish:
    """The wished properties of a set."""

    technique: Technique
    count: int
    face: int = 0
    """The face of the cross."""
    grade: str | None = None
    """The wished grade; None: any."""
    slots: tuple[str, ...] = ()
    """Names of slots; empty: any."""

    def takes(self, place: DrillPlace) -> bool:
        """Whether a position has the wished slots and grade."""
        in_slots = not self.slots or set(place.row.slots) <= set(self.slots)
        return in_slots and self.grade in (None, place.grade)


def drawn_set(
    advisor: Advisor,
    wish: Wish,
    rng: random.Random,
    known: Collection[str] = (),
    step: Callable[[float], None] = lambda share: None,
) -> tuple[DrillPlace, ...]:
    """A set of different positions, in the order in which they are asked.

    Each is near the end of the one before, so that few turns set it up. Positions whose keys are
    ``known`` are left out, so that they do not come up again. The set may be smaller than wished,
    or empty, if too few positions were found. ``step`` gets the share of the work that is done.
    """
    drawn: list[DrillPlace] = []
    asked: Counter[str] = Counter()
    left = _Tries(wish)
    while len(drawn) < wish.count and left:
        keys = {*known, *(place.key for place in drawn)}
        pool: dict[str, DrillPlace] = {}
        for place in left.from_base(advisor, rng, _end(drawn), keys):
            pool.setdefault(place.key, place)
            if len(pool) >= left.pool and (
                len(pool) == _PATIENCE * left.pool or _has_least_asked(pool.values(), asked, wish)
            ):
                break
        if pool:
            chosen = min(pool.values(), key=lambda place: _how_often(place, asked))
            asked.update((*chosen.row.slots, str(chosen.case), chosen.case.side))
            drawn.append(chosen)
        step(max(left.share, len(drawn) / wish.count))
    return tuple(drawn)


def drawn_cases(
    advisor: Advisor,
    wish: Wish,
    cases: Sequence[str],
    rng: random.Random,
    known: Collection[str] = (),
    step: Callable[[float], None] = lambda share: None,
) -> tuple[DrillPlace, ...]:
    """A position for each of ``cases``, if one is found; otherwise like :func:`drawn_set`."""
    found: dict[str, DrillPlace] = {}
    left = _Tries(wish)
    while len(found) < len(cases) and left:
        for place in left.from_base(advisor, rng, _end([*found.values()]), known):
            if (case := str(place.case)) in cases and case not in found:
                found[case] = place
                break
        step(max(left.share, len(found) / len(cases)))
    return tuple(found.values())


class _Tries:
    """Counts the random positions that are tried for a set; false when none are left."""

    def __init__(self, wish: Wish) -> None:
        self._wish = wish
        its = traits(wish.technique)
        self._most = _TRIED_IN_INSPECTION if its.in_inspection else _TRIED
        self._tried = 0
        slow = its.in_inspection or its.begins_flipped
        self.pool = _POOL_OF_SLOW if slow else _POOL

    def __bool__(self) -> bool:
        return self._tried < self._most

    @property
    def share(self) -> float:
        """The share of positions that have been tried."""
        return self._tried / self._most

    def from_base(
        self, advisor: Advisor, rng: random.Random, base: Array, known: Collection[str]
    ) -> Iterator[DrillPlace]:
        """Positions as wished, near ``base`` and not ``known``."""
        while self:
            self._tried += 1
            place = sampled(advisor, self._wish.technique, self._wish.face, rng, base)
            if place is not None and place.key not in known and self._wish.takes(place):
                yield place


def _end(places: Sequence[DrillPlace]) -> Array:
    """The position after the last place is done as advised; solved without places."""
    if not places:
        return SOLVED
    position = np.frombuffer(places[-1].position, dtype=np.uint8)
    return apply_turns(position, places[-1].row.turns_fixed)


def _has_least_asked(pool: Iterable[DrillPlace], asked: Counter[str], wish: Wish) -> bool:
    """Whether a candidate of the pool is for a slot that was asked least so far."""
    slots = wish.slots or FRAMES[wish.face].slots
    fewest = min(asked[slot] for slot in slots)
    least = {slot for slot in slots if asked[slot] == fewest}
    return any(least & set(place.row.slots) for place in pool)


def _how_often(place: DrillPlace, asked: Counter[str]) -> tuple[int, int]:
    """Sort key: how often its slots were asked so far, then its case and its side."""
    slots, names = place.row.slots, (str(place.case), place.case.side)
    return sum(asked[slot] for slot in slots), sum(asked[name] for name in names)


def sampled(
    advisor: Advisor, technique: Technique, face: int, rng: random.Random, base: Array = SOLVED
) -> DrillPlace | None:
    """A random position near ``base``, which has a whole, aligned cross.

    None if the technique is not clearly the best choice there, or could not be judged.
    """
    position = _random_position(technique, face, rng, base)
    situation = Situation.of(position, face)
    chances = technique.chances(situation)
    if not chances or not _is_promising(advisor, technique, chances, position, face):
        return None
    slots = deciding_slots(technique, chances)
    advice = advisor.advise(position, face, plans=False, slots=slots)
    row = best_row(advice, technique.id)
    if row is None or row.turns < (_LEAST_IN_INSPECTION if row.traits.in_inspection else _LEAST):
        return None
    if len(row.slots) > 1 and situation.offset:
        return None
    margin = _margin(advice, row)
    if _is_close(margin) or not is_best_choice(advice, row):
        return None
    grade = grade_of(points(situation, row))
    place = DrillPlace(bytes(position.tolist()), face, row, case_of(situation, row), grade, margin)
    return place if _can_be_judged(place, advice) else None


def _random_position(technique: Technique, face: int, rng: random.Random, base: Array) -> Array:
    """A position some steps from a base, with a flipped edge if the technique needs one.

    With a flipped edge the cross layer is not aligned, and only one more slot is broken: the
    technique was the best choice in none of 10,000 positions with such an edge and the layer
    aligned, in 2 of 901 with two more slots broken, and in 40 of 1444 with one.
    """
    its = traits(technique)
    flips = its.begins_flipped
    slots = 1 if flips else rng.randint(1, _BROKEN)
    turns = broken_pairs(rng, slots, rng.randint(1, _STEPS))
    if its.in_inspection:
        turns += random_turns(rng, rng.randint(*_SCATTERING))
    elif flips or rng.random() < (_ASIDE_FOR_KEYHOLES if its.inserts_alone else _ASIDE):
        turns.append(15 + rng.randrange(3))
    position = apply_turns(base, Situation.of(base, face).fixed(turns))
    return _flipped(position, face, rng) if flips else position


def _flipped(position: Array, face: int, rng: random.Random) -> Array:
    """The position with the edge of a solved slot and an edge of the last layer flipped."""
    solved = slot_bits(Situation.of(position, face).solved)
    if not solved:
        return position
    (slot,) = _frame_slots(face, [rng.choice(solved)])
    last = next(p for p in EDGES if OPPOSITE[face] in piece_faces(p))
    edges = [FRAMES[face].edges[slot], last]
    flipped = position.copy()
    flipped[edges] = NEXT_STICKER[position[edges]]
    return flipped


def _frame_slots(face: int, slots: Sequence[int]) -> list[int]:
    """The frame's numbers for slots of a situation."""
    names = Situation.of(SOLVED, face).slot_names(slots)
    return [FRAMES[face].slots.index(name) for name in names]


def _is_promising(
    advisor: Advisor, technique: Technique, chances: Sequence[Chance], position: Array, face: int
) -> bool:
    """False if quick advice already rules the technique out."""
    its = traits(technique)
    if its.in_inspection or its.is_yardstick or any(chance.then for chance in chances):
        return True
    first = against_plain(advisor, technique, position, face)
    row = best_row(first, technique.id)
    return row is not None and is_best_choice(first, row) and not _is_close(_margin(first, row))


def _margin(advice: Advice, row: Opportunity) -> float | None:
    """Seconds by which the best other way of another technique is slower; None: there is none.

    The smaller of the differences with and without looking. For two slots, two plain pairs count as
    another way.
    """
    own = {one.turns_fixed for one in advice.opportunities if one.technique == row.technique}
    others = [
        (other.seconds, other.total)
        for other in advice.opportunities
        if other.fastest
        and other.technique != row.technique
        and len(other.slots) == len(row.slots)
        and other.turns_fixed not in own
    ]
    if len(row.slots) > 1 and (plain := row.plain) is not None:
        others.append((plain.seconds, plain.seconds + plain.looking))
    margins = [min(s - row.seconds, total - row.total) for s, total in others]
    return to_the_millisecond(min(margins)) if margins else None


def _is_close(margin: float | None) -> bool:
    """Whether another technique is as good."""
    return margin is not None and margin <= _AS_GOOD_S


def _can_be_judged(place: DrillPlace, advice: Advice) -> bool:
    row = place.row
    own = OneTry(place, place.position)
    over = [own.turn(0.0, turn) for turn in row.turns_fixed]
    if over != [*[False] * (len(over) - 1), True]:
        return False  # it does not fill the slots, or fills them before its end
    if not done_as_asked(place, own, own):
        return False  # it happens to fill another slot too
    if not row.traits.named_by_hindsight:
        return True
    names = drill_names(place, own.done()[0], own.turns)
    return names == (row.technique,) and not _plainly_the_same(place, advice, own)


def _plainly_the_same(place: DrillPlace, advice: Advice, own: OneTry) -> bool:
    """Whether the plain way into the same slot would count as the technique."""
    ways = (
        row for row in advice.opportunities if row.traits.is_plain and row.slots == place.row.slots
    )
    plain = min(ways, key=lambda row: (row.turns, row.seconds), default=None)
    if plain is None:
        return False
    one = OneTry(place, place.position)
    for turn in plain.turns_fixed:
        one.turn(0.0, turn)
    return done_as_asked(place, one, own)
