"""What lessons claim of positions and moves, and whether it holds on the cube. Pure.

A claim is one of a few phrases, listed in :data:`PHRASES`. Each gives the words for the student and
the fact to compare with, so that what is read is what was checked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.advice.words import edge_is_good
from livecube.cube.holding import fixed_turns
from livecube.cube.position import apply_turns, htm, in_one_order
from livecube.drills.judging import drill_names
from livecube.drills.place import pieces_words
from livecube.errors import LessonError
from livecube.lessons.course import lesson_place
from livecube.lessons.lesson import Show, Try
from livecube.review.trying import OneTry, Place
from livecube.search.situation import DOWN_ROTATIONS, Situation, kept, slot_bits, turn_map

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Advice, Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.lessons.lesson import Claim, Lesson

__all__ = ["PHRASES", "check_lesson", "claims_sentence", "words_of"]

_SAME_S: Final = 0.005
"""Prices that differ by less count as equal; they are told to a hundredth of a second."""


@dataclass(frozen=True)
class _Facts:
    """Moves from a position, and the facts about them."""

    advisor: Advisor
    position: Array
    face: int
    holding: Holding
    turns: tuple[int, ...]
    """In the fixed frame."""

    @cached_property
    def before(self) -> Situation:
        return Situation.of(self.position, self.face)

    @cached_property
    def after(self) -> Situation:
        return Situation.of(apply_turns(self.position, self.turns), self.face)

    @cached_property
    def filled(self) -> tuple[int, ...]:
        """The slots that the moves fill."""
        return tuple(slot_bits(self.after.solved & ~self.before.solved))

    @cached_property
    def slots(self) -> tuple[str, ...]:
        return self.before.slot_names(self.filled)

    @cached_property
    def down(self) -> tuple[int, ...]:
        """The turns in the down frame."""
        there = turn_map(DOWN_ROTATIONS[self.face])
        return tuple(there[turn] for turn in self.turns)

    @cached_property
    def advice(self) -> Advice:
        """The fastest ways, which take a thousandth of the time of the shortest ones."""
        return self.advisor.advise(
            self.position, self.face, self.holding, shortest=False, plans=False
        )

    def rows(self) -> list[Opportunity]:
        """The fastest ways into the same slots, of each technique."""
        return [row for row in self.advice.opportunities if {*row.slots} == {*self.slots}]

    @cached_property
    def plain(self) -> Opportunity | None:
        """The quickest plain way into the same slots, looking included."""
        rows = [row for row in self.rows() if row.traits.is_plain]
        return min(rows, key=lambda row: row.total, default=None)

    @cached_property
    def own(self) -> Opportunity | None:
        """The advisor's cheapest row with these turns; None: it does not advise them."""
        same = in_one_order(self.turns)
        rows = [row for row in self.rows() if in_one_order(row.turns_fixed) == same]
        return min(rows, key=lambda row: row.total, default=None)

    @property
    def kept(self) -> tuple[int, int]:
        """Upper-layer pieces, except targets, that stay, and their number."""
        targets = self.filled
        return kept(self.before, self.down, targets)[0], kept(self.before, (), targets)[0]

    def names(self) -> tuple[str, ...]:
        """The techniques of the moves, as hindsight names them."""
        rows = self.rows() or [*self.advice.opportunities]
        place = Place(bytes(self.position.tolist()), self.face, rows[0])
        one = OneTry(place, place.position)
        for turn in self.turns:
            one.turn(0.0, turn)
        return drill_names(place, one.done()[0], self.turns)


# The phrases. Each function gets what its pattern found, and returns what is so instead of the
# claim; empty: the claim holds.


def _turns(facts: _Facts, number: str) -> str:
    return _compared(number, htm(facts.turns), "turns")


def _fills(facts: _Facts, slots: str) -> str:
    is_so = {*slots.split(" and ")} == {*facts.slots}
    return "" if is_so else f"the moves fill {' and '.join(facts.slots) or 'no slot'}"


def _opens_none(facts: _Facts) -> str:
    lost = facts.before.slot_names(slot_bits(facts.before.solved & ~facts.after.solved))
    if facts.after.offset != 0:
        return "the cross is not whole and aligned at the end"
    return f"{' and '.join(lost)} is open at the end" if lost else ""


