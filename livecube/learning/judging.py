"""All candidates for a recording, each judged by what its own decoder makes of the recording."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import permutations, product
from typing import TYPE_CHECKING, Final

from livecube.learning.inference import candidates
from livecube.learning.kinds import kinds_in
from livecube.learning.recording import Recording, Step
from livecube.learning.samples import ORDERS
from livecube.learning.verifying import hear
from livecube.profiles.values import Claim, Layout, Profile

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from livecube.events import Packet
    from livecube.learning.inference import Candidate
    from livecube.learning.kinds import Kind
    from livecube.learning.verifying import Hearing
    from livecube.profiles.fields import Order

__all__ = ["PRESENT", "Judged", "completed", "cut", "judge_all", "unheard", "worth"]

_HELD_OUT: Final = 0.25
"""Share of the asked steps that is set aside as a check."""
PRESENT: Final = 0.6
"""A kind of packet that reports turns comes in at least this share of the steps."""
_MOST_STRANGE: Final = 3
"""If more turns lack a code, unknown codes are not tried as their codes."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A candidate, its profile, and what the profile's decoder made of the recording."""

    kind: Kind
    candidate: Candidate
    profile: Profile
    hearing: Hearing


def cut(recording: Recording) -> int:
    """Number of asked steps to learn from; the rest is set aside as a check."""
    return round(len(recording.asked) * (1 - _HELD_OUT))


def judge_all(
    recording: Recording,
    name: str,
    claim: Claim,
    suffices: Callable[[Judged], bool] = lambda one: False,
) -> list[Judged]:
    """Every candidate, judged.

    Kinds with a type field or of any length are tried only if whole lengths make no sense; but
    packets that made sense in one byte order are tried in the other one, too. The long search for
    slips in positions is only for characteristics that make no sense without, and only if no
    candidate ``suffices``.
    """
    kinds = [(kind, order) for order in ORDERS for kind in kinds_in(recording.packets, order)]
    kinds.sort(key=lambda one: _last_resort(one[0]))
    of_kind = {kind: _only(kind, recording) for kind, _ in kinds}
    judged: list[Judged] = []
    done: dict[str, list[Packet]] = {}
    for slipped, (kind, order) in product((False, True), kinds):
        if slipped and any(map(suffices, judged)):
            break
        own, last = of_kind[kind], kind.match or kind.longest
        packets = own.packets
        if (last and done.get(kind.characteristic, packets) != packets) or (
            slipped and kind.characteristic in done
        ):
            continue
        for candidate in _candidates(kind, recording if kind.longest else own, order, slipped):
            one = _judged(kind, candidate, recording, name, claim)
            judged.append(one)
            if one.hearing.perfect:
                done.setdefault(kind.characteristic, packets)
    return judged


def _only(kind: Kind, recording: Recording) -> Recording:
    """The recording with packets of one kind, which is tried up to four times."""
    steps = [Step(step.turns, [*filter(kind.holds, step.packets)]) for step in recording.steps]
    return Recording([*filter(kind.holds, recording.rest)], steps)


def _last_resort(kind: Kind) -> tuple[bool, bool, int]:
    return bool(kind.longest), bool(kind.match), kind.types


def _candidates(kind: Kind, recording: Recording, order: Order, slipped: bool) -> list[Candidate]:
    known = cut(recording)
    if kind.longest and not _apart(kind, recording):
        return []  # packets at rest that are as long would be taken for turns
    asked = [
        (step.turns, [p for p in step.packets if kind.holds(p)])
        for step in recording.steps
        if step.turns is not None
    ]
    if sum(bool(packets) for _, packets in asked[:known]) < PRESENT * known:
        return []
    later = [packet for _, packets in asked[known:] for packet in packets]
    later += [p for step in recording.free for p in step.packets if kind.holds(p)]
    return candidates(kind, asked[:known], order, later, slipped=slipped)


def _apart(kind: Kind, recording: Recording) -> bool:
    """Whether packets at rest are shorter than these, or differ by a type of a whole byte.

    Nothing else may vary in that byte: the sign of a number may stay the same for minutes.
    """
    alike = replace(kind, match=())
    rest = [p for p in recording.rest if alike.holds(p)]
    if not rest or not kind.match:
        return not rest
    ((field, value),) = kind.match
    kinds = {field.read(p.data) for p in recording.packets if alike.holds(p)}
    return field.bits == 8 and len(kinds) == 2 and value not in {field.read(p.data) for p in rest}


def _judged(
    kind: Kind, candidate: Candidate, recording: Recording, name: str, claim: Claim
) -> Judged:
    candidate = replace(candidate, layout=_again(kind, candidate.layout, recording))
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
    unlike = ["another turn than the packet before, with the same number"]
    one.hearing.bad.update(unlike * _contradictions(one, recording))
    return _with_strange(one, recording)


def _again(kind: Kind, layout: Layout, recording: Recording) -> Layout:
    """The layout; if the cube also sends such packets at rest, it says so."""
    numbered = layout.counter is not None or layout.clock is not None
    at_rest = any(kind.holds(p) and layout.fits(layout.plain(p.data)) for p in recording.rest)
    return replace(layout, again=numbered and at_rest)


def _contradictions(judged: Judged, recording: Recording) -> int:
    """How many packets show another turn than the packet before, with the same number.

    They would be told as turns if that packet were lost.
    """
    layout, codes = judged.candidate.layout, judged.profile.turns
    if layout.turns is None or layout.counter is None:
        return 0
    row, counter, count = layout.turns.codes.first, layout.counter, 0
    latest: tuple[int, int] | None = None
    for data in (layout.plain(p.data) for p in recording.packets if judged.kind.holds(p)):
        number, code = counter.read(data) % layout.numbers, row.read(data)
        if latest is None or latest[0] != number:
            latest = number, code
        count += code != latest[1] and code in codes
    return count


def _with_strange(judged: Judged, recording: Recording) -> Judged:
    """The same with turns for codes that no step with the right label showed.

    That happens if the owner slipped in the only step that asked for a half turn. The codes get
    their turns only if exactly one choice explains the recording.
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
    """Asked turns without a code; half turns only if another half turn has a code."""
    codes = set(judged.candidate.codes.values())
    if not codes:
        return []
    halves = any(turn % 3 == 1 for turn in codes)
    return sorted(turn for turn in {*recording.asked_turns} - codes if halves or turn % 3 != 1)


def completed(best: Judged, recording: Recording, name: str, claim: Claim) -> Judged:
    """The best candidate, searched again in the whole recording, with wider fields.

    The highest bit of a counter or clock may change only there; and the turns of the free sequence
    are known now.
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
        for slipped in ((False,) if best.candidate.state is None else (False, True))
        for candidate in candidates(best.kind, steps, best.candidate.order, slipped=slipped)
    ]
    whole = [one for one in again if one.hearing.perfect]
    return max([*whole, best] if best.candidate.wrap_seen else whole or [best], key=worth)


def worth(judged: Judged) -> tuple[int, ...]:
    """Sort key of how much a candidate decodes, to choose among those with the same turns."""
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
    """Layouts of other packets of the same characteristic, which the decoder ignores."""
    lengths = {len(p.data) for p in packets if p.char == known.characteristic and p.data}
    for length in sorted(lengths):
        if known.match or not known.shortest <= length <= known.longest:
            yield Layout(known.characteristic, length, length)
