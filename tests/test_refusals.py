"""Why nothing is learned: each refusal in its words, from recordings and hearings made by hand."""

from __future__ import annotations

import random
from collections import Counter
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from livecube.cube.notation import parse_turns
from livecube.events import Packet
from livecube.learning.kinds import Kind
from livecube.learning.recording import Recording, Step
from livecube.learning.refusals import (
    _only_fell_asleep,
    ambiguous,
    explained,
    slip_text,
    too_few,
    undecided,
    unseen,
)
from livecube.learning.verdicts import Refused
from livecube.learning.verifying import Hearing, Otherwise
from livecube.profiles.fields import Field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.learning.verdicts import Why

QUARTERS = [turn for turn in range(18) if turn % 3 != 1]
NUMBER = Field(0, 8)


def packet(t: float, data: bytes, char: str = "a") -> Packet:
    return Packet(t, char, data)


def recording(
    sent: Sequence[tuple[str | Sequence[int] | None, Sequence[bytes]]], rest: Sequence[bytes] = ()
) -> Recording:
    """A recording of one packet a second."""
    steps, t = [], 0
    for asked, packets in sent:
        turns = parse_turns(asked) if isinstance(asked, str) else asked
        steps.append(Step(None if turns is None else tuple(turns), []))
        for data in packets:
            steps[-1].packets.append(packet(float(t := t + 1), data))
    return Recording([packet(0.0, data) for data in rest], steps)


def judged(
    hearing: Hearing | None = None,
    kind: Kind | None = None,
    codes: dict[int, int] | None = None,
    **told: Any,
) -> Any:
    """A candidate that counts its turns in the first byte."""
    layout: dict[str, Any] = {"counter": NUMBER, "numbers": 256, "wrap": None, "turns": None}
    layout |= {"plain": lambda data: data} | {key: told[key] for key in layout if key in told}
    return SimpleNamespace(
        kind=kind or Kind("a", 2), hearing=hearing or Hearing(10),
        candidate=SimpleNamespace(
            codes={1: 0, 2: 9} if codes is None else codes, layout=SimpleNamespace(**layout),
            wrap_seen=told.get("wrap_seen", True),
        ),
    )  # fmt: skip


def slip(step: int, asked: str, told: str) -> Otherwise:
    return Otherwise(step, tuple(parse_turns(asked)), tuple(parse_turns(told)))


# Before anything is looked for.


def test_each_quarter_turn_is_asked_for_three_times_and_the_end_is_free() -> None:
    steps: list[tuple[str | Sequence[int] | None, list[bytes]]] = []
    steps += [([turn], [b"xy"]) for turn in QUARTERS] * 3
    free = [(None, [b"xy"])]
    assert too_few(recording([*steps, *free])) is None
    assert too_few(recording(steps)) == Refused(
        "too few", "there is no free sequence that ends with the cube solved"
    )
    missing = too_few(recording([*steps[1:-1], *free]))
    seldom = (QUARTERS[0], QUARTERS[-1])
    assert missing == Refused(
        "too few", "each quarter turn has to be made 3 times or more; missing are U D'", seldom
    )


@pytest.mark.parametrize(
    ("heard", "apart", "reason"),
    [
        (30, 0, None),
        (29, 0, "too few packets came while the cube was turned; was it connected and awake?"),
        (29, 1, "packets came in 30 of 50 steps, but from 2 characteristics and from none of them "
         "in most steps; that takes a decoder in code"),
        (28, 1, "too few packets came while the cube was turned; was it connected and awake?"),
        (28, 2, "packets came in 30 of 50 steps, but from 2 characteristics and from none of them "
         "in most steps; that takes a decoder in code"),
    ],
)  # fmt: skip
def test_packets_of_one_characteristic_come_in_six_steps_of_ten(
    heard: int, apart: int, reason: str | None
) -> None:
    turns = [*QUARTERS * 4, 0, 0]
    found = recording([*(([turn], []) for turn in turns), (None, [])])
    chars = ["a"] * heard + ["b"] * apart
    for step, char in zip(found.steps, chars, strict=False):
        step.packets.append(packet(0.0, b"xy", char))
    refused = too_few(found)
    assert (refused and refused.reason) == reason
    why = "unknown" if "decoder" in str(reason) else "too few"
    assert refused is None or refused.why == why


