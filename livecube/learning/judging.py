"""Every reading of the packets, with what its own decoder makes of the recording."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import permutations
from typing import TYPE_CHECKING, Final

from livecube.learning.inference import candidates
from livecube.learning.kinds import kinds_in
from livecube.learning.samples import ORDERS
from livecube.learning.verifying import hear
from livecube.profiles.values import Claim, Layout, Profile

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.events import Packet
    from livecube.learning.inference import Candidate
    from livecube.learning.kinds import Kind
    from livecube.learning.recording import Recording
    from livecube.learning.verifying import Hearing
    from livecube.profiles.fields import Order

__all__ = ["PRESENT", "Judged", "completed", "cut", "judge_all", "unheard", "worth"]

_HELD_OUT: Final = 0.25
"""This part of what was asked is only used to judge."""
PRESENT: Final = 0.6
"""A kind of packet that tells turns comes in so many of the steps."""
_MOST_STRANGE: Final = 3
"""So many turns may be without a code that was told where they were asked for."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A candidate, and what its decoder made of the recording."""

    kind: Kind
    candidate: Candidate
    profile: Profile
    hearing: Hearing


def cut(recording: Recording) -> int:
    """So many of the asked steps are learned from; the rest is set aside as a check."""
    return round(len(recording.asked) * (1 - _HELD_OUT))


def judge_all(recording: Recording, name: str, claim: Claim) -> list[Judged]:
    """Every candidate with what its decoder made of the recording.

    A part of the packets of one length is only looked at if all of them together make no sense.
    """
    kinds = [(kind, order) for order in ORDERS for kind in kinds_in(recording.packets, order)]
    judged: list[Judged] = []
    done: set[str] = set()
    for kind, order in sorted(kinds, key=lambda one: _last_resort(one[0])):
        if kind.characteristic in done and (kind.match or kind.longest):
            continue
        for candidate in _candidates(kind, recording, order):
            one = _judged(kind, candidate, recording, name, claim)
            judged.append(one)
            if one.hearing.perfect:
                done.add(kind.characteristic)
    return judged


def _last_resort(kind: Kind) -> tuple[bool, bool, int]:
    return bool(kind.longest), bool(kind.match), kind.types


def _candidates(kind: Kind, recording: Recording, order: Order) -> list[Candidate]:
    known = cut(recording)
    if kind.longest and any(replace(kind, match=()).holds(p) for p in recording.rest):
        return []  # what is as long as turns and tells none cannot be told from them
    asked = [
        (step.turns, [p for p in step.packets if kind.holds(p)])
        for step in recording.steps
        if step.turns is not None
    ]
    if sum(bool(packets) for _, packets in asked[:known]) < PRESENT * known:
        return []
    later = [packet for _, packets in asked[known:] for packet in packets]
    later += [p for step in recording.free for p in step.packets if kind.holds(p)]
    return candidates(kind, asked[:known], order, later)


def _judged(
    kind: Kind, candidate: Candidate, recording: Recording, name: str, claim: Claim
) -> Judged:
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
    one = Judged(kind, candidate, profile, hear(profile, recording))
    return _with_strange(one, recording)


def _with_strange(judged: Judged, recording: Recording) -> Judged:
    """The same with a meaning for codes that were never told in a step that asked for their turn.

    That happens where the one step that asks for a half turn was a slip. A meaning counts if
    with it, and with no other, the cube comes out solved.
    """
    strange, codes = judged.hearing.strange, judged.candidate.codes
    missing = unheard(judged, recording)
    if not strange or not len(strange) <= len(missing) <= _MOST_STRANGE:
        return judged
    found = []
    for turns in permutations(missing, len(strange)):
        more = codes | dict(zip(strange, turns, strict=True))
        profile = replace(judged.profile, turns=more)
        hearing = hear(profile, recording)
        if hearing.perfect:
            candidate = replace(judged.candidate, codes=more)
            found.append(replace(judged, candidate=candidate, profile=profile, hearing=hearing))
    return found[0] if len(found) == 1 else judged


def unheard(judged: Judged, recording: Recording) -> list[int]:
    """Turns that were asked for and have no code; half turns only if some of them have one."""
    codes = set(judged.candidate.codes.values())
    if not codes:
        return []
    asked = {turn for step in recording.asked for turn in step.turns or ()}
    halves = any(turn % 3 == 1 for turn in codes)
    return sorted(turn for turn in asked - codes if halves or turn % 3 != 1)


def completed(best: Judged, recording: Recording, name: str, claim: Claim) -> Judged:
    """The same, with fields of which more was seen in the rest of the recording.

    A counter's or a clock's highest bit may not have moved before; what was free is known now.
    """
    steps = [
        (
            tuple(best.hearing.free) if step.turns is None and len(recording.free) == 1
            else step.turns or (),
            [packet for packet in step.packets if best.kind.holds(packet)],
        )
        for step in recording.steps
    ]  # fmt: skip
    again = [
        _judged(best.kind, candidate, recording, name, claim)
        for candidate in candidates(best.kind, steps, best.candidate.order)
    ]
    whole = [one for one in again if one.hearing.perfect]
    return max([*whole, best] if best.candidate.wrap_seen else whole or [best], key=worth)


def worth(judged: Judged) -> tuple[int, ...]:
    """How much a candidate makes of its packets, to choose among those that tell the same."""
    layout = judged.candidate.layout
    return (
        layout.turns is not None,
        layout.counter is not None,
        -judged.hearing.slips,
        0 if layout.turns is None else layout.turns.codes.count,
        layout.turns is not None and layout.turns.elapsed is not None,
        layout.numbers,
        0 if layout.clock is None else layout.clock.bits,
        layout.check is not None,
        not layout.match,
        -judged.kind.types,
        sum(field.bits for field, _ in layout.match),
        -sum(field.start for field, _ in layout.match),
    )


def _others(known: Layout, packets: list[Packet]) -> Iterator[Layout]:
    """What else comes from the same characteristic, to be passed over."""
    lengths = {len(p.data) for p in packets if p.char == known.characteristic and p.data}
    for length in sorted(lengths):
        if known.match or not known.shortest <= length <= known.longest:
            yield Layout(known.characteristic, length, length)
