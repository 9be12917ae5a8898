"""The learner: generated cubes are learned exactly, encrypted and unclear ones are refused."""

from __future__ import annotations

import functools
import random
from dataclasses import replace
from hashlib import sha256
from itertools import cycle, islice, pairwise

import pytest
from examples import part_of, thorough
from learn_check import CLAIM, encrypted_outcome, exact, learned, of_verdict, outcome
from learn_layouts import SHAPES, made, recording
from slip_check import judged as slipped
from slip_check import of_profile
from wild_layouts import MAIN, SLIPS, Slip, Wild, recorded, wild

from livecube.cube.notation import parse_turns
from livecube.cube.position import parse_turn
from livecube.events import Asked, Packet
from livecube.learning.learner import learn
from livecube.learning.recording import Recording, Step
from livecube.learning.routine import (
    BRIEF_S,
    FREE_S,
    PATIENCE_S,
    QUIET_S,
    REST_S,
    STEPS,
    Background,
    Routine,
)
from livecube.learning.understanding import TRIED_AT, first_understanding
from livecube.learning.verdicts import Learned, Refused
from livecube.profiles.parsing import parse_profile
from livecube.profiles.writing import profile_text

CUBES = range(len(SHAPES))
"""Seeds; ``checks/learn_check.py`` takes 200."""
SOME = [one if SHAPES[one] in ("turn", "places") else thorough(one) for one in CUBES]
"""The suite learns a code and a position."""
QUARTERS = [turn for turn in range(18) if turn % 3 != 1]


judged = functools.cache(outcome)


@pytest.mark.parametrize("seed", SOME)
def test_no_generated_cube_is_learned_wrong(seed: int) -> None:
    assert judged(seed).verdict != "wrong"


@pytest.mark.thorough
def test_all_but_one_of_the_generated_cubes_are_learned_exactly() -> None:
    outcomes = [judged(seed) for seed in CUBES]
    assert {one.shape for one in outcomes} == set(SHAPES)
    assert sum(one.verdict == "exact" for one in outcomes) >= len(CUBES) - 1


@pytest.mark.parametrize("seed", part_of(CUBES[::3], 3))
def test_an_encrypted_cube_is_recognised(seed: int) -> None:
    assert encrypted_outcome(seed).verdict == "encrypted"


@pytest.mark.parametrize("seed", SOME)
def test_a_learned_profile_is_written_and_read_back_the_same(seed: int) -> None:
    verdict = learned(seed)
    assert isinstance(verdict, Learned)
    text = profile_text(verdict.profile, "by a test")
    assert parse_profile(text, "learned.toml") == verdict.profile


@pytest.mark.parametrize("seed", SOME)
def test_a_learned_profile_says_what_it_lacks(seed: int) -> None:
    verdict = learned(seed)
    assert isinstance(verdict, Learned)
    (layout, *_) = verdict.profile.layouts
    assert any("counter of turns" in note for note in verdict.notes) is (layout.counter is None)
    assert any("No clock was found" in note for note in verdict.notes) is (layout.clock is None)
    assert verdict.told == len(STEPS[:-1]) - round(0.75 * len(STEPS[:-1]))


LEARNED = {
    0: "a4609ba1",
    1: "4b459334",
    2: "8922aefe",
    3: "3ea671d1",
    4: "d66d59b7",
    5: "1ac7986d",
    6: "aeadac0c",
}
"""By seed, a digest of what is learned: all fields, codes and notes."""


def digest(verdict: Learned | Refused) -> str:
    text = repr(verdict)
    for late in (", clock_wrap=None", ", again=False"):  # there were no such fields once
        text = text.replace(late, "")
    return sha256(text.encode()).hexdigest()[:8]


@pytest.mark.parametrize("seed", SOME)
def test_a_generated_cube_is_learned_as_it_was(seed: int) -> None:
    assert digest(learned(seed)) == LEARNED[seed]


