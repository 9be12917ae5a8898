"""What trying a missed moment again tells, as JSON objects. Keys are stable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.facelets import facelets_text
from livecube.cube.holding import hand_moves
from livecube.cube.notation import moves_text
from livecube.cube.turns import turns_text
from livecube.review.moment import Moment
from livecube.review.trying import ReadyToTry, SetUpAsked, SetUpGuided, Tried, TryGivenUp, TryTurned

if TYPE_CHECKING:
    from livecube.review.one_try import Place
    from livecube.review.trying import TryNews

__all__ = ["again_json"]


def again_json(news: TryNews) -> dict[str, Any]:
    """The object of what a try tells."""
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
        case TryGivenUp():
            name, rest = "anew", {"number": news.number}
    return {"event": name, "t": round(news.t, 6), **rest}


def _place(place: Place) -> dict[str, Any]:
    advised = {"advised": place.row.as_json()}
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
