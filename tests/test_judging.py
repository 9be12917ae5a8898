"""How candidates of the learner are judged: each rule on stand-ins whose answer is plain."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import pairwise
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest

from livecube.events import Packet
from livecube.learning import judging, understanding
from livecube.learning.judging import (
    _again,
    _apart,
    _candidates,
    _contradictions,
    _with_strange,
    completed,
    cut,
    worth,
)
from livecube.learning.kinds import Kind
from livecube.learning.recording import Recording, Step
from livecube.profiles.fields import Entries, Field
from livecube.profiles.values import Claim, Layout, TurnList

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

NUMBER, CODE, CLOCK = Field(0, 8), Field(8, 8), Field(16, 16)
KIND = Kind("a", 4)
LAYOUT = Layout("a", 4, 4)


def turns(count: int = 1, elapsed: Entries | None = None) -> TurnList:
    return TurnList(Entries(CODE, count, 8), elapsed=elapsed)


@dataclass(frozen=True)
class Candidate:
    """What is judged of a candidate."""

    layout: Layout = LAYOUT
    codes: dict[int, int] = field(default_factory=dict)
    state: object = None
    order: str = "little"
    wrap_seen: bool = True


@dataclass(frozen=True)
class Judged:
    """A candidate with what was heard by it."""

    candidate: Candidate = field(default_factory=Candidate)
    profile: Any = None
    hearing: Any = None
    kind: Kind = KIND


def heard(*, slips: int = 0, strange: Sequence[int] = (), perfect: bool = False) -> Any:
    return SimpleNamespace(
        slips=slips, strange=[*strange], perfect=perfect, bad=Counter(), free=[7]
    )


def sent(data: Sequence[bytes], char: str = "a") -> list[Packet]:
    return [Packet(float(t), char, one) for t, one in enumerate(data)]


def test_of_candidates_with_the_same_turns_the_one_that_decodes_more_is_worth_more() -> None:
    """Each is worth more than the one before, though all that counts less is worse."""

    def of(slips: int, types: int = 2, **fields: Any) -> Any:
        layout = replace(LAYOUT, **fields)
        return Judged(Candidate(layout), hearing=heard(slips=slips), kind=Kind("a", 4, types=types))

    one, many = turns(), turns(4, Entries(Field(48, 8), 4, 8))
    late, early = ((Field(at, 8), 1) for at in (40, 32))
    both = {"turns": one, "counter": NUMBER}
    rows = [
        of(0, 1, counter=NUMBER, clock=CLOCK),
        of(0, 1, turns=many, clock=CLOCK),
        of(1, 1, turns=many, counter=NUMBER, clock=CLOCK),
        of(0, 9, **both, wrap=100, match=(late,)),
        of(0, 9, turns=turns(4), counter=NUMBER, wrap=100, match=(late,)),
        of(0, 9, turns=many, counter=NUMBER, wrap=100, match=(late,)),
        of(0, 9, turns=many, counter=NUMBER, match=(late,)),
        of(0, 9, turns=many, counter=NUMBER, clock=Field(16, 8), match=(late,)),
        of(0, 9, turns=many, counter=NUMBER, clock=CLOCK, match=(late,)),
        of(0, 9, turns=many, counter=NUMBER, clock=CLOCK, match=(late,), check=object()),
        of(0, 9, turns=many, counter=NUMBER, clock=CLOCK, check=object()),
        of(0, 2, turns=many, counter=NUMBER, clock=CLOCK, check=object()),
    ]
    matched = [
        of(0, 9, **both, match=(late,)),
        of(0, 2, **both, match=(late,)),
        of(0, 2, **both, match=((Field(40, 9), 1),)),
        of(0, 2, **both, match=((Field(39, 9), 1),)),
        of(0, 2, **both, match=(early, late)),
    ]
    for better in (rows, matched):
        for less, more in pairwise(map(worth, better)):
            assert less < more


@pytest.mark.parametrize(
    ("data", "wrap", "count"),
    [
        ([(1, 5), (1, 5), (2, 6)], None, 0),
        ([(1, 5), (1, 6)], None, 1),
        ([(1, 5), (1, 7)], None, 0),  # 7 is no turn's code
        ([(1, 5), (1, 6), (1, 5), (1, 6)], None, 2),
        ([(1, 5), (2, 5), (1, 6)], None, 0),
        ([(1, 7), (1, 6)], None, 1),
        ([(0, 5), (10, 6)], 10, 1),
        ([(0, 5), (10, 6)], None, 0),
    ],
)
def test_two_turns_with_one_number_contradict_each_other(
    data: Sequence[tuple[int, int]], wrap: int | None, count: int
) -> None:
    layout = replace(LAYOUT, shortest=2, longest=2, counter=NUMBER, turns=turns(), wrap=wrap)
    packets = sent([bytes(one) for one in data])
    packets[1:1] = sent([b"\x01\x06"], "b") + sent([b"\x01\x06\x00"])
    recording = Recording(packets[:1], [Step((0,), packets[1:])])
    profile = SimpleNamespace(turns={5: 0, 6: 2})

    def found(one: Layout) -> int:
        judged: Any = Judged(Candidate(one), profile, kind=Kind("a", 2))
        return _contradictions(judged, recording)

    assert found(layout) == count
    assert found(replace(layout, turns=None)) == found(replace(layout, counter=None)) == 0


@pytest.mark.parametrize(
    ("rest", "width", "values", "apart"),
    [
        ([], 8, [1, 2, 3], True),
        ([2], 8, [1, 2], True),
        ([1, 2], 8, [1, 2], False),
        ([2], 8, [1, 2, 3], False),
        ([1], 8, [1], False),
        ([2], 7, [1, 2], False),
        ([2], None, [1, 2], False),
        ([], None, [1, 2], True),
    ],
)
def test_packets_at_rest_differ_from_those_of_turns_by_a_whole_byte_of_two_values(
    rest: Sequence[int], width: int | None, values: Sequence[int], apart: bool
) -> None:
    match = () if width is None else ((Field(0, width), 1),)
    kind = Kind("a", 4, match, longest=6)
    others = sent([b"\1\0\0", bytes(7)]) + sent([b"\1\0\0\0"], "b")
    recording = Recording(
        [*others, *sent([bytes([one, 9, 9, 9, 9]) for one in rest])],
        [Step((0,), sent([bytes([one, 0, 0, 0]) for one in values]))],
    )
    assert _apart(kind, recording) is apart


def test_a_layout_says_that_its_packets_also_come_at_rest_if_they_are_numbered() -> None:
    rest = Recording(sent([bytes(4)]), [])
    for numbered in ({"counter": NUMBER}, {"clock": CLOCK}):
        one = replace(LAYOUT, **numbered)  # type: ignore[arg-type]
        assert _again(KIND, one, rest).again
        assert not _again(KIND, replace(one, again=True), Recording([], [])).again
        assert not _again(Kind("b", 4), one, rest).again
        assert not _again(KIND, replace(one, match=((NUMBER, 1),)), rest).again
        assert _again(KIND, replace(one, match=((NUMBER, 1),), mask=b"\1"), rest).again
    assert not _again(KIND, replace(LAYOUT, turns=turns()), rest).again


@pytest.mark.parametrize(("steps", "learned"), [(4, 3), (20, 15), (101, 76), (103, 77)])
def test_a_quarter_of_the_asked_steps_is_set_aside(steps: int, learned: int) -> None:
    assert cut(Recording([], [Step(None), *[Step((0,))] * steps, Step(None)])) == learned


@pytest.mark.parametrize(("present", "tried"), [(9, True), (8, False)])
def test_candidates_come_from_kinds_in_six_of_ten_steps_that_are_learned_from(
    monkeypatch: pytest.MonkeyPatch, present: int, tried: bool
) -> None:
    seen: list[Any] = []

    def noted(*told: object, **how: object) -> list[str]:
        seen.append((told, how))
        return ["one"]

    monkeypatch.setattr(judging, "candidates", noted)
    own, foreign = sent([bytes(4)] * 26), sent([bytes(4)], "b")
    steps = [
        Step((n,), [own[n], *foreign] if n < present or n > 14 else foreign) for n in range(20)
    ]
    free = Step(None, [own[25], *foreign])
    found: list[Any] = _candidates(KIND, Recording([], [*steps, free]), "big", slipped=True)
    assert found == (["one"] if tried else [])
    if tried:
        asked = [((n,), [own[n]] if n < present else []) for n in range(15)]
        assert seen == [((KIND, asked, "big", [*own[15:20], own[25]]), {"slipped": True})]
    # Packets of many lengths are tried only if those at rest are told from those of turns.
    for kind, rest, apart in (
        (KIND, 4, True), (replace(KIND, longest=9), 5, False), (replace(KIND, longest=9), 3, True),
    ):  # fmt: skip
        recording = Recording(sent([bytes(rest)]), [*steps, free])
        assert len(_candidates(kind, recording, "big", slipped=True)) == (apart and tried)


@pytest.mark.parametrize(
    ("strange", "missing", "right", "found"),
    [
        ([7], [4], [{7: 4}], {7: 4}),
        ([7], [4, 13], [{7: 13}], {7: 13}),
        ([7], [4, 13], [{7: 4}, {7: 13}], None),
        ([7], [4, 13], [], None),
        ([7, 8], [4, 13], [{7: 13, 8: 4}], {7: 13, 8: 4}),
        ([7, 8], [4], [{7: 4}], None),
        ([], [4], [{}], None),
        ([7], [4, 13, 16], [{7: 16}], {7: 16}),
        ([7], [4, 13, 16, 10], [{7: 16}], None),
    ],
)
def test_a_strange_code_gets_a_turn_if_exactly_one_explains_the_recording(
    monkeypatch: pytest.MonkeyPatch,
    strange: list[int],
    missing: list[int],
    right: list[dict[int, int]],
    found: dict[int, int] | None,
) -> None:
    known = {1: 0, 2: 1}

    @dataclass(frozen=True)
    class Profile:
        turns: dict[int, int]

    def hearing(profile: Profile, recording: Recording) -> Any:
        return heard(perfect=profile.turns in [known | one for one in right])

    monkeypatch.setattr(judging, "hear", hearing)
    one: Any = Judged(Candidate(codes=known), Profile(known), heard(strange=strange))
    new: Any = _with_strange(one, Recording([], [Step((turn,)) for turn in (0, *missing)]))
    if found is None:
        assert new is one
    else:
        assert new.candidate.codes == new.profile.turns == known | found
        assert new.hearing.perfect


def test_a_first_understanding_is_the_best_of_those_that_decode_nearly_all_steps(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def judged(right: int, rank: int, **bad: int) -> Any:
        hearing = SimpleNamespace(right=right, steps=20, bad=Counter(bad))
        return SimpleNamespace(hearing=hearing, rank=rank, profile=f"{right} {rank}")

    def chosen(*given: Any) -> str | None:
        decoders: list[Any] = []

        def made(profile: str) -> Callable[[], Any]:
            one: Any = SimpleNamespace(
                profile=profile, notify=(), connected=lambda: decoders.append(one)
            )
            return lambda: one

        monkeypatch.setattr(understanding, "judge_all", lambda *told: given)
        monkeypatch.setattr(understanding, "decoder_class", made)
        monkeypatch.setattr(understanding, "worth", lambda one: one.rank)
        found = understanding.first_understanding(Recording(sent([b"1"]), []))
        assert (found is None) is (not decoders)
        return decoders[0].profile if decoders else None

    least = next(n for n in range(21) if n >= understanding._RIGHT * 20)
    assert least < 20
    assert chosen() is None
    assert chosen(judged(least - 1, 9), judged(20, 8, why=1)) is None
    assert chosen(judged(least, 2), judged(20, 1), judged(least - 1, 9)) == f"{least} 2"


@pytest.mark.parametrize("state", [None, "positions"])
def test_the_best_candidate_is_searched_again_with_the_turns_of_one_free_sequence(
    monkeypatch: pytest.MonkeyPatch, state: object
) -> None:
    seen: list[Any] = []

    def again(kind: Kind, steps: object, order: str, *, slipped: bool) -> list[str]:
        seen.append((kind, steps, order, slipped))
        return ["again"]

    def judged(new: Any) -> Callable[..., Any]:
        return lambda *told: new

    monkeypatch.setattr(judging, "candidates", again)
    own, foreign = sent([bytes(4)] * 3), sent([bytes(4)], "b")
    steps = [Step((n,), [one, *foreign]) for n, one in enumerate(own[:2])]
    free = Step(None, [own[2]])
    best: Any = Judged(Candidate(state=state), hearing=heard(slips=1, perfect=True))
    for frees, turned in ((1, (7,)), (2, ())):
        for slips, perfect, is_new, unless in (
            (0, True, True, True), (2, True, False, True), (0, False, False, False),
        ):  # fmt: skip
            new = Judged(hearing=heard(slips=slips, perfect=perfect))
            monkeypatch.setattr(judging, "_judged", judged(new))
            recording = Recording([], [*steps, *[free] * frees])
            found = completed(best, recording, "name", Claim())
            assert found is (new if is_new else best)
            unwrapped = replace(best, candidate=replace(best.candidate, wrap_seen=False))
            found = completed(unwrapped, recording, "name", Claim())
            assert found is (new if unless else unwrapped)
        asked = [((0,), [own[0]]), ((1,), [own[1]]), *[(turned, [own[2]])] * frees]
        for slipped in (False, True) if state else (False,):
            assert (KIND, asked, "little", slipped) in seen
        assert all(slipped is False or state for *_, slipped in seen)
