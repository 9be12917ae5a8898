"""Refusals: why nothing is learned from a recording, and what would help."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from livecube.cube.position import turns_text
from livecube.learning.judging import PRESENT, unheard
from livecube.learning.secrecy import looks_encrypted
from livecube.learning.verdicts import Refused

if TYPE_CHECKING:
    from livecube.learning.judging import Judged
    from livecube.learning.recording import Recording
    from livecube.learning.verifying import Otherwise

__all__ = ["LEAST_FREE", "ambiguous", "explained", "slip_text", "too_few", "undecided", "unseen"]

_QUARTERS: Final = tuple(turn for turn in range(18) if turn % 3 != 1)
_LEAST_EACH: Final = 3
"""Every quarter turn must be asked for this often, each time after a different turn."""
_ASLEEP_S: Final = 15.0
"""In a pause longer than this a cube may lose power or sleep, and its counter start again."""
LEAST_FREE: Final = 8
"""A free sequence has at least this many turns."""


def too_few(recording: Recording) -> Refused | None:
    """The refusal if too few turns were asked for, or too few packets came; else None."""
    asked = recording.asked_turns
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
    if not _characteristics_of_turning(recording):
        return _scattered(recording) or Refused(
            "too few", "too few packets came while the cube was turned; was it connected and awake?"
        )
    return None


def _scattered(recording: Recording) -> Refused | None:
    """The refusal if packets came in most steps, but from different characteristics."""
    heard = sum(bool(step.packets) for step in recording.asked)
    if heard < PRESENT * len(recording.asked):
        return None
    many = len({p.char for step in recording.asked for p in step.packets})
    return Refused(
        "unknown",
        f"packets came in {heard} of {len(recording.asked)} steps, but from {many} characteristics "
        "and from none of them in most steps; that takes a decoder in code",
    )


def _characteristics_of_turning(recording: Recording) -> list[str]:
    """Characteristics that sent packets in most of the steps."""
    steps = Counter(char for step in recording.asked for char in {p.char for p in step.packets})
    return [char for char, n in steps.items() if n >= PRESENT * len(recording.asked)]


def undecided(recording: Recording) -> tuple[int, ...]:
    """Quarter turns that came after too few different turns: these might be taken for them."""
    before: dict[int, set[int]] = {turn: set() for turn in _QUARTERS}
    for earlier, turn in pairwise(recording.asked_turns):
        if turn in before:
            before[turn].add(earlier)
    return tuple(turn for turn, others in before.items() if len(others) < _LEAST_EACH)


def ambiguous(fitting: list[Judged], turns: tuple[int, ...]) -> Refused:
    """The refusal if fields fit that may hold an earlier turn; ``turns`` would decide."""
    fields = {
        one.candidate.layout.turns and one.candidate.layout.turns.codes.first for one in fitting
    }
    many = f"{len(fields)} fields match" if len(fields) > 1 else "a field matches"
    return Refused(
        "ambiguous",
        f"{many} the turns, but might hold the turn before each instead; to decide, make each "
        f"of {turns_text(turns)} after {_LEAST_EACH} different turns",
        turns,
    )


def unseen(best: Judged, good: list[Judged], recording: Recording) -> Refused | None:
    """The refusal if a longer recording has to show more of the best candidate; else None."""
    layout = best.candidate.layout
    silent = tuple(unheard(best, recording))
    if silent:
        return _make_again(silent)
    if layout.counter is None:
        return None
    packets = [layout.plain(p.data) for p in recording.packets if best.kind.holds(p)]
    values = [*map(layout.counter.read, packets)]
    more = layout.counter.values - (max(values) - min(values))
    if not best.candidate.wrap_seen:
        return Refused(
            "wrap",
            f"the counter of turns went from {min(values)} to {max(values)}, and was not seen to "
            f"start again; make about {more} more turns",
            more=more,
        )
    times = [p.t for p in recording.packets if best.kind.holds(p)]
    if layout.wrap is not None and (pause_s := _only_fell_asleep(values, times)):
        return Refused(
            "wrap",
            f"the counter of turns started again only in a pause of {pause_s:.0f} s: the cube may "
            f"have been switched off; make about {more} more turns without a pause",
            more=more,
        )
    wraps = {
        one.candidate.layout.numbers
        for one in good
        if one.candidate.layout.counter == layout.counter
        and one.hearing.slips == best.hearing.slips
    }
    if len(wraps) > 1:
        return Refused(
            "wrap",
            "the counter of turns may start again after "
            f"{' or '.join(map(str, sorted(wraps)))}; turn on until it does so once more",
            more=max(wraps),
        )
    return None


def _only_fell_asleep(values: list[int], times: list[float]) -> float:
    """The longest pause in which a counter started again, if each such pause was long; else 0."""
    pauses = [b - a for (a, b), (old, new) in zip(pairwise(times), pairwise(values), strict=True)
              if new < old]  # fmt: skip
    return max(pauses) if pauses and min(pauses) > _ASLEEP_S else 0.0


def explained(recording: Recording, judged: list[Judged]) -> Refused:
    """The refusal if no candidate is accepted."""
    nearly = max(judged, key=lambda one: one.hearing.right, default=None)
    if nearly is not None and nearly.hearing.right > len(recording.asked) // 2:
        silent = tuple(unheard(nearly, recording))
        if silent and nearly.hearing.strange:
            return _make_again(silent)
        return _missed(nearly, recording)
    repeated = [*filter(None, map(_copies, judged))]
    if repeated and (copies := max(repeated)[1]) > 1:
        return Refused(
            "unknown",
            f"each packet comes {copies} times, and no field was found that distinguishes a "
            "repeated packet from another turn; a decoder in code may do so",
        )
    if all(looks_encrypted(packets) for packets in _of_turning(recording)):
        return Refused(
            "encrypted",
            "the packets look encrypted: their bits look random, and no field depends on the "
            "turns; decoding them needs a transform (protocols/README.md)",
        )
    lengths = sorted({len(p.data) for step in recording.asked for p in step.packets})
    vary = f" (packets have {lengths[0]} to {lengths[-1]} bytes)" if len(lengths) > 2 else ""
    return Refused(
        "unknown",
        f"no field of a known form depends on the turns{vary}; a decoder in code could be written "
        "from the recording",
    )


def _missed(nearly: Judged, recording: Recording) -> Refused:
    """The refusal of a candidate that decodes most of the steps right."""
    hearing = nearly.hearing
    if (halved := sum(_is_halved(slip) for slip in hearing.otherwise)) > hearing.slips / 2:
        return Refused(
            "unknown",
            f"{halved} half turns came as one quarter turn: it seems that a packet may report "
            "several turns at once, and only one of them was found; that takes a decoder in code",
        )
    if not hearing.few_slips:
        first = [slip_text(slip) for slip in hearing.otherwise[:3]]
        first += [f"no turn came in step {at}" for at in hearing.silent[:2]]
        return Refused(
            "lost",
            f"of {hearing.steps} asked steps {hearing.slips} were received differently or not at "
            f"all, too many to leave out ({'; '.join(first)} …); "
            f"{_of_other_lengths(nearly, recording)}record once more",
        )
    if hearing.bad:
        ((reason, count),) = hearing.bad.most_common(1)
        return Refused(
            "unknown",
            f"most turns are decoded, but {count} packets do not fit the same form ({reason}); a "
            "decoder in code could be written from the recording",
        )
    if hearing.lost:
        return Refused(
            "lost",
            f"by the cube's own counter {hearing.lost} turns were lost, and without them the cube "
            "is not solved after the free sequence; "
            f"{_of_other_lengths(nearly, recording)}record once more",
        )
    if hearing.at_rest:
        return Refused(
            "unknown",
            f"{len(hearing.at_rest)} turns came while the cube was at rest at the beginning: if it "
            "was not turned, other packets are taken for turns, or old turns are sent again, and "
            "that takes a decoder in code; else record once more",
        )
    if len(hearing.free) < LEAST_FREE:
        return Refused("too few", f"the free sequence must have {LEAST_FREE} turns or more")
    return Refused(
        "not solved",
        f"{hearing.right} of {hearing.steps} asked steps were received right, but by the turns "
        "received the cube is not solved after the free sequence; solve it once more, or record "
        "once more",
    )


def _is_halved(slip: Otherwise) -> bool:
    """Whether of a half turn only one quarter was reported."""
    (asked, *more), told = slip.asked, slip.told
    return not more and asked % 3 == 1 and told in ((asked - 1,), (asked + 1,))


def _of_other_lengths(nearly: Judged, recording: Recording) -> str:
    """What else may be the reason if packets of several lengths come, at rest too."""
    lengths = [{len(p.data) for p in packets if p.char == nearly.kind.characteristic}
               for packets in (recording.rest, recording.packets)]  # fmt: skip
    others = sorted(lengths[0] - {nearly.kind.length})
    if not others or nearly.kind.longest or len(lengths[1]) < 3:
        return ""
    return (
        "or turns come in packets of other lengths, too, and no byte tells these from the packets "
        f"of {' or '.join(map(str, others))} bytes that come at rest: that takes a decoder in "
        "code; else "
    )


def _make_again(turns: tuple[int, ...]) -> Refused:
    return Refused(
        "too few",
        f"the codes of {turns_text(turns)} were not received in the steps that asked for them; "
        "make these turns once more",
        turns,
    )


def _copies(judged: Judged) -> tuple[int, int] | None:
    """The most common number of repeats of a step's turns: steps with it, and the number.

    None unless most steps are repeated.
    """
    times = Counter(
        len(slip.told) // len(slip.asked)
        for slip in judged.hearing.otherwise
        if slip.told == slip.asked * (len(slip.told) // len(slip.asked))
    )
    if times.total() <= judged.hearing.steps // 2:
        return None
    ((copies, steps),) = times.most_common(1)
    return steps, copies


def _of_turning(recording: Recording) -> list[list[bytes]]:
    """The packets of each kind that came in about as many steps as the commonest kind."""
    turning = _characteristics_of_turning(recording)
    kinds: dict[tuple[str, int], list[bytes]] = {}
    steps: Counter[tuple[str, int]] = Counter()
    for step in recording.steps:
        steps.update({(p.char, len(p.data)) for p in step.packets if p.char in turning})
        for p in step.packets:
            kinds.setdefault((p.char, len(p.data)), []).append(p.data)
    return [kinds[kind] for kind, n in steps.items() if n >= PRESENT * max(steps.values())]


def slip_text(slip: Otherwise) -> str:
    """A step whose reported turns differ from the asked ones, in words."""
    return f"step {slip.step} asked for {turns_text(slip.asked)} and {_told(slip.told)}"


def _told(turns: tuple[int, ...]) -> str:
    return f"{turns_text(turns)} came" if turns else "no turn came"