@pytest.mark.thorough
def test_a_clock_at_an_odd_bit_beside_a_list_was_taken_for_one_of_125_ticks() -> None:
    """The list's fields are 20 bits apart, so that no field has to begin with a byte or half."""
    verdict = learned(52)
    assert isinstance(verdict, Learned)
    (layout, *_) = verdict.profile.layouts
    assert layout.clock == made(52).profile.layouts[0].clock
    assert verdict.profile.per_second == 1000
    assert judged(52).verdict == "exact"


@pytest.mark.thorough
def test_a_clock_between_bytes_was_taken_for_one_of_128_ticks() -> None:
    """Jitter hides the three bits before the byte; only the list's times prove that they tick."""
    cube = made(143)
    verdict = learned(143)
    assert of_verdict(verdict, cube) == ("exact", "")
    assert isinstance(verdict, Learned)
    assert verdict.profile.per_second == 1024
    (layout,) = cube.profile.layouts
    assert layout.turns is not None
    layout = replace(layout, turns=replace(layout.turns, elapsed=None))
    cube = replace(cube, profile=replace(cube.profile, layouts=(layout,)))
    verdict = learn(recording(cube, 10_143), "learned", CLAIM)
    assert of_verdict(verdict, cube) == (
        "less",
        "Perhaps lower bits of the clock are left out: the radio's jitter hides whether they "
        "belong to it. Turns are timed to 8 ms.",
    )


@pytest.mark.thorough
def test_packets_with_a_type_that_made_sense_in_one_byte_order_hid_a_list_in_the_other() -> None:
    """Counter and newest turn lie within a byte each, so that both orders find them."""
    verdict = learned(247)
    assert isinstance(verdict, Learned)
    (layout, *_) = verdict.profile.layouts
    (true,) = made(247).profile.layouts
    assert layout.turns is not None
    assert true.turns is not None
    assert layout.turns.codes == true.turns.codes
    assert judged(247).verdict == "exact"


def refused(found: Recording) -> Refused:
    verdict = learn(found, "learned", CLAIM)
    assert isinstance(verdict, Refused)
    return verdict


