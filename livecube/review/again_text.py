"""News of tries of a missed moment as plain lines and as JSON objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.advice.words import turns_counted
from livecube.cube.code import position_code
from livecube.cube.holding import hand_moves
from livecube.cube.notation import facelets_text, moves_text
from livecube.cube.position import turns_text
from livecube.review.moment import Brought, Moment
from livecube.review.trying import (
    ReadyToTry,
    SetUpAsked,
    SetUpGuided,
    Tried,
    TryGivenUp,
    TryTurned,
    WayShown,
)
from livecube.timing.results import seconds_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.review.trying import Place, Scene, TryNews

__all__ = [
    "again_json",
    "again_line",
    "better_way",
    "held_so",
    "moment_sentence",
    "set_up_text",
    "tried_sentence",
    "ways_sentence",
]


def moment_sentence(moment: Moment, title: str) -> str:
    """The moment that is set up, and how the solve went on from it."""
    when = f"after {turns_counted(moment.after)} of" if moment.after else "at the beginning of"
    code = position_code(moment.position)
    return f"{title}, {when} pair {moment.pair} ({code}); then: {_done_then(moment)}"


def better_way(place: Place) -> str:
    """The advised way, as moves in the hands."""
    row = place.row
    return f"{row.title} into {' and '.join(row.slots)}: {moves_text(row.moves)}   [{row.holding}]"


def held_so(place: Scene) -> str:
    """How the cube is held while a place is set up."""
    holding = place.set_up_holding
    return f"{holding.up} up, {holding.front} in front"


def set_up_text(news: SetUpAsked | SetUpGuided, turns: Sequence[int]) -> str:
    """Turns of a set-up, as moves in the hands."""
    return moves_text(hand_moves(turns, news.place.set_up_holding))


def again_line(news: TryNews) -> str | None:
    """One line for a piece of news; None if it is not worth a line."""
    text: str | None
    match news:
        case SetUpAsked():
            turns = set_up_text(news, news.turns) or "the cube is there already"
            text = f"set-up {news.number}, {held_so(news.place)}: {turns}"
        case SetUpGuided() if news.guidance.back:
            text = f"wrong turn; undo it with {set_up_text(news, news.guidance.back)}"
        case SetUpGuided() | TryTurned():
            text = None
        case ReadyToTry():
            way = "" if isinstance(news.place, Brought) else f" {better_way(news.place)}"
            text = f"set up; the first turn starts the time.{way}"
        case Tried():
            text = tried_sentence(news)
        case WayShown():
            text = f"shown: {better_way(news.place)}"
        case TryGivenUp():
            text = f"try {news.number} starts again"
    return None if text is None else f"{news.t:8.2f}  {text}"


def tried_sentence(tried: Tried) -> str:
    """The try, compared with the advised way and with the solve, or with the quickest ways."""
    row = tried.place.row
    verdict = "as advised" if tried.as_advised else "not what was advised"
    looked = f"after {seconds_text(tried.look_ms / 1000)} s of looking"
    done = (
        f"try {tried.number}: {_done(tried.techniques, tried.slots)}, "
        f"{turns_counted(tried.turns)} in {seconds_text(tried.ms / 1000)} s, {looked} (measured)"
    )
    if isinstance(tried.place, Brought):
        return f"{done}; {ways_sentence(tried.place)}"
    return (
        f"{done}: {verdict}; "
        f"advised: {row.technique}, {turns_counted(row.turns)}, about {row.seconds:.2f} s "
        f"(predicted)"
        + (f"; in the solve: {_done_then(tried.place)}" if isinstance(tried.place, Moment) else "")
    )


def ways_sentence(place: Brought) -> str:
    """The quickest way of each technique in a position that was handed on."""
    ways = "; ".join(
        f"{_done((row.technique,), row.slots)} {row.seconds:.2f} + {row.looking:.2f}"
        for row in place.ways
    )
    return f"the quickest ways, in seconds of turning and looking (predicted): {ways}"


def _done_then(moment: Moment) -> str:
    how = _done(moment.techniques, moment.slots)
    return f"{how}, {turns_counted(moment.turns)} in {seconds_text(moment.seconds)} s (measured)"


def _done(techniques: tuple[str, ...], slots: tuple[str, ...]) -> str:
    return f"{', '.join(techniques)} into {' and '.join(slots)}"


# News of tries as JSON objects. Keys are stable.


def again_json(news: TryNews) -> dict[str, Any]:
    """The JSON object of a piece of news."""
    rest: dict[str, Any]
    match news:
        case SetUpAsked():
            holding = news.place.set_up_holding
            name, rest = (
                "set-up",
                {
                    "number": news.number,
                    "turns": turns_text(news.turns),
                    "moves": moves_text(hand_moves(news.turns, holding)),
                    "up": holding.up,
                    "front": holding.front,
                    "code": position_code(news.place.position),
                },
            )
        case SetUpGuided():
            guidance = news.guidance
            name, rest = (
                "setting-up",
                {
                    "upcoming": turns_text(guidance.upcoming),
                    "back": turns_text(guidance.back),
                    "reached": guidance.reached,
                },
            )
        case ReadyToTry():
            name, rest = "ready", {"number": news.number, **_place(news.place)}
        case TryTurned():
            facelets = facelets_text(np.frombuffer(news.position, dtype=np.uint8))
            name, rest = "try-turn", {"number": news.number, "facelets": facelets}
        case Tried():
            name, rest = (
                "tried",
                {
                    "number": news.number,
                    "techniques": list(news.techniques),
                    "slots": list(news.slots),
                    "turns": news.turns,
                    "ms": news.ms,
                    "look_ms": news.look_ms,
                    "pause_ms": news.pause_ms,
                    "as_advised": news.as_advised,
                    **_place(news.place),
                },
            )
        case WayShown():
            name, rest = "shown", {"number": news.number, "advised": news.place.row.as_json()}
        case TryGivenUp():
            name, rest = "anew", {"number": news.number}
    return {"event": name, "t": round(news.t, 6), **rest}


def _place(place: Place) -> dict[str, Any]:
    advised: dict[str, Any] = {"advised": place.row.as_json()}
    if isinstance(place, Brought):
        return {**advised, "ways": [row.as_json() for row in place.ways]}
    if not isinstance(place, Moment):
        return advised
    return {
        "pair": place.pair,
        "after": place.after,
        **advised,
        "then": {
            "techniques": list(place.techniques),
            "slots": list(place.slots),
            "turns": place.turns,
            "seconds": round(place.seconds, 6),
        },
    }
