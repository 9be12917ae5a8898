"""Moments to try: one that was missed in a solve, or a position that somebody hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.cube.holding import COLOURS, parse_colour
from livecube.cube.position import TURN_BYTES, htm
from livecube.errors import UsageError
from livecube.review.making import pairs_on, splits_of, stage_span
from livecube.review.trying import Place

if TYPE_CHECKING:
    from collections.abc import Collection

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.review.reviewed import Alternative, Review

__all__ = ["Brought", "Moment", "brought", "missed_moment"]


@dataclass(frozen=True, slots=True)
class Moment(Place):
    """One moment of a solve at which a better way was open: ``row``."""

    pair: int
    """Counted from 1."""
    after: int
    """Turns of the pair made before the moment."""
    techniques: tuple[str, ...]
    """Techniques of the pairs that were done instead, in order, each only once."""
    slots: tuple[str, ...]
    turns: int
    """Turns from the moment to the end of those pairs (HTM)."""
    seconds: float
    """From the first of those turns to the last; measured."""


def missed_moment(review: Review, start: bytes, pair: int | None = None) -> Moment:
    """The costliest missed moment of a solve that began in ``start`` (20 facelets), or of a pair.

    ``pair`` counts from 1; None: all pairs. Raises :class:`~livecube.errors.UsageError` if there
    is no such pair, or no missed moment.
    """
    splits = splits_of(review.written)
    pairs = [i for i, split in enumerate(splits) if split.stage == "pair"]
    if pair is not None and pair > len(pairs):
        raise UsageError(f"the solve has {len(pairs)} pairs; there is no pair {pair}")
    asked = pairs if pair is None else pairs[pair - 1 : pair]
    ways = [(way.saved_s, i, way) for i in asked for way in review.stages[i].alternatives]
    if not ways:
        whose = "this solve" if pair is None else f"pair {pair}"
        raise UsageError(
            f"nothing better than what was done is known for {whose}; "
            "try another one, or --level bold"
        )
    _, number, way = max(ways, key=lambda one: one[:2])
    return _moment(review, start, number, pairs.index(number) + 1, way)


def _moment(review: Review, start: bytes, number: int, pair: int, way: Alternative) -> Moment:
    of, splits = review.written.of, splits_of(review.written)
    begun, _ = stage_span(splits, number, of.first_line)
    last = pairs_on(splits, number, len(way.row.slots))
    _, end = stage_span(splits, last, of.first_line)
    at = begun + way.after
    position = start
    for turn in of.part.turns[:at]:
        position = position.translate(TURN_BYTES[turn])
    done = splits[number : last + 1]
    return Moment(
        pair=pair,
        after=way.after,
        position=position,
        face=parse_colour(of.solve.cross or ""),
        row=way.row,
        techniques=tuple(dict.fromkeys(split.technique or "" for split in done)),
        slots=tuple(slot for split in done for slot in split.slots),
        turns=htm(of.part.turns[at:end]),
        seconds=of.part.times[end - 1] - of.part.times[at],
    )


@dataclass(frozen=True, slots=True)
class Brought(Place):
    """A position that somebody hands on; ``row`` is the way that the plan begins with."""

    ways: tuple[Opportunity, ...]
    """The quickest way of each technique, looking included, quickest first."""


def brought(
    advisor: Advisor,
    position: Array,
    face: int,
    holding: Holding | None = None,
    technique: str | None = None,
    slots: Collection[str] = (),
) -> Brought:
    """A position (shape (20,)) to be tried, and what could be done there for a cross.

    ``technique`` and ``slots``: what is asked, if anything is; then ``row`` is the quickest such
    way. Raises :class:`~livecube.errors.UsageError` if no such pair can be done there.
    """
    advice = advisor.advise(position, face, holding, shortest=False, above_level=False)
    quickest: dict[str, Opportunity] = {}
    for row in sorted(advice.opportunities, key=lambda row: row.total):
        if row.slots:
            quickest.setdefault(row.technique, row)
    asked = [
        row
        for row in advice.opportunities
        if row.slots and technique in (None, row.technique) and {*slots} in (set(), {*row.slots})
    ]
    if not asked:
        into = f" into {' and '.join(slots)}" if slots else ""
        raise UsageError(
            f"there is no {technique or 'pair'}{into} to do in this position for the "
            f"{COLOURS[face]} cross; name another --cross, or take --level bold"
        )
    first = min(asked, key=lambda row: row.total) if technique or slots else asked[0]
    return Brought(bytes(position.tolist()), face, first, tuple(quickest.values()))