def test_a_turn_is_decided_after_three_different_ones() -> None:
    others = [turn for turn in QUARTERS if turn not in (0, 3)]
    thrice = [turn for other in QUARTERS for turn in (other, 0)][:6]
    assert undecided(recording([(thrice, [])])) == tuple(QUARTERS[1:])
    assert undecided(recording([(thrice[:5], [])])) == tuple(QUARTERS)
    assert set(undecided(recording([([*thrice, *others], [])]))) == {*QUARTERS[1:]}
    twice = [turn for other in (6, 8, 6, 8) for turn in (other, 0)]
    assert 0 in undecided(recording([(twice, [])]))
    assert 0 not in undecided(recording([([*twice, 1, 0], [])]))


@pytest.mark.parametrize(
    ("starts", "fit"), [((8,), "a field matches"), ((8, 8), "a field matches"),
                        ((8, 16), "2 fields match"), ((8, None), "2 fields match")],
)  # fmt: skip
def test_fields_that_may_hold_the_turn_before_are_counted(
    starts: Sequence[int | None], fit: str
) -> None:
    lists = [
        start and SimpleNamespace(codes=SimpleNamespace(first=Field(start, 5))) for start in starts
    ]
    found = ambiguous([judged(turns=one) for one in lists], (0, 4))
    assert found == Refused(
        "ambiguous",
        f"{fit} the turns, but might hold the turn before each instead; to decide, make each of "
        "U L2 after 3 different turns",
        (0, 4),
    )


# A field was found.


def counting(numbers: Sequence[int]) -> Recording:
    return recording([((0,), [bytes([number, 0])]) for number in numbers])


def test_turns_without_a_code_are_asked_for_once_more() -> None:
    def silent(asked: str, codes: dict[int, int]) -> str | None:
        refused = unseen(judged(codes=codes, counter=None), [], recording([(asked, [])]))
        if refused is not None:
            named = refused.reason.removeprefix("the codes of ").split(" were")[0]
            assert refused.turns == tuple(parse_turns(named))
        return None if refused is None else refused.reason

    assert silent("U R U", {1: 0, 2: 9}) is None
    assert silent("U F R' F", {1: 0}) == (
        "the codes of F R' were not received in the steps that asked for them; make these turns "
        "once more"
    )
    assert silent("U R2", {1: 0}) is None  # half turns have no codes
    assert silent("U R2 F2", {1: 0, 2: 4}) is not None
    assert silent("U R2", {}) is None


@pytest.mark.parametrize(
    ("numbers", "told", "reason", "more"),
    [
        ([3, 4, 5], {}, None, 0),
        ([3, 4, 9], {"wrap_seen": False}, "the counter of turns went from 3 to 9, and was not seen "
         "to start again; make about 250 more turns", 250),
        ([3, 4, 9], {"wrap_seen": False, "counter": None}, None, 0),
        ([3, 9, 0], {"wrap": 10}, None, 0),
        ([3, 9, 0], {"wrap": None, "late": 20}, None, 0),
        ([3, 9, 0], {"wrap": 10, "late": 14}, None, 0),
        ([3, 9, 0], {"wrap": 10, "late": 15}, "the counter of turns started again only in a pause "
         "of 16 s: the cube may have been switched off; make about 247 more turns without a pause",
         247),
    ],
)  # fmt: skip
def test_a_counter_is_seen_to_start_again(
    numbers: list[int], told: dict[str, Any], reason: str | None, more: int
) -> None:
    found = counting(numbers)
    last = found.steps[-1].packets
    last[:] = [packet(one.t + told.get("late", 0), one.data) for one in last]
    other = judged(kind=Kind("b", 2))
    refused = unseen(judged(**told), [judged(**told), other], found)
    assert refused == (None if reason is None else Refused("wrap", reason, more=more))