def test_turns_that_were_never_made_are_asked_for() -> None:
    steps = tuple(step for step in STEPS if step is None or step[0] // 3 != 2)
    verdict = refused(recording(made(1), 1, steps))
    assert verdict.why == "too few"
    assert verdict.turns == (parse_turn("F"), parse_turn("F'"))


def test_a_cube_that_sends_nothing_while_it_is_turned_has_too_few_packets() -> None:
    found = recording(made(1), 1)
    silent = Recording(found.rest, [Step(step.turns) for step in found.steps])
    assert refused(silent).why == "too few"


def test_without_a_free_sequence_nothing_is_learned() -> None:
    found = recording(made(1), 1, STEPS[:-1])
    assert refused(found).why == "too few"


def test_lost_packets_are_said_to_be_lost() -> None:
    found, rng = recording(made(1), 1), random.Random(1)
    for step in found.steps:
        step.packets[:] = [p for p in step.packets if rng.random() > 0.3 or step.turns is None]
    verdict = refused(found)
    assert verdict.why == "lost"


def test_a_free_sequence_that_does_not_end_solved_is_refused() -> None:
    found = recording(made(1), 1)
    del found.steps[-1].packets[-6:]
    assert refused(found).why == "not solved"


@pytest.mark.thorough
def test_turns_always_made_in_one_order_are_ambiguous_and_the_deciding_ones_are_named() -> None:
    """The turn before depends on the turn, so its entry in the list fits as well."""
    order = [*islice(cycle(QUARTERS), 60)]
    cube = made(SHAPES.index("list"))
    found = recording(cube, 1, (*((turn,) for turn in order), None))
    verdict = refused(found)
    assert verdict.why == "ambiguous"
    assert set(verdict.turns) == set(QUARTERS)
    assert "after 3 different turns" in verdict.reason


def test_noise_is_no_profile() -> None:
    """Plain packets that have nothing to do with the turns: neither learned nor encrypted."""
    rng = random.Random(3)
    found = recording(made(1), 1)
    for step in found.steps:
        step.packets[:] = [
            replace(p, data=bytes([7, 0, rng.choice((1, 2)), 0, 0, 0, 0, 9])) for p in step.packets
        ]
    assert refused(found).why == "unknown"


# Owners who slip, and cubes of forms that the learner was not designed for.


@pytest.mark.parametrize("slip", [*map(thorough, SLIPS[:-1]), SLIPS[-1]])
def test_after_one_slip_no_field_went_with_the_turns(slip: Slip) -> None:
    """In a list of turns with a counter and a clock, or a lone code without either."""
    assert slipped((0, 14)[SLIPS.index(slip) % 2], [slip, slip]).verdict == "exact"


@pytest.mark.thorough
def test_after_one_turn_too_many_no_position_went_with_the_turns() -> None:
    """Two steps in one, of which only the second turn was asked for, early in the routine."""
    found = recording(made(6), 3)
    one, two = found.steps[6:8]
    found.steps[6:8] = [Step(two.turns, one.packets + two.packets)]
    assert isinstance(learn(found, "learned", CLAIM), Learned)


@pytest.mark.thorough
@pytest.mark.parametrize("seed", [4, 5])
def test_after_one_slip_no_position_went_with_the_turns(seed: int) -> None:
    cube = made(seed)
    assert cube.profile.state is not None
    found = recording(cube, 3)
    step = found.steps[80]
    found.steps[80] = Step((step.turns[0] - step.turns[0] % 3 + 1,), step.packets)  # type: ignore[index]
    verdict = learn(found, "learned", CLAIM)
    assert isinstance(verdict, Learned)
    assert any("step 81 asked for" in note for note in verdict.notes)
    assert exact(verdict.profile, cube)


BARE = replace(
    wild(0), parts=("clock", "code", "counter"), history=0, clock_bytes=4, clock_big=True,
    clock_rate=1000, check="xor", check_from=1, counter_bits=8, counter_wrap=256, counter_first=0,
    codes={turn: turn + 1 for turn in range(18)}, mask=b"", orientation="", varying=False,
    repeats=1,
)  # fmt: skip


def of_layout(layout: Wild) -> tuple[str, Learned | Refused]:
    verdict = learn(recorded(layout, 1), "learned", CLAIM)
    return of_profile(verdict, layout).verdict if isinstance(verdict, Learned) else "", verdict


@pytest.mark.thorough
def test_a_check_value_was_believed_of_a_clocks_high_byte_that_moves_after_4_hours() -> None:
    verdict, learned = of_layout(BARE)
    assert verdict == "exact"
    assert isinstance(learned, Learned)
    assert any("a coincidence is less likely" in note for note in learned.notes)


@pytest.mark.parametrize(
    ("bits", "wrap", "first"),
    [(8, 240, 0), thorough(8, 255, 1), thorough(4, 10, 0)],
)
def test_a_counter_that_wraps_at_240_was_taken_for_one_of_a_byte(
    bits: int, wrap: int, first: int
) -> None:
    layout = replace(BARE, counter_bits=bits, counter_wrap=wrap, counter_first=first)
    verdict, learned = of_layout(layout)
    assert verdict == "exact"
    assert isinstance(learned, Learned)
    text = profile_text(learned.profile)
    assert f"wrap = {wrap}" in text
    assert parse_profile(text, "learned.toml") == learned.profile


def test_a_counter_that_has_not_begun_anew_is_refused_and_more_turns_are_asked_for() -> None:
    # The numbers begin so that the routine does not reach the wrap.
    verdict = learn(recorded(BARE, 3, steps=(*STEPS[:90], None)), "learned", CLAIM)
    assert isinstance(verdict, Refused)
    assert verdict.why == "wrap"
    assert 40 < verdict.more < 60


@pytest.mark.parametrize(
    ("rate", "big"),
    [(500, True), thorough(128, False), thorough(10, False)],
)
def test_a_clock_of_another_tick_and_order_was_not_found(rate: int, big: bool) -> None:
    layout = replace(BARE, clock_rate=rate, clock_big=big, clock_bytes=3)
    assert of_layout(layout)[0] == "exact"


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("rate", "wrap", "big", "parts"),
    [
        (100, 1000, False, ("code", "clock", "counter")),
        (10, 600, True, ("clock", "code")),
        (1024, 30 * 1024, False, ("code", "counter", "clock")),
    ],
)
def test_a_clock_that_starts_again_each_minute_was_not_found(
    rate: int, wrap: int, big: bool, parts: tuple[str, ...]
) -> None:
    layout = replace(BARE, clock_rate=rate, clock_wrap=wrap, clock_big=big, clock_bytes=2,
                     check="", parts=parts)  # fmt: skip
    verdict, learned = of_layout(layout)
    assert verdict == "exact"
    assert isinstance(learned, Learned)
    assert [one.clock_wrap for one in learned.profile.layouts] == [wrap]
    assert any(f"exactly {wrap} ticks" in note for note in learned.notes)
    text = profile_text(learned.profile)
    assert parse_profile(text, "learned.toml") == learned.profile