def _by(facts: _Facts, technique: str) -> str:
    names = facts.names()
    if {*names} == {technique}:
        return ""
    own = [row for row in facts.rows() if row.technique == technique]
    same = in_one_order(facts.turns)
    if any(in_one_order(row.turns_fixed) == same for row in own):
        return ""
    return f"they are {' and '.join(names) or 'no technique'}"


def _keeps(facts: _Facts, number: str) -> str:
    stay, of = facts.kept
    return _compared(str(of) if number == "all" else number, stay, "upper-layer pieces that stay")


def _fastest(facts: _Facts) -> str:
    if facts.own is None:
        return "the advisor does not know these moves as a way into the slots that they fill"
    best = min(facts.rows(), key=lambda row: row.total)
    if best.total >= facts.own.total - _SAME_S:
        return ""
    return f"{best.technique} takes {best.total:.2f} s, and these moves {facts.own.total:.2f} s"


def _fewest(facts: _Facts) -> str:
    advice = facts.advisor.advise(facts.position, facts.face, facts.holding, plans=False)
    least = min((row.turns for row in advice.opportunities if row.slots == facts.slots), default=0)
    return "" if least >= htm(facts.turns) else f"there is a way of {least} turns"


def _plain_takes(facts: _Facts, number: str) -> str:
    if facts.plain is None:
        return "there is no plain way"
    return _compared(number, facts.plain.turns, "turns")


def _no_plain(facts: _Facts) -> str:
    return "" if facts.plain is None else "there is a plain way"


def _no_keyhole(facts: _Facts) -> str:
    found = {row.technique for row in facts.advice.opportunities if row.traits.is_keyhole}
    return f"there is {' and '.join(sorted(found))}" if found else ""


def _beats_plain(facts: _Facts) -> str:
    if facts.own is None or facts.plain is None:
        return "there is nothing to compare"
    if facts.own.total < facts.plain.total - _SAME_S:
        return ""
    return f"the plain way takes {facts.plain.total:.2f} s, these moves {facts.own.total:.2f} s"


def _loses_to_plain(facts: _Facts) -> str:
    if facts.own is None or facts.plain is None:
        return "there is nothing to compare"
    if facts.own.total > facts.plain.total + _SAME_S:
        return ""
    return f"the plain way takes {facts.plain.total:.2f} s, these moves {facts.own.total:.2f} s"


def _cross_takes(facts: _Facts, number: str) -> str:
    rows = facts.advisor.crosses(facts.position, facts.face, facts.holding)
    if not rows:
        return "the cross is whole"
    return _compared(number, min(rows, key=lambda row: row.total).turns, "turns")


def _ends_aligning(facts: _Facts) -> str:
    """Whether all but the last turn leave cross and filled slots solved, only aside."""
    *before, last = facts.turns
    aside = Situation.of(apply_turns(facts.position, before), facts.face)
    if last // 3 != facts.face or aside.offset in (None, 0):
        return "the last turn does not align the cross layer"
    return "" if aside.solved == facts.after.solved else "the slots are not filled before it"


def _pieces(facts: _Facts, slot: str, words: str) -> str:
    return _where(facts, facts.before, slot, words)


def _pieces_then(facts: _Facts, slot: str, words: str) -> str:
    return _where(facts, facts.after, slot, words)


def _where(facts: _Facts, at: Situation, slot: str, words: str) -> str:
    names = at.slot_names(range(4))
    if slot not in names:
        return f"there is no slot {slot}"
    found = pieces_words(at, names.index(slot), facts.holding)
    return "" if found == words else f"its pieces: {found}"


def _edge(facts: _Facts, slot: str, side: str) -> str:
    names = facts.before.slot_names(range(4))
    if slot not in names:
        return f"there is no slot {slot}"
    good = edge_is_good(facts.before, names.index(slot), facts.holding)
    found = "in the upper layer nowhere" if good is None else "good" if good else "bad"
    return "" if found == side else f"it is {found}"


def _leaves_made(facts: _Facts, slot: str) -> str:
    names = facts.before.slot_names(range(4))
    made = [name for at, name in enumerate(names) if facts.after.joined >> at & 1]
    return "" if slot in made else f"made afterwards: {' and '.join(made) or 'none'}"


