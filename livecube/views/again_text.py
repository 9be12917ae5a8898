"""What trying a missed moment again tells, as plain lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.cube.holding import hand_moves
from livecube.cube.notation import moves_text
from livecube.review.findings import turns_counted
from livecube.review.moment import Moment
from livecube.review.trying import ReadyToTry, SetUpAsked, SetUpGuided, Tried, TryGivenUp, TryTurned

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.review.one_try import Place, Scene
    from livecube.review.trying import TryNews

__all__ = [
    "again_line",
    "better_way",
    "held_so",
    "moment_sentence",
    "set_up_text",
    "tried_sentence",
]


def moment_sentence(moment: Moment, title: str) -> str:
    """What is brought back, and what was done then."""
    when = f"after {turns_counted(moment.after)} of" if moment.after else "at the beginning of"
    return f"{title}, {when} pair {moment.pair}; then: {_done_then(moment)}"


def better_way(place: Place) -> str:
    """What was advised, in the hands."""
    row = place.row
    return f"{row.title} into {' and '.join(row.slots)}: {moves_text(row.moves)}   [{row.holding}]"


def held_so(place: Scene) -> str:
    """How the cube is held while a place is set up."""
    holding = place.set_up_holding
    return f"{holding.up} up, {holding.front} in front"


def set_up_text(news: SetUpAsked | SetUpGuided, turns: Sequence[int]) -> str:
    """Turns of a set-up, in the hands."""
    return moves_text(hand_moves(turns, news.place.set_up_holding))


def again_line(news: TryNews) -> str | None:
    """One line for what happened; None for what is not worth one."""
    text: str | None
    match news:
        case SetUpAsked():
            turns = set_up_text(news, news.turns) or "the cube stands there"
            text = f"set-up {news.number}, {held_so(news.place)}: {turns}"
        case SetUpGuided() if news.guidance.back:
            text = f"wrong turn; back with {set_up_text(news, news.guidance.back)}"
        case SetUpGuided() | TryTurned():
            text = None
        case ReadyToTry():
            text = f"set up; the first turn starts the time. {better_way(news.place)}"
        case Tried():
            text = tried_sentence(news)
        case TryGivenUp():
            text = f"try {news.number} begins anew"
    return None if text is None else f"{news.t:8.2f}  {text}"


def tried_sentence(tried: Tried) -> str:
    """What was done, against what was advised and what was done in the solve."""
    row = tried.place.row
    verdict = "as advised" if tried.as_advised else "not what was advised"
    looked = f"after {tried.look_ms / 1000:.2f} s of looking"
    return (
        f"try {tried.number}: {_done(tried.techniques, tried.slots)}, "
        f"{turns_counted(tried.turns)} in {tried.ms / 1000:.2f} s, {looked} (measured): {verdict}; "
        f"advised: {row.technique}, {turns_counted(row.turns)}, some {row.seconds:.2f} s "
        f"(predicted)"
        + (f"; in the solve: {_done_then(tried.place)}" if isinstance(tried.place, Moment) else "")
    )


def _done_then(moment: Moment) -> str:
    how = _done(moment.techniques, moment.slots)
    return f"{how}, {turns_counted(moment.turns)} in {moment.seconds:.2f} s (measured)"


def _done(techniques: tuple[str, ...], slots: tuple[str, ...]) -> str:
    return f"{', '.join(techniques)} into {' and '.join(slots)}"