@pytest.mark.thorough
def test_a_clock_that_starts_again_at_no_round_number_was_taken_for_one_that_does() -> None:
    """At 50,021 instead of 50,000: turns were timed 21 ms off, more after each wrap."""
    layout = replace(BARE, clock_wrap=50021, clock_bytes=2, check="")
    assert of_layout(layout)[0] == "less"


def test_packets_sent_again_that_nothing_tells_apart_are_said_to_be_so() -> None:
    layout = replace(BARE, parts=("code", "const"), check="", repeats=2)
    _, verdict = of_layout(layout)
    assert isinstance(verdict, Refused)
    assert "each packet comes 2 times" in verdict.reason


@pytest.mark.thorough
def test_packets_of_varying_length_were_said_to_be_lost() -> None:
    layout = replace(BARE, history=4, newest_first=True, varying=True, check="",
                     parts=("clock", "counter", "code"))  # fmt: skip
    verdict, learned = of_layout(layout)
    assert verdict == "exact"
    assert isinstance(learned, Learned)
    text = profile_text(learned.profile)
    assert parse_profile(text, "learned.toml") == learned.profile


@pytest.mark.thorough
def test_lists_as_long_as_their_packets_were_as_short_as_the_shortest() -> None:
    """Two turns of seven, and check values at the end that were taken for codes of turns."""
    assert slipped(194, []).verdict == "exact"
    assert slipped(101, []).verdict == "exact"  # a type byte tells attitudes of the same lengths
    outcome = slipped(127, [])
    assert outcome.verdict == "refused"
    assert "no byte tells these from the packets of 6 bytes that come at rest" in outcome.why


@pytest.mark.thorough
@pytest.mark.parametrize("seed", [24, 130])
def test_a_mask_hid_counter_list_and_clock(seed: int) -> None:
    """Every packet is combined with the same bytes by exclusive or."""
    layout = wild(seed)
    verdict = learn(recorded(layout, seed), "learned", CLAIM)
    assert isinstance(verdict, Learned)
    assert of_profile(verdict, layout).verdict == "exact"
    (telling, *_) = verdict.profile.layouts
    assert telling.mask
    assert parse_profile(profile_text(verdict.profile), "learned.toml") == verdict.profile


@pytest.mark.thorough
def test_sixteen_lost_turns_of_a_cube_that_counts_to_ten_made_its_profile_wrong() -> None:
    """No decoder can tell them from six: the check lost more than the cube itself can tell."""
    assert slipped(412, []) == ("exact", "")


@pytest.mark.thorough
def test_what_a_profile_lacks_is_said() -> None:
    """Masked bits that jitter hides, ticks with two turns, counters not seen whole."""
    assert slipped(164, []) == ("less", "fine clock")
    assert slipped(40, []) == ("less", "clock")
    verdict = learned(10)
    assert isinstance(verdict, Learned)
    assert any("Only the lowest 8 bits of a counter" in note for note in verdict.notes)


