"""With the cross whole at offset 0 there are finitely many questions: this test asks some of them.

For every technique that is possible then and every key (:mod:`finite_keys`): all shortest
sequences in one of the four slots, which take turns with the keys, from an engine without the
pair table and from one with it. They are compared as whole lists with :mod:`finite_set`, which
meets in the middle. No length is cut off.

A key is S and the places of the two pieces for ``shortest`` and ``plain`` (asked at once, as the
program does) and, if they form a block, for ``made-pair``; for ``keyhole-corner`` S and the place
of the corner; for ``keyhole-edge`` and ``keyhole-flip`` S, the place of the edge and the other free
slots that are doors (only those with an unsolved corner are); for ``pseudo-pair`` S, the other slot
and the places of the two missing pieces. Keys are counted once for each technique, so a place with
several possible techniques counts several times.
"""

from __future__ import annotations

from collections import Counter
from itertools import islice
from typing import TYPE_CHECKING, Final

import pytest
import referee
from examples import part_of, thorough
from finite_check import (
    BY_ID,
    DOWN,
    LONGEST,
    all_engines,
    answers,
    compared,
    differences,
    number_of,
)
from finite_keys import keys
from finite_positions import letters, view_of

from livecube.cube.notation import parse_facelets
from livecube.search.situation import Situation

if TYPE_CHECKING:
    from livecube.search.engine import Engine

FIRST: Final = 5
EVERY: Final = 238
"""This first key and step reach all techniques, slots and numbers of kept slots."""


@pytest.fixture(scope="module")
def engines() -> dict[str, Engine]:
    return all_engines()


def test_every_key_is_there_once() -> None:
    # The cross and n kept slots leave 8 − n corner and 8 − n edge cubicles. Home is no question,
    # and a flipped edge is one of its own; a pseudo pair's good pieces take one place more each.
    # A block can stand in 14 places, of which each kept slot takes 2; any doors but none.
    every = list(keys())
    assert len(set(every)) == len(every)
    count = Counter((technique, len(key.kept)) for key in every for technique in key.techniques)
    for n, sets in enumerate((1, 3, 3, 1)):
        assert count["shortest", n] == count["plain", n] == sets * (6 * (8 - n) ** 2 - 1)
        assert count["made-pair", n] == sets * (14 - 2 * n)
        doors = 2 ** (3 - n) - 1
        assert count["keyhole-corner", n] == sets * (n < 3) * (3 * (8 - n) - 1)
        assert count["keyhole-edge", n] == sets * doors * (2 * (8 - n) - 2)
        assert count["keyhole-flip", n] == sets * doors
        strangers = (3 * (7 - n) - 1) * (2 * (7 - n) - 1)
        assert count["pseudo-pair", n] == sets * (3 - n) * strangers


@pytest.mark.thorough
def test_targets_of_every_key_are_those_of_the_referee() -> None:
    # All techniques at some keys: none is offered where it is not possible.
    for key in islice(keys(), 0, None, 29):
        view = view_of(key)
        situation = Situation.of(parse_facelets(letters(view)), DOWN)
        assert situation.offset == 0
        for technique in BY_ID.values():
            found = [situation.slot_names(chance.slots) for chance in technique.chances(situation)]
            expected = referee.TECHNIQUES[technique.id](view)
            assert sorted(found) == sorted(expected), (key, technique.id)


@pytest.mark.parametrize(
    "technique", [*part_of([one for one in LONGEST if one != "shortest"]), thorough("shortest")]
)
def test_comparison_sees_a_sequence_too_few_or_too_many(
    engines: dict[str, Engine], technique: str
) -> None:
    key = next(key for key in keys() if technique in key.techniques)
    expected = answers(key)
    assert not list(differences(engines, key, expected))
    for part in expected:
        last = part.pop()
        assert list(differences(engines, key, expected))
        part += [last, last]
        assert list(differences(engines, key, expected))
        part.pop()


@pytest.mark.thorough
def test_answers_at_offset_0_are_those_found_by_meeting_in_the_middle() -> None:
    """A part of the keys; ``checks/finite_check.py`` takes all of them."""
    some = list(keys())[FIRST::EVERY]
    wrong, found = compared(some)
    assert len(found) == sum(len(key.techniques) for key in some)
    assert not wrong, f"{len(wrong)}, the first: " + "\n".join(wrong[:5])
    assert {technique for technique, _ in found} == set(LONGEST)
    assert {number_of(key) % 4 for key in some} == {len(key.kept) for key in some} == {0, 1, 2, 3}
    for technique, part in found:
        assert len(part[0].split()) <= LONGEST[technique]
