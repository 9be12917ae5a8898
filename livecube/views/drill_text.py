"""What drills tell, as plain lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.cube.notation import moves_text
from livecube.drills.news import DrillReady
from livecube.review.findings import turns_counted

if TYPE_CHECKING:
    from datetime import timedelta

    from livecube.drills.judging import DrillJudged
    from livecube.drills.news import DrillNews
    from livecube.drills.positions import DrillPlace

__all__ = ["asked_sentence", "drill_line", "judged_sentence", "span_text"]

_MINUTE_S = 60
_HOUR_S = 60 * _MINUTE_S
_DAY_S = 24 * _HOUR_S


def drill_line(news: DrillNews) -> str:
    """One line for what happened."""
    if isinstance(news, DrillReady):
        text = f"there: {asked_sentence(news.place)} The first turn starts the time."
    else:
        text = judged_sentence(news)
    return f"{news.t:8.2f}  {text}"


def asked_sentence(place: DrillPlace) -> str:
    """What is to be found in a position."""
    into = "two slots" if len(place.row.slots) > 1 else "which slot"
    return f"{place.row.title}: into {into}, and how? ({place.grade})"


def judged_sentence(judged: DrillJudged) -> str:
    """What was done, against what was asked, in two sentences and when it comes again."""
    again = "" if judged.next_in is None else f" Again in {span_text(judged.next_in)}."
    return f"{_done(judged)} {_best(judged)}{again}"


def _done(judged: DrillJudged) -> str:
    how = f"{', '.join(judged.techniques)} into {' and '.join(judged.slots)}"
    if not judged.as_asked:
        how += f", not {judged.place.technique} into {' and '.join(judged.place.row.slots)}"
    took = f"{turns_counted(judged.turns)} in {judged.ms / 1000:.2f} s"
    pause = f"longest pause {judged.pause_ms / 1000:.2f} s"
    return (
        f"{judged.number}: {judged.how_well}: {how}; {took} after {judged.look_ms / 1000:.1f} s of "
        f"looking, {pause} (measured)."
    )


def _best(judged: DrillJudged) -> str:
    row = judged.place.row
    way = f"{moves_text(row.moves)} [{row.holding}]"
    hands = f"some {row.seconds:.2f} s (predicted)"
    if not judged.as_asked:
        return f"Asked was {way}: {turns_counted(row.turns)}, {hands}."
    if judged.over > 0:
        return f"{turns_counted(judged.over)} more than the fewest: {way}, {hands}."
    if judged.over < 0:
        return f"That is shorter than {way}; {hands} would have been enough for that."
    return f"No way of this kind is shorter; practised hands take {hands}."


def span_text(span: timedelta) -> str:
    """How long, in the unit that fits: *10 minutes*, *3 days*."""
    seconds = max(0.0, span.total_seconds())
    for size, name in ((_DAY_S, "day"), (_HOUR_S, "hour"), (_MINUTE_S, "minute")):
        if seconds >= size or name == "minute":
            number = max(1, round(seconds / size))
            return f"{number} {name}{'s' if number != 1 else ''}"
    raise AssertionError("a minute is the least")