def test_of_counters_that_start_again_after_different_numbers_none_is_believed() -> None:
    best, found = judged(wrap=240, numbers=240), counting([239, 0])
    another = [judged(wrap=n, numbers=n) for n in (250, 240)]
    assert unseen(best, [best, *another], found) == Refused(
        "wrap",
        "the counter of turns may start again after 240 or 250; turn on until it does so once more",
        more=250,
    )
    for one in another:
        one.candidate.layout.counter = Field(0, 9)
    another[1].hearing.silent = [4]
    assert unseen(best, [best, *another], found) is None
    another[0].candidate.layout.counter = NUMBER
    another[0].hearing.silent = [4]
    assert unseen(best, [best, *another], found) is None


def test_a_counter_fell_asleep_if_each_pause_in_which_it_started_again_was_long() -> None:
    assert _only_fell_asleep([75, 76, 0, 1], [0.0, 1.0, 40.0, 41.0]) == 39.0
    assert _only_fell_asleep([75, 76, 0, 76, 0], [0.0, 1.0, 40.0, 41.0, 42.0]) == 0.0
    assert _only_fell_asleep([75, 0, 76, 0], [0.0, 16.0, 17.0, 40.0]) == 23.0
    assert _only_fell_asleep([75, 0], [0.0, 15.0]) == 0.0
    assert _only_fell_asleep([75, 75, 76], [0.0, 40.0, 80.0]) == 0.0


# No field was found.


STEPS: list[tuple[str | None, list[bytes]]] = [("U", [b"\0\0"]), ("R", [b"\0\0"])] * 5
HALVES = [slip(n, "R2", "R") for n in range(1, 4)]


@pytest.mark.parametrize(
    ("hearing", "why", "reason"),
    [
        (Hearing(10, right=6, otherwise=[
            slip(1, "U2", "U"), slip(2, "R2", "R'"), slip(3, "U", "R")]),
         "unknown",
         "2 half turns came as one quarter turn: it seems that a packet may report several turns "
         "at once, and only one of them was found; that takes a decoder in code"),
        # Of these none is half of the turn that was asked for.
        (Hearing(10, right=6, free=[0] * 8, otherwise=[
            slip(1, "U2", "R"), slip(2, "U'", "U"), slip(3, "U2 R", "U"), slip(4, "U2", "U U"),
            slip(5, "U", "U2")]),
         "not solved",
         "6 of 10 asked steps were received right, but by the turns received the cube is not "
         "solved after the free sequence; solve it once more, or record once more"),
        # No more than half of the slips.
        (Hearing(10, right=6, free=[0] * 8, otherwise=HALVES[:1], silent=[4]), "not solved",
         "6 of 10 asked steps were received right, but by the turns received the cube is not "
         "solved after the free sequence; solve it once more, or record once more"),
        (Hearing(10, right=6, silent=[7, 8, 9], otherwise=[
            slip(n, "U R", "") for n in range(1, 6)]),
         "lost",
         "of 10 asked steps 8 were received differently or not at all, too many to leave out "
         "(step 1 asked for U R and no turn came; step 2 asked for U R and no turn came; "
         "step 3 asked for U R and no turn came; no turn came in step 7; no turn came in step 8 …"
         "); record once more"),
        (Hearing(10, right=6, bad=Counter({"one": 2, "another": 3}), lost=4), "unknown",
         "most turns are decoded, but 3 packets do not fit the same form (another); a decoder in "
         "code could be written from the recording"),
        (Hearing(10, right=6, lost=4, at_rest=[0]), "lost",
         "by the cube's own counter 4 turns were lost, and without them the cube is not solved "
         "after the free sequence; record once more"),
        (Hearing(10, right=6, at_rest=[0, 1]), "unknown",
         "2 turns came while the cube was at rest at the beginning: if it was not turned, other "
         "packets are taken for turns, or old turns are sent again, and that takes a decoder in "
         "code; else record once more"),
        (Hearing(10, right=6, free=[0] * 7), "too few",
         "the free sequence must have 8 turns or more"),
        (Hearing(10, right=5), "unknown",
         "no field of a known form depends on the turns; a decoder in code could be written from "
         "the recording"),
    ],
)  # fmt: skip
def test_what_decodes_most_steps_says_what_is_wrong_with_the_others(
    hearing: Hearing, why: Why, reason: str
) -> None:
    worse = judged(Hearing(10, right=1, bad=Counter({"worse": 9})))
    assert explained(recording(STEPS), [worse, judged(hearing), worse]) == Refused(why, reason)


