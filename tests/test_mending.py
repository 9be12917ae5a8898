"""Lost turns are worked out or marked; no wrong turn is reported without a mark."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any

import pytest
from examples import part_of
from hypothesis import given
from hypothesis import strategies as st
from lossy import protocols, run

from livecube.cube.geometry import NEXT_STICKER
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, TURN_BYTES, apply_turns, htm
from livecube.events import CubeEvent, Gap, LinkChange, Reset, State, Turn
from livecube.mending.mender import (
    LONGEST_LINK,
    Correction,
    Mender,
    _near,
    _turns_after,
    _turns_before,
    shortest_link,
)
from livecube.scrambling.states import random_state, seeded_draw
from livecube.stages.progress import Resynced
from livecube.stages.tracker import Tracker
from livecube.views.happenings import twisted_sentence

if TYPE_CHECKING:
    from collections.abc import Sequence

SCHEDULES = (2, 3, 7, 8)
"""Seeds; ``checks/lossy.py`` takes many more."""
turns = st.lists(st.integers(0, 17), max_size=LONGEST_LINK)


def standing(moves: str | Sequence[int] = ()) -> bytes:
    made = parse_turns(moves) if isinstance(moves, str) else moves
    return bytes(apply_turns(SOLVED, made).tolist())


@given(st.lists(st.integers(0, 17), max_size=25), turns)
def test_a_link_links_and_none_that_is_known_is_shorter(before: list[int], lost: list[int]) -> None:
    start, end = standing(before), standing([*before, *lost])
    link = shortest_link(start, end)
    assert link is not None
    assert len(link) <= htm(lost)
    assert standing([*before, *link]) == end
    back = shortest_link(end, start)
    assert back is not None
    assert len(back) == len(link)
    if link:
        assert shortest_link(start, end, len(link) - 1) is None


def test_what_may_follow_a_turn_and_what_may_come_before_it_is_one_relation() -> None:
    follow = {(one, other) for one in range(18) for other in _turns_after(one)}
    assert follow == {(one, other) for other in range(18) for one in _turns_before(other)}
    # Each of 18 turns is followed by those of other faces, two opposite faces in one order only.
    assert len(follow) == 18 * 15 - 3 * 9
    assert set(_turns_after(None)) == set(_turns_before(None)) == set(range(18))


def test_positions_at_each_distance_are_linked_by_as_many_turns() -> None:
    # The numbers of positions at each distance are 1, 18, 243, 3240 (OEIS A080601), and every link
    # has as many turns as the distance.
    level, seen = {standing()}, {standing()}
    for distance, count in enumerate((1, 18, 243, 3240)):
        assert len(level) == count
        links = [shortest_link(standing(), position) for position in level]
        assert {link and len(link) for link in links} == {distance or ()}
        level = {
            other
            for position in level
            for table in TURN_BYTES
            if (other := position.translate(table)) not in seen
        }
        seen |= level


def test_a_search_in_vain_looked_up_all_positions_within_four_turns(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every one of 46,740 ends was undone and looked up by itself; now only the likely ones are."""
    looked_up: list[bytes] = []

    class Watched(dict[bytes, tuple[int, ...]]):
        def get(self, key: bytes, default: Any = None) -> Any:
            looked_up.append(key)
            return super().get(key, default)

    near = Watched(_near())
    monkeypatch.setattr("livecube.mending.mender._near", lambda: near)
    rng = random.Random(20)
    far = [standing([rng.randrange(18) for _ in range(30)]) for _ in range(20)]
    assert [shortest_link(standing(), position) for position in far] == [None] * len(far)
    assert len(looked_up) <= 10 * len(far)


def fed(mender: Mender, *events: CubeEvent) -> list[CubeEvent]:
    return [told for event in events for told in mender.feed(event)]


def test_lost_turns_are_put_where_they_were_lost_between_the_times_around_them() -> None:
    mender = Mender()
    r, u, f = parse_turns("R U F")
    told = fed(
        mender,
        State(0.0, standing()),
        Turn(1.0, r, seq=1),
        Gap(1.0, 2),
        Turn(4.0, f, seq=4),
        State(4.1, standing("R U R F")),
    )
    assert told == [
        State(0.0, standing()),
        Turn(1.0, r, seq=1),
        Turn(2.0, u, inferred=True),
        Turn(3.0, r, inferred=True),
        Turn(4.0, f, seq=4),
        State(4.1, standing("R U R F")),
    ]


