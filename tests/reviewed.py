"""A review that several tests of a file look at is made once.

Import ``each_review_once`` into a file of tests whose reviews are only shown, kept or counted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest

from livecube.review import making

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from livecube.advice.advisor import Advisor
    from livecube.hands.automaton import Automaton
    from livecube.holding.written import WrittenSolve
    from livecube.review.reviewed import Review

__all__ = ["each_review_once"]


@pytest.fixture(scope="module", autouse=True)
def each_review_once() -> Iterator[None]:
    """Make the review of the same writing, at the same level and for the same hands, once."""
    known: dict[tuple[object, ...], Review] = {}
    real = making.review_solve

    def review_solve(
        written: WrittenSolve,
        start: bytes,
        advisor: Advisor,
        hands: Automaton,
        step: Callable[[int], None] = lambda stages: None,
    ) -> Review:
        theirs = advisor.answers.automaton.fingerprint
        key = repr(written), start, advisor.level, theirs, hands.fingerprint
        if key not in known:
            known[key] = real(written, start, advisor, hands, step)
        return known[key]

    # Callers import it when they need it, so this is what they get.
    with patch.object(making, "review_solve", review_solve):
        yield