@pytest.mark.thorough
def test_the_sign_of_a_number_was_taken_for_the_type_of_a_packet() -> None:
    """Attitudes are as long as some of the lists, and in this recording always have one sign."""
    assert slipped(166, []).verdict == "refused"


@pytest.mark.thorough
@pytest.mark.parametrize("slips", [[], ["wrong", "lost"]])
def test_a_packet_that_is_sent_again_told_an_old_turn_first(slips: list[Slip]) -> None:
    assert slipped(16, slips) == ("exact", "")


@pytest.mark.thorough
def test_attitudes_with_the_number_of_the_turn_were_taken_for_turns() -> None:
    """The type and a counter share a byte, and all packets have one length."""
    layout = replace(BARE, parts=("counter", "code", "const"), check="", counter_bits=4,
                     counter_wrap=16)  # fmt: skip
    found, rng, number = recorded(layout, 1), random.Random(1), 0
    for packets in (found.rest, *(step.packets for step in found.steps)):
        sent = [*packets] or [Packet(0.1, MAIN, b"\0")] * 9
        packets[:] = []
        for one in sent:
            number = one.data[0]
            packets += [replace(one, data=bytes([0xA0 | number]) + one.data[1:])] * bool(
                one.data[1:]
            )
            packets.append(Packet(one.t, MAIN, bytes([0x50 | number, *rng.randbytes(2)])))
    verdict = learn(found, "learned", CLAIM)
    assert isinstance(verdict, Learned)
    assert verdict.profile.layouts[0].match