@pytest.mark.parametrize(
    ("lost", "end"),
    [(1, "R U R"), (30, "R U R2 F2 U' L2 B D' R2 F L U2 B"), (2, "R")],
    ids=["more than are missing", "too many", "undone again"],
)
def test_a_gap_that_cannot_be_mended_stays_one(lost: int, end: str) -> None:
    mender = Mender()
    r = parse_turns("R")[0]
    told = fed(
        mender, State(0.0, standing()), Turn(1.0, r), Gap(1.0, lost), State(2, standing(end))
    )
    assert told[2:] == [Gap(1.0, lost), State(2, standing(end))]


def test_positions_far_from_one_another_cost_20_ms_each_without_end() -> None:
    """After four long searches in a row only near positions are linked, until 48 turns came."""
    start, near, far = "R", "R U R' F2", "R U R' F2 D L"

    def jump(mender: Mender, moves: str) -> list[CubeEvent]:
        mender.feed(State(0.0, standing(start)))
        return fed(mender, Gap(1.0, None), State(2.0, standing(moves)))

    def inferred(told: list[CubeEvent]) -> int:
        return sum(isinstance(event, Turn) for event in told)

    mender, draw = Mender(), seeded_draw(7)
    assert inferred(jump(mender, far)) == 5
    for _ in range(2):
        position = random_state(draw)
        assert inferred(fed(mender, Gap(1.0, None), State(2.0, position))) == 0
    assert inferred(jump(mender, far)) == 5
    assert inferred(jump(mender, far)) == 0
    assert inferred(jump(mender, near)) == 3
    for more, found in ((47, 0), (2, 5), (2, 0)):
        fed(mender, *(Turn(3.0, turn % 18) for turn in range(more)))
        assert inferred(jump(mender, far)) == found


def test_a_silent_cube_is_not_waited_for_for_ever() -> None:
    mender = Mender()
    r, u = parse_turns("R U")
    assert fed(mender, State(0.0, standing()), Turn(1.0, r), Gap(1.0, None))[2:] == []
    assert not mender.waits
    late = [Turn(2.0, u, host=20.0), Turn(9.0, u, host=20.1), Turn(9.5, u, host=24.0)]
    assert fed(mender, *late[:2]) == []  # both arrive at once
    assert mender.waits
    assert mender.feed(late[2]) == [Gap(1.0, None), *late]
    assert mender.give_up() == []


def test_256_events_are_held_back_at_most() -> None:
    mender, u = Mender(), parse_turns("U")[0]
    fed(mender, State(0.0, standing()), Gap(1.0, None))
    late = [Turn(2.0, u)] * 257
    assert fed(mender, *late[1:]) == []
    assert mender.feed(late[0]) == [Gap(1.0, None), *late]


def test_a_position_that_contradicts_the_turns_says_since_when_nothing_is_sure() -> None:
    mender = Mender()
    r = parse_turns("R")[0]
    told = fed(mender, State(3.0, standing()), Turn(4.0, r), State(5.0, standing("U R")))
    assert told[2:] == [Gap(5.0, None, since=3.0), State(5.0, standing("U R"))]


def test_after_a_broken_connection_the_cube_says_what_was_turned_meanwhile() -> None:
    mender = Mender()
    r, u = parse_turns("R U")
    down, up = LinkChange(1.0, up=False), LinkChange(1.0, up=True)
    before: list[CubeEvent] = [State(0.0, standing()), Turn(1.0, r), down, up]
    assert fed(mender, *before, Turn(3.0, u), State(3.0, standing("R U"))) == [
        *before,
        Turn(3.0, u),
        State(3.0, standing("R U")),
    ]
    down, up = LinkChange(3.0, up=False), LinkChange(3.0, up=True)
    mended = fed(mender, down, up, State(5.0, standing("R U R")))
    assert mended[2:] == [Turn(4.0, r, inferred=True), State(5.0, standing("R U R"))]