def test_a_strange_code_is_one_of_a_turn_that_was_not_heard() -> None:
    bad = Counter({"code 7 is no turn": 2})
    asked = recording([*STEPS, ("F", [])])
    found = explained(asked, [judged(Hearing(10, right=6, bad=bad))])
    assert (found.why, found.turns) == ("too few", tuple(parse_turns("F")))
    assert (
        "do not fit" in explained(recording(STEPS), [judged(Hearing(10, right=6, bad=bad))]).reason
    )
    silent = explained(asked, [judged(Hearing(10, right=6, free=[0] * 8))])
    assert silent.why == "not solved"


@pytest.mark.parametrize(
    ("rest", "also", "longest", "others"),
    [
        ([b"1", b"22"], [b"4444"], 0, "1"),
        ([b"1", b"22", b"333"], [], 0, "1 or 3"),
        ([b"22"], [b"1", b"333"], 0, None),
        ([b"1"], [], 0, None),  # with those of turns, two lengths are too few
        ([b"1", b"333"], [], 4, None),
        ([], [b"1", b"333"], 0, None),
    ],
)
def test_packets_of_other_lengths_at_rest_may_hide_turns(
    rest: list[bytes], also: list[bytes], longest: int, others: str | None
) -> None:
    found = recording([*STEPS, (None, also)], rest)
    found.rest.append(packet(0.0, b"55555", "b"))
    lost = judged(Hearing(10, right=6, lost=4), Kind("a", 2, longest=longest))
    hidden = (
        f"or turns come in packets of other lengths, too, and no byte tells these from the packets "
        f"of {others} bytes that come at rest: that takes a decoder in code; else "
    )
    assert explained(found, [lost]).reason.split("sequence; ")[1] == (
        ("" if others is None else hidden) + "record once more"
    )


@pytest.mark.parametrize(
    ("told", "copies"),
    [(["U U"] * 6, 2), (["U U"] * 5, None), (["U U U"] * 4 + ["U U"] * 3, 3),
     (["R R"] * 6, None), (["U U R"] * 6, None), (["U R U R"] * 6, 2), (["U U U"] * 6 + [""], 3)],
)  # fmt: skip
def test_copies_of_packets_are_turns_that_came_again_in_most_steps(
    told: list[str], copies: int | None
) -> None:
    asked = "U R" if "R U" in told[0] else "U"
    slips = [slip(n, asked, turns) for n, turns in enumerate(told, start=1)]
    few = judged(Hearing(10))
    reason = explained(recording(STEPS), [few, judged(Hearing(10, otherwise=slips)), few]).reason
    assert reason.startswith(
        "no field of a known form" if copies is None else f"each packet comes {copies} times, and "
    )


def test_packets_that_look_random_look_encrypted() -> None:
    rng = random.Random(1)
    noise = [rng.randbytes(16) for _ in range(200)]
    plain = [bytes(15) + bytes([n]) for n in range(200)]
    assert explained(recording([("U", [one]) for one in noise]), []).why == "encrypted"
    assert explained(recording([("U", [one]) for one in plain]), []).why == "unknown"
    # Packets of another length that come in few steps say nothing; those of another kind do.
    some = [("U", [one, b"\0" * 7] if n < 119 else [one]) for n, one in enumerate(noise)]
    assert explained(recording(some), []).why == "encrypted"
    some = [("U", [one, b"\0" * 7] if n < 120 else [one]) for n, one in enumerate(noise)]
    assert explained(recording(some), []).why == "unknown"


@pytest.mark.parametrize(
    ("lengths", "vary"), [((2, 5), ""), ((2, 5, 3), " (packets have 2 to 5 bytes)")]
)
def test_packets_of_several_lengths_are_mentioned(lengths: Sequence[int], vary: str) -> None:
    found = recording([("U", [bytes(n) for n in lengths]), (None, [b"88888888"])])
    assert explained(found, []).reason == (
        f"no field of a known form depends on the turns{vary}; a decoder in code could be written "
        "from the recording"
    )


def test_a_slip_is_told_in_words() -> None:
    assert slip_text(slip(4, "U R", "U")) == "step 4 asked for U R and U came"
    assert slip_text(slip(4, "U R", "")) == "step 4 asked for U R and no turn came"
