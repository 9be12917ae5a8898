"""Whether a sequence keeps to a technique's constraint and reaches its goal, turn by turn."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from referee_cube import TURNS

if TYPE_CHECKING:
    from referee import Question
    from referee_cube import View

__all__ = ["accepted"]


def accepted(view: View, question: Question, turns: tuple[str, ...]) -> bool:
    """Whether turns answer a question, checked turn by turn; they need not be the fewest."""
    if question.doors is not None:
        return _accepted_by_door(view, question, turns)
    states = _played(view.now(question.pieces), turns)
    ends = [view.homes(question.pieces, offset) for offset in question.offsets]
    together = not question.glued or all(
        (old[-2] == new[-2]) == (old[-1] == new[-1]) for old, new in pairwise(states)
    )
    return (
        states[-1] in ends
        and not set(states[:-1]) & set(ends)
        and together
        and all(turn[0] in question.faces for turn in turns)
    )


def _accepted_by_door(view: View, question: Question, turns: tuple[str, ...]) -> bool:
    is_cross = [turn[0] == view.down for turn in turns]
    head = turns[: is_cross[:1] == [True]]
    has_tail = question.turned_back and is_cross[-1:] == [True]
    tail = turns[max(len(head), len(turns) - has_tail) :]
    middle = turns[len(head) : len(turns) - len(tail)]
    states = _played(view.now(question.pieces), turns)
    solved = [
        state in [view.homes(question.pieces, offset) for offset in range(4)]
        for state in states[len(head) : len(states) - len(tail)]
    ]
    return (
        (states[-1] == view.homes(question.pieces, 0) or not question.turned_back)
        and solved[-1]
        and not any(solved[:-1])
        and not any(turn[0] == view.down for turn in middle)
        and ["", "D", "D2", "D'"].index("".join(head).replace(view.down, "D"))
        in (question.doors or ())
    )


def _played(state: bytes, turns: tuple[str, ...]) -> list[bytes]:
    states = [state]
    for turn in turns:
        states.append(states[-1].translate(TURNS[turn]))
    return states