def test_after_a_broken_connection_one_gap_is_marked_or_mended() -> None:
    """The gap is that of the turns that came first; behind other turns it is another one."""
    r, u, f = parse_turns("R U F")
    before: list[CubeEvent] = [State(0.0, standing()), Turn(1.0, r), LinkChange(2.0, up=True)]
    mender = Mender()
    told = fed(mender, *before, Gap(3.0, 1), Turn(5.0, f), State(5.0, standing("R U F")))
    assert told == [*before, Turn(3.5, u, inferred=True), Turn(5.0, f),
                    State(5.0, standing("R U F"))]  # fmt: skip
    mender, far = Mender(), State(5.0, random_state(seeded_draw(7)))
    assert fed(mender, *before, far) == [*before, Gap(2.0, None), far]
    mender = Mender()
    told = fed(mender, *before, Turn(3.0, u), Gap(3.5, 1), State(5.0, standing("R U F")))
    assert told[:6] == [*before, Gap(2.0, None), Turn(3.0, u), Gap(3.5, 1)]


def test_a_cube_that_neither_counts_nor_tells_its_position_may_have_been_turned_unheard() -> None:
    mender = Mender()
    r = parse_turns("R")[0]
    up = LinkChange(2.0, up=True)
    assert fed(mender, Turn(1.0, r), up) == [Turn(1.0, r), up, Gap(2.0, None)]
    counting = Mender()
    assert fed(counting, Turn(1.0, r, seq=1), up) == [Turn(1.0, r, seq=1), up]


def test_solved_now_ends_the_waiting() -> None:
    mender = Mender()
    told = fed(mender, State(0.0, standing("R")), Gap(1.0, 3), Reset(2.0))
    assert told[1:] == [Gap(1.0, 3), Reset(2.0)]


@pytest.mark.parametrize("protocol", part_of(protocols(), 3))
def test_no_split_is_wrong_in_silence_and_the_position_is_right_in_the_end(protocol: str) -> None:
    exact = 0
    for seed in SCHEDULES:
        outcome = run(seed, protocol)
        assert outcome.position_right, seed
        assert not outcome.wrong, seed
        exact += outcome.exact
    assert exact > len(SCHEDULES)


def test_after_solved_now_the_cube_is_believed_from_there_on() -> None:
    correction = Correction()
    r, u = parse_turns("R U")
    events: list[CubeEvent] = [
        State(0.0, standing("F D")),
        Turn(1.0, r),
        Reset(2.0),
        Turn(3.0, u),
        State(4.0, standing("F D R U")),
        Turn(5.0, r),
        State(6.0, standing("F D R U R")),
    ]
    told = [correction.correct(event) for event in events]
    assert told == [*events[:4], State(4.0, standing("U")), events[5], State(6.0, standing("U R"))]


def test_a_corner_that_was_twisted_by_hand_is_named() -> None:
    twisted = bytearray(standing())
    for corner, times in ((0, 1), (3, 2)):
        for _ in range(times):
            twisted[corner] = int(NEXT_STICKER[twisted[corner]])
    tracker = Tracker(bytes(twisted))
    tracker.feed(Turn(1.0, 9))
    tracker.feed(Turn(2.0, 11))
    resynced = next(p for p in tracker.feed(Reset(3.0)) if isinstance(p, Resynced))
    assert resynced.twisted == (0, 3)
    assert twisted_sentence(resynced) == (
        "Twisted by hand, not by turns: green-red-white and blue-red-white."
    )
    turned = Tracker(standing("R"))
    (jump,) = turned.feed(State(1.0, standing("U")))
    assert isinstance(jump, Resynced)
    assert jump.twisted == ()


def test_of_two_gaps_with_turns_between_them_neither_can_be_mended() -> None:
    r, u = parse_turns("R U")
    mender = Mender()
    fed(mender, State(0.0, standing()))
    assert fed(mender, Gap(1.0, 1), Turn(2.0, r)) == []
    assert fed(mender, Gap(3.0, 1)) == [Gap(1.0, 1), Turn(2.0, r), Gap(3.0, 1)]
    assert not mender.waits
    # The position does not determine the turns between; after it everything is certain again.
    assert fed(mender, State(4.0, standing("U R U")), Turn(5.0, u))[-1] == Turn(5.0, u)