def _compared(said: str, found: int, what: str) -> str:
    return "" if int(said.split()[0]) == found else f"{what}: {found}"


_SLOT: Final = r"([a-z]+-[a-z]+)"
PHRASES: Final[tuple[tuple[str, str, Callable[..., str]], ...]] = (
    (r"(\d+ turns?)", "{0}", _turns),
    (rf"fills ({_SLOT[1:-1]}(?: and {_SLOT[1:-1]})?)", "into {0}", _fills),
    (r"opens no slot", "cross and solved slots are whole again", _opens_none),
    (r"by ([a-z-]+)", "a {0}", _by),
    (r"keeps (\d+) upper-layer pieces?", "{0} upper-layer pieces stay", _keeps),
    (r"keeps (all) upper-layer pieces", "all other upper-layer pieces stay", _keeps),
    (r"fastest", "no other way there is quicker (predicted)", _fastest),
    (r"fewest turns", "no other way there has fewer turns", _fewest),
    (r"quickest plain way takes (\d+ turns?)", "the quickest plain way takes {0}", _plain_takes),
    (r"quickest cross takes (\d+ turns?)", "the quickest cross alone takes {0}", _cross_takes),
    (r"ends by aligning", "only the last turn aligns the cross layer", _ends_aligning),
    (r"no plain way", "there is no plain way", _no_plain),
    (r"no keyhole", "no keyhole is possible here", _no_keyhole),
    (r"quicker than plain", "quicker than any plain way (predicted)", _beats_plain),
    (r"slower than plain", "slower than the plain way (predicted)", _loses_to_plain),
    (rf"{_SLOT}: (corner .+)", "{0}: {1}", _pieces),
    (rf"then {_SLOT}: (corner .+)", "then {0}: {1}", _pieces_then),
    (rf"{_SLOT} edge is (good|bad)", "the edge of {0} is on its {1} side", _edge),
    (rf"leaves {_SLOT} made", "{0} is a made pair afterwards", _leaves_made),
)
"""Each phrase as a pattern, its words for the student, and its check."""


def words_of(claim: Claim) -> str | None:
    """The claim in words for the student; None: it is no phrase that can be checked."""
    for pattern, words, _ in PHRASES:
        if found := re.fullmatch(pattern, claim.words):
            return words.format(*found.groups())
    return None


def claims_sentence(claims: Sequence[Claim]) -> str:
    """All claims of a step as one sentence; empty without any."""
    told = [words for claim in claims if (words := words_of(claim)) is not None]
    text = "; ".join(told)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def check_lesson(
    lesson: Lesson,
    advisor: Advisor,
    file: str,
    step: Callable[[], None] = lambda: None,
) -> int:
    """Hold each claim of a lesson against the cube; returns their number.

    ``advisor`` has the level at which all techniques are told. ``step`` is called after each step
    of the lesson. Raises :class:`~livecube.errors.LessonError` with the line of the first claim
    that does not hold, and of the first *try* that cannot be done as asked.
    """
    number = 0
    for one in lesson.steps:
        if isinstance(one, Show | Try):
            facts = _facts(one, advisor, file)
            for claim in one.claims:
                _check(claim, facts, file)
                number += 1
        step()
    return number


def _facts(step: Show | Try, advisor: Advisor, file: str) -> _Facts:
    position = np.frombuffer(step.position, dtype=np.uint8)
    if isinstance(step, Show):
        turns, _ = fixed_turns(step.moves, step.holding)
        return _Facts(advisor, position, step.face, step.holding, tuple(turns))
    row = lesson_place(advisor, step, file).row
    return _Facts(advisor, position, step.face, row.holding, row.turns_fixed)


def _check(claim: Claim, facts: _Facts, file: str) -> None:
    for pattern, _, check in PHRASES:
        if found := re.fullmatch(pattern, claim.words):
            amiss = check(facts, *found.groups())
            if amiss:
                raise LessonError(file, claim.line, f"{claim.words!r} is not so; {amiss}")
            return
    known = ", ".join(pattern for pattern, _, _ in PHRASES)
    raise LessonError(
        file, claim.line, f"{claim.words!r} is no claim that can be checked; see the form ({known})"
    )
