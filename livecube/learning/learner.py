"""From a recording to a profile, or to the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from livecube.cube.position import turns_text
from livecube.learning.inference import candidates
from livecube.learning.kinds import kinds_in
from livecube.learning.secrecy import looks_encrypted
from livecube.learning.verdicts import Learned, Refused
from livecube.learning.verifying import hear
from livecube.profiles.values import Claim, Layout, Profile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.events import Packet
    from livecube.learning.inference import Candidate
    from livecube.learning.kinds import Kind
    from livecube.learning.recording import Recording, Step
    from livecube.learning.verifying import Hearing
    from livecube.profiles.fields import Order

__all__ = ["learn"]

_QUARTERS: Final = tuple(turn for turn in range(18) if turn % 3 != 1)
_LEAST_EACH: Final = 3
"""So often every quarter turn has to be asked for, each time after another turn."""
_LEAST_FREE: Final = 8
_HELD_OUT: Final = 0.25
"""This part of what was asked is only used to judge."""
_PRESENT: Final = 0.6
"""A kind of packet that tells turns comes in so many of the steps."""


@dataclass(frozen=True, slots=True)
class _Judged:
    kind: Kind
    candidate: Candidate
    profile: Profile
    hearing: Hearing


def learn(recording: Recording, name: str, claim: Claim) -> Learned | Refused:
    """The profile of the cube that was recorded, called ``name``, or why there is none.

    A quarter of what was asked and the whole free sequence are held back: a profile is only
    learned if it tells the former right and finds the cube solved after the latter.
    """
    refused = _too_few(recording)
    if refused is not None:
        return refused
    judged = _judge_all(recording, name, claim)
    good = [one for one in judged if one.hearing.perfect and len(one.hearing.free) >= _LEAST_FREE]
    undecided = _undecided(recording)
    fitting = [one for one in judged if one.hearing.right > _cut(recording) // 2]
    if undecided and fitting:
        return _ambiguous(fitting, undecided)
    if not good:
        return _explained(recording, judged)
    best = max(good, key=_worth)
    best = _completed(best, recording, name, claim)
    held_out = len(recording.asked) - _cut(recording)
    return Learned(best.profile, held_out, len(best.hearing.free), _notes(best.candidate))


# Looking.


def _cut(recording: Recording) -> int:
    return round(len(recording.asked) * (1 - _HELD_OUT))


def _judge_all(recording: Recording, name: str, claim: Claim) -> list[_Judged]:
    """Every candidate with what its decoder made of the recording.

    A part of the packets of one length is only looked at if all of them together make no sense.
    """
    steps = recording.asked[: _cut(recording)]
    kinds = [(kind, order) for order in _ORDERS for kind in _kinds(steps, order)]
    judged: list[_Judged] = []
    done: set[tuple[str, int]] = set()
    for kind, order in sorted(kinds, key=lambda one: bool(one[0].match)):
        key = kind.characteristic, kind.length
        if kind.match and key in done:
            continue
        for candidate in _candidates(kind, steps, order):
            one = _judged(kind, candidate, recording, name, claim)
            judged.append(one)
            if one.hearing.perfect:
                done.add(key)
    return judged


def _kinds(steps: list[Step], order: Order) -> list[Kind]:
    return kinds_in([packet for step in steps for packet in step.packets], order)


_ORDERS: Final[tuple[Order, Order]] = ("little", "big")


def _candidates(kind: Kind, steps: list[Step], order: Order) -> list[Candidate]:
    held = [(step.turns or (), [p for p in step.packets if kind.holds(p)]) for step in steps]
    if sum(bool(packets) for _, packets in held) < _PRESENT * len(held):
        return []
    return candidates(kind, held, order)


def _judged(
    kind: Kind, candidate: Candidate, recording: Recording, name: str, claim: Claim
) -> _Judged:
    layouts = (candidate.layout, *_others(candidate.layout, recording.packets))
    profile = Profile(
        name=name,
        order=candidate.order,
        claim=claim,
        layouts=layouts,
        turns=candidate.codes,
        state=candidate.state,
        per_second=candidate.per_second,
    )
    return _Judged(kind, candidate, profile, hear(profile, recording))


def _completed(best: _Judged, recording: Recording, name: str, claim: Claim) -> _Judged:
    """The same, with fields of which more was seen in the rest of the recording.

    A counter's or a clock's highest bit may not have moved before; what was free is known now.
    """
    steps = [
        (
            tuple(best.hearing.free) if step.turns is None else step.turns,
            [packet for packet in step.packets if best.kind.holds(packet)],
        )
        for step in recording.steps
    ]
    again = [
        _judged(best.kind, candidate, recording, name, claim)
        for candidate in candidates(best.kind, steps, best.candidate.order)
    ]
    return max([best, *(one for one in again if one.hearing.perfect)], key=_worth)


def _others(known: Layout, packets: list[Packet]) -> Iterator[Layout]:
    """What else comes from the same characteristic, to be passed over."""
    lengths = {len(p.data) for p in packets if p.char == known.characteristic and p.data}
    for length in sorted(lengths):
        if length != known.shortest or known.match:
            yield Layout(known.characteristic, length, length)


def _worth(judged: _Judged) -> tuple[int, ...]:
    """How much a candidate makes of its packets, to choose among those that tell the same."""
    layout = judged.candidate.layout
    return (
        layout.turns is not None,
        0 if layout.turns is None else layout.turns.codes.count,
        layout.turns is not None and layout.turns.elapsed is not None,
        0 if layout.counter is None else layout.counter.bits,
        0 if layout.clock is None else layout.clock.bits,
        layout.check is not None,
        not layout.match,
    )


def _notes(candidate: Candidate) -> tuple[str, ...]:
    layout = candidate.layout
    notes = []
    if layout.counter is None:
        notes.append("No field numbers the turns: a lost packet cannot be noticed by itself.")
    if layout.clock is None:
        notes.append("No field is a clock: turns are timed when they arrive.")
    return tuple(notes)


# Why not.


def _too_few(recording: Recording) -> Refused | None:
    asked = [turn for step in recording.asked for turn in step.turns or ()]
    seldom = tuple(turn for turn in _QUARTERS if asked.count(turn) < _LEAST_EACH)
    if seldom:
        return Refused(
            "too few",
            f"each quarter turn has to be made {_LEAST_EACH} times or more; missing are "
            f"{turns_text(seldom)}",
            seldom,
        )
    if not recording.free:
        return Refused("too few", "there is no free sequence that ends with the cube solved")
    if not _kinds_of_turning(recording):
        return Refused(
            "too few", "too few packets came while the cube was turned; was it connected and awake?"
        )
    return None


def _kinds_of_turning(recording: Recording) -> list[tuple[str, int]]:
    """Characteristics and lengths of which packets came in most of the steps."""
    kinds: dict[tuple[str, int], int] = {}
    for step in recording.asked:
        for kind in {(packet.char, len(packet.data)) for packet in step.packets}:
            kinds[kind] = kinds.get(kind, 0) + 1
    return [kind for kind, n in kinds.items() if n >= _PRESENT * len(recording.asked)]


def _undecided(recording: Recording) -> tuple[int, ...]:
    """Quarter turns that came after too few others: what was made before might pass for them."""
    asked = [turn for step in recording.asked for turn in step.turns or ()]
    before: dict[int, set[int]] = {turn: set() for turn in _QUARTERS}
    for earlier, turn in pairwise(asked):
        if turn in before:
            before[turn].add(earlier)
    return tuple(turn for turn, others in before.items() if len(others) < _LEAST_EACH)


def _ambiguous(fitting: list[_Judged], turns: tuple[int, ...]) -> Refused:
    fields = {
        one.candidate.layout.turns and one.candidate.layout.turns.codes.first for one in fitting
    }
    many = f"{len(fields)} fields tell the same turns" if len(fields) > 1 else "a field fits"
    return Refused(
        "ambiguous",
        f"{many}, but in this recording the turn before could be taken for the turn; what would "
        f"decide: make each of {turns_text(turns)} after {_LEAST_EACH} different turns",
        turns,
    )


def _explained(recording: Recording, judged: list[_Judged]) -> Refused:
    nearly = max(judged, key=lambda one: one.hearing.right, default=None)
    if nearly is not None and nearly.hearing.right > len(recording.asked) // 2:
        return _missed(nearly.hearing)
    by_kind = {kind: _of_kind(recording, kind) for kind in _kinds_of_turning(recording)}
    if all(looks_encrypted(packets) for packets in by_kind.values()):
        return Refused(
            "encrypted",
            "the packets look encrypted: their bits are as even as coins, and no field goes with "
            "the turns; it takes a transform that makes them plain (protocols/README.md)",
        )
    return Refused(
        "unknown",
        "no field goes with the turns in a shape that is known; the recording is what a decoder "
        "in code could be written from",
    )


def _of_kind(recording: Recording, kind: tuple[str, int]) -> list[bytes]:
    return [p.data for p in recording.packets if (p.char, len(p.data)) == kind]


def _missed(hearing: Hearing) -> Refused:
    if hearing.lost or (hearing.wrong and not hearing.solved):
        return Refused(
            "lost", "packets were lost, or other turns made than were asked for; record once more"
        )
    if len(hearing.free) < _LEAST_FREE:
        return Refused("too few", f"the free sequence must have {_LEAST_FREE} turns or more")
    return Refused(
        "not solved", "the turns are told, but the free sequence did not come out solved; once more"
    )