@pytest.mark.thorough
def test_untrue_reasons_of_refusals() -> None:
    """Lost packets and too few were named instead."""
    layout = replace(BARE, codes={turn: turn + 1 for turn in QUARTERS})
    scattered, halved = recorded(layout, 1), recorded(layout, 1)
    for step in scattered.steps:
        step.packets[:] = [replace(p, char=MAIN[:-1] + str(p.data[4] // 3)) for p in step.packets]
    assert "from none of them in most steps" in refused(scattered).reason
    for step in halved.asked:
        step.packets[:] = step.packets[-1:]
    assert "half turns came as one quarter turn" in refused(halved).reason


# The routine.


def test_every_quarter_turn_is_asked_for_after_many_others() -> None:
    asked = [step[0] for step in STEPS if step is not None]
    assert STEPS[-1] is None
    for turn in QUARTERS:
        before = {a for a, b in pairwise(asked) if b == turn}
        assert len(before) >= 4
    assert {turn for turn in asked if turn % 3 == 1} == {1, 4, 7, 10, 13, 16}


def test_the_routine_goes_on_when_a_turn_has_been_heard() -> None:
    routine = Routine(100.0)
    routine.take(Packet(100.5, "background", b"123"))
    assert not routine.wake(100.0 + REST_S / 2)
    assert routine.wake(100.0 + REST_S)
    assert routine.asks == STEPS[0]
    routine.take(Packet(102.5, "background", b"456"))
    assert routine.due == 100.0 + REST_S + PATIENCE_S
    routine.take(Packet(103.0, "turns", b"1"))
    assert routine.due == 103.0 + QUIET_S
    routine.take(Packet(103.2, "turns", b"1"))
    assert not routine.wake(103.5)
    routine.doubtful = True
    assert not routine.wake(103.2 + QUIET_S)
    routine.doubtful = False
    assert routine.due == 103.2 + BRIEF_S
    routine.doubtful = None
    assert routine.wake(103.2 + QUIET_S)
    assert routine.asks == STEPS[1]
    assert not routine.over


def test_the_routine_gives_up_on_a_cube_that_says_nothing() -> None:
    routine = Routine(0.0)
    assert routine.wake(REST_S)
    assert routine.wake(REST_S + PATIENCE_S)
    assert routine.given_up
    assert routine.over


def test_a_step_is_asked_for_again_and_more_can_follow_the_last() -> None:
    routine = Routine(0.0)
    routine.wake(REST_S)

    def done() -> None:
        routine.take(Packet(routine.due, "turns", b"1"), telling=True)
        assert routine.wake(routine.due)

    done()
    routine.again(7.0)
    assert routine.asks == STEPS[0]
    assert routine.due == 7.0 + PATIENCE_S
    done()
    assert routine.asks == STEPS[1]
    while not routine.over:
        assert routine.asks is not None or routine.at == len(STEPS)
        done()
    routine.more([(3,), None], 900.0)
    assert routine.asks == (3,)
    assert routine.due == 900.0 + PATIENCE_S
    done()
    assert routine.asks is None
    assert not routine.over
    routine.take(Packet(1000.0, "turns", b"2"), telling=True)
    assert routine.due == 1000.0 + FREE_S


def test_a_first_hypothesis_decodes_what_follows_and_is_dropped_after_four_doubts() -> None:
    whole = recording(made(2), 10_002)
    early = Recording(whole.rest, whole.steps[: TRIED_AT[0]])
    understanding = first_understanding(early)
    assert understanding is not None
    for step in whole.steps[TRIED_AT[0] : 40]:
        told = [turn for packet in step.packets for turn in understanding.told(packet)]
        assert step.turns is not None
        assert understanding.judge(step.turns, told)
        assert understanding.told(replace(step.packets[0], char="another")) == []
    right = [True, False, False, False, True, False, False, False, False]
    assert [understanding.judge([0], [0] if one else [3]) for one in right] == right
    assert not understanding.stands
    assert understanding.judge(parse_turns("L R"), parse_turns("R L"))
    assert understanding.stands
    assert first_understanding(Recording(whole.rest, whole.steps[:2])) is None


def test_an_owner_who_pauses_is_reminded_and_asked_anew() -> None:
    routine = Routine(0.0)
    assert routine.wake(REST_S)
    routine.take(Packet(5.0, "turns", b"1"))
    now = 6.0
    assert routine.wake(now)
    for number in range(1, 45):
        now = routine.due
        assert routine.wake(now) is (number in (3, 12))
        assert routine.reminders == number
        assert routine.at == 1
    assert routine.wake(routine.due)
    assert routine.given_up


def test_a_stream_as_long_as_the_turns_made_everything_background() -> None:
    """At rest only the bytes of the quaternion move; a turn has another type, and is news."""
    background, rng = Background(), random.Random(2)
    streamed = [Packet(0.1 * n, "a", bytes([7, *rng.randbytes(3)])) for n in range(200)]
    for packet in streamed[:60]:
        background.take(packet)
    assert sum(map(background.is_news, streamed[60:])) == 0
    assert background.is_news(Packet(9.0, "a", bytes([9, 1, 2, 3])))
    assert not background.is_news(streamed[70])
    assert background.is_news(Packet(9.1, "a", bytes([9, 1, 2, 3])))
    assert background.is_news(Packet(9.2, "a", b"123"))


def test_a_turn_made_twice_was_no_news_once_the_counter_had_gone_on() -> None:
    """The cube sends its latest packet again all the time."""
    background = Background()
    for _ in range(20):
        background.take(Packet(0.1, "a", bytes([0, 0])))
    for number in range(1, 90):
        packet = Packet(1.0, "a", bytes([number, 1 + number // 2 % 6]))
        assert [background.is_news(packet) for _ in range(3)] == [True, False, False]


def test_a_recording_is_what_a_log_holds() -> None:
    rest, first, free = Packet(0.1, "a", b"0"), Packet(1.2, "a", b"1"), Packet(9.0, "b", b"2")
    found = Recording.of([rest, Asked(1.0, (0,)), first, Asked(8.0, None), free])
    assert found.rest == [rest]
    assert found.asked == [Step((0,), [first])]
    assert found.free == [Step(None, [free])]
    assert found.packets == [rest, first, free]


ROUTINE = "9367f5c2b1f3"
"""A digest of the asked turns, in order."""


def test_the_steps_of_the_routine_are_those_that_they_were() -> None:
    """Existing recordings were made in the same order."""
    assert sha256(repr(STEPS).encode()).hexdigest()[:12] == ROUTINE
