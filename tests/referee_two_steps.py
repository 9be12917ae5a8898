"""The referee on techniques in two parts: the first, then another technique from its end."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from referee import LIMITS, TECHNIQUES, Answer, Reach
from referee_accepts import accepted
from referee_cube import OPPOSITE, View
from referee_search import canonical

if TYPE_CHECKING:
    from collections.abc import Iterator

    from referee import Answers, Question

__all__ = ["GOES_ON", "answers_in_two", "does_both", "merges", "played"]

GOES_ON: Final = {
    "keyhole-chain": ("keyhole-corner", "keyhole-edge", "keyhole-flip"),
    "pseudo-x-cross": ("pseudo-pair",),
}
"""The second techniques of those in two parts; one for a single slot fills the last slot."""


def played(view: View, turns: tuple[str, ...]) -> View:
    """The position after some turns."""
    return View(View.played(view.where, turns), view.down)


def merges(turns: tuple[str, ...]) -> bool:
    """Whether two turns of one face have at most one of the opposite face between them."""
    faces = [turn[0] for turn in turns]
    return any(
        face == faces[i - 1] or (i > 1 and face == faces[i - 2] == OPPOSITE[faces[i - 1]])
        for i, face in enumerate(faces)
        if i
    )


def _seconds(then: View, technique: str, slots: tuple[str, ...]) -> Iterator[tuple[str, Question]]:
    """The questions of the second techniques."""
    for name in GOES_ON[technique]:
        questions = TECHNIQUES[name](then)
        for target in (slots, slots[-1:]):
            if target in questions:
                question = questions[target]
                if technique == "keyhole-chain" and question.doors is not None:
                    question = replace(question, doors=question.doors - {0})
                if question.doors is None or question.doors:
                    yield name, question


def does_both(view: View, technique: str, slots: tuple[str, ...], turns: tuple[str, ...]) -> bool:
    """Whether turns do the first part and then the second, of any length."""
    question = TECHNIQUES[technique](view).get(slots)
    return question is not None and any(
        accepted(view, question, turns[:cut])
        and any(
            accepted(then, second, turns[cut:]) for _, second in _seconds(then, technique, slots)
        )
        for cut in range(1, len(turns))
        for then in (played(view, turns[:cut]),)
    )


def answers_in_two(view: View, technique: str) -> Answers:
    """For each target the shortest whole sequences among those with a shortest first part.

    Each part by itself is a shortest one, and no turns merge where the parts meet. A target without
    a second part is left out.
    """
    result: Answers = {}
    for slots, question in TECHNIQUES[technique](view).items():
        first = question.answer(view, Reach(LIMITS[technique], 0))
        answer = _carried_on(view, technique, slots, first)
        if answer is not None:
            result[slots] = answer
    return result


def _carried_on(view: View, technique: str, slots: tuple[str, ...], first: Answer) -> Answer | None:
    unknown, wholes = first.length is None, set[tuple[str, ...]]()
    for turns in (tuple(text.split()) for text in first.sequences):
        then = played(view, turns)
        for name, question in _seconds(then, technique, slots):
            second = question.answer(then, Reach(LIMITS[name], 0))
            unknown |= second.length is None
            wholes |= {turns + tuple(text.split()) for text in second.sequences}
    apart = [turns for turns in wholes if not merges(turns)]
    if apart:  # an unknown second part is longer than all of these
        shortest = min(map(len, apart))
        return Answer(shortest, frozenset(canonical(t) for t in apart if len(t) == shortest))
    return Answer(None, frozenset()) if unknown else None
