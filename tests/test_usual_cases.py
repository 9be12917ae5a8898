"""The usual last-slot cases: consistent data, and the usual hands prefer sequences in use."""

from __future__ import annotations

import pytest
from referee_seconds import Referee
from usual_cases import is_odd, load_cases

from livecube.edges.automaton_file import load_hands

CASES = load_cases()


def test_there_are_41_cases_each_with_two_to_seven_sequences_and_its_mirror_image() -> None:
    places = {case.place for case in CASES}
    assert len(CASES) == len(places) == 41
    assert {case.mirror for case in CASES} == places
    assert all(2 <= len(case.in_use) <= 7 for case in CASES)


@pytest.mark.thorough
def test_the_usual_hands_are_fastest_by_what_is_in_use() -> None:
    """Held with the slot at the front right; tests/checks/fit_hands.py judges much more."""
    referee, used, odd = Referee(load_hands().to_json()), 0, 0
    for case in CASES[::3]:
        ways = referee.fastest(case.positions()[0], "plain", ("green-red",), [("U", "F")], 0)
        first = min(ways or [], key=lambda way: (way.ms, way.moves))
        used += case.uses(first)
        odd += is_odd(first) and not case.uses(first)
    assert used >= 13
    assert odd == 0
