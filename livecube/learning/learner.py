"""From a recording to a profile, or to a refusal with its reason."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from livecube.learning.judging import completed, cut, judge_all, worth
from livecube.learning.refusals import (
    LEAST_FREE,
    ambiguous,
    explained,
    slip_text,
    too_few,
    undecided,
    unseen,
)
from livecube.learning.verdicts import Learned, Refused
from livecube.profiles.fields import Field

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.learning.inference import Candidate
    from livecube.learning.judging import Judged
    from livecube.learning.recording import Recording
    from livecube.profiles.values import Claim, Layout

__all__ = ["learn"]

_SHOWN_PER_S: Final = 33
"""Faster ticks are hidden by the radio's jitter."""
_FINE_PER_S: Final = 500
"""Whether a clock ticks faster than this makes no difference to times of turns."""


def learn(recording: Recording, name: str, claim: Claim) -> Learned | Refused:
    """The profile of the recorded cube, called ``name``, or a refusal with its reason.

    A quarter of the asked steps and the whole free sequence are set aside as a check. A profile is
    accepted only if it decodes these steps right, except a few slips, and ends with the cube solved
    after the free sequence.
    """
    refused = too_few(recording)
    if refused is not None:
        return refused
    judged = judge_all(recording, name, claim)
    good = [one for one in judged if one.hearing.perfect and len(one.hearing.free) >= LEAST_FREE]
    unclear = undecided(recording)
    fitting = [one for one in judged if one.hearing.right > cut(recording) // 2]
    if unclear and fitting:
        return ambiguous(fitting, unclear)
    if not good:
        return explained(recording, judged)
    best = completed(max(good, key=worth), recording, name, claim)
    refused = unseen(best, good, recording)
    if refused is not None:
        return refused
    held_out = range(cut(recording) + 1, len(recording.asked) + 1)
    slips = {slip.step for slip in best.hearing.otherwise} | set(best.hearing.silent)
    told = len(set(held_out) - slips)
    profile = replace(best.profile, layouts=tuple(_careful(best.profile.layouts, recording)))
    return Learned(profile, told, len(best.hearing.free), _notes(best))


def _careful(layouts: tuple[Layout, ...], recording: Recording) -> Iterator[Layout]:
    """The same layouts, but a check value is used only while leading constant bytes stay the same.

    While these bytes do not change, it is unknown whether the check value covers them.
    """
    for layout in layouts:
        if layout.check is None:
            yield layout
            continue
        plain = [layout.plain(p.data) for p in recording.packets
                 if p.char == layout.characteristic]  # fmt: skip
        packets = [*filter(layout.fits, plain)]
        still, last = 0, layout.check.last + (layout.shortest if layout.check.last < 0 else 0)
        while still < last and len({packet[still] for packet in packets}) == 1:
            still += 1
        matched = {field.start // 8 for field, _ in layout.match if field.bits == 8}
        fixed = tuple(
            (Field(8 * at, 8, layout.check.field.order), packets[0][at])
            for at in range(still)
            if at not in matched
        )
        if fixed:
            yield replace(layout, match=layout.match + fixed)
            yield _unchecked(layout)
        else:
            yield layout


def _unchecked(layout: Layout) -> Layout:
    """The same without its check value; a list that ends before it is as long as is certain."""
    turns, check = layout.turns, layout.check
    if turns is not None and check is not None and check.behind:
        sure = 8 * (layout.shortest - check.behind)
        count = sum(field.end <= sure for field in turns.codes.fields)
        turns = replace(turns, codes=replace(turns.codes, count=count))
    return replace(layout, check=None, turns=turns)


def _notes(judged: Judged) -> tuple[str, ...]:
    hearing = judged.hearing
    notes = [*_counter_notes(judged.candidate), *_clock_notes(judged.candidate)]
    if judged.candidate.layout.check is not None:
        notes.append(
            "A check value was found; a coincidence is less likely than 1 in "
            f"2^{judged.candidate.odds}."
        )
    notes += [f"Left out as a slip: {slip_text(slip)}." for slip in hearing.otherwise]
    if hearing.silent:
        steps = ", ".join(map(str, hearing.silent))
        notes.append(f"No turn came in step {steps}: a packet was lost, or no turn was made.")
    return tuple(notes)


def _counter_notes(candidate: Candidate) -> Iterator[str]:
    layout = candidate.layout
    if layout.counter is None:
        yield "No counter of turns was found: a lost packet may go unnoticed."
    elif layout.turns and layout.turns.codes.count == 1:
        yield (
            "No earlier turns were found in a packet: lost turns leave a gap and are not recovered."
        )
    if layout.counter is not None and candidate.beyond:
        yield (
            f"Only the lowest {layout.counter.bits} bits of a counter are used, since its wrap was "
            "not seen. If that is no power of two, a gap is reported there without a loss."
        )


def _clock_notes(candidate: Candidate) -> Iterator[str]:
    per_second, wrap = candidate.per_second, candidate.layout.clock_wrap
    if wrap is not None:
        yield (
            f"The clock starts again after {wrap / per_second:g} s; that this takes exactly "
            f"{wrap} ticks is inferred, since it is a round number."
        )
    if candidate.finer and candidate.layout.clock is not None and per_second < _FINE_PER_S:
        yield (
            "Perhaps lower bits of the clock are left out: the radio's jitter hides whether they "
            f"belong to it. Turns are timed to {1000 / per_second:.0f} ms."
        )
    if candidate.coarse:
        yield (
            f"A clock of {candidate.coarse} ticks a second was left out: two turns in one tick "
            "would look like a packet sent again. Turns are timed when they arrive."
        )
    elif candidate.layout.clock is None:
        yield "No clock was found: turns are timed when they arrive."
    elif candidate.hidden:
        yield (
            f"The lowest {candidate.hidden} bits of the clock are left out: the radio's jitter "
            f"hides how they are masked. Turns are timed to {1000 / per_second:.0f} ms."
        )
    elif per_second > _SHOWN_PER_S:
        yield (
            "The clock's fastest bits cannot be checked over the radio: that it ticks "
            f"{per_second} times a second is inferred from the bounds of other fields."
        )
