"""What was learned of a person's hands and eyes as JSON values, and back. Pure.

It holds sums and not turns: a person with 10,000 solves takes some 20 kB. The sums are against the
usual prices, so they mean nothing with others.
"""

from __future__ import annotations

from dataclasses import asdict
from hashlib import sha256
from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.hands.automaton import MOVES
from livecube.hands.kinship import GROUPS
from livecube.hands.noise import Looks, Noise
from livecube.hands.own_eyes import EFFECTS, EyeSums, OwnEyes
from livecube.hands.own_hands import OwnHands, Sums
from livecube.hands.verdict import Verdict

if TYPE_CHECKING:
    from collections.abc import Mapping

    from livecube.hands.automaton import Automaton, Looking
    from livecube.hands.executions import Array
    from livecube.hands.kinship import Kinship

__all__ = ["eyes_from", "eyes_state", "hands_from", "hands_state"]

_DIGITS = 6


def hands_state(own: OwnHands) -> dict[str, Any]:
    """Everything that :func:`hands_from` needs, with the usual prices, to go on learning."""
    names = _cell_names(own.kin.usual)
    cells = np.flatnonzero(own.sums.weight > 0).tolist()
    return {
        "usual": own.kin.usual.fingerprint,
        "solves": own.solves,
        "executions": own.executions,
        "doubt": round(own.doubt, _DIGITS),
        "tempos": [round(tempo, _DIGITS) for tempo in own.tempos],
        "cells": {
            names[cell]: [round(float(each[cell]), _DIGITS) for each in own.sums] for cell in cells
        },
        "noise": own.noise._asdict(),
        "looks": own.looks._asdict(),
        "variances": {
            group.name: float(variance)
            for group, variance in zip(GROUPS, own.fit.variances, strict=True)
        },
        "verdict": asdict(own.verdict),
    }


def hands_from(state: Mapping[str, Any], kin: Kinship) -> OwnHands:
    """The hands again.

    Raises ``ValueError`` if they were learned against other usual prices, or by an older livecube,
    without last layers or first turns: they must be learned anew. Raises ``KeyError`` or
    ``TypeError`` if the values are not those of ``hands_state``.
    """
    if state["usual"] != kin.usual.fingerprint:
        raise ValueError("these hands were learned against other usual prices")
    if not {"tempos", "looks"} <= {*state}:
        raise ValueError("these hands were learned by an older livecube")
    numbers = {name: cell for cell, name in enumerate(_cell_names(kin.usual))}
    sums = Sums(*np.zeros((3, len(kin.usual_ms))))
    for name, values in state["cells"].items():
        for each, value in zip(sums, values, strict=True):
            each[numbers[name]] = value
    noise, looks = Noise(**state["noise"]), Looks(**state["looks"])
    variances = np.array([state["variances"][group.name] for group in GROUPS])
    executions, solves = int(state["executions"]), int(state["solves"])
    fit = kin.fit(sums.means(noise, executions, solves), variances)
    verdict, doubt = Verdict(**state["verdict"]), float(state["doubt"])
    tempos = tuple(map(float, state["tempos"]))
    return OwnHands(fit, sums, noise, verdict, executions, solves, doubt, tempos, looks)


def eyes_state(own: OwnEyes) -> dict[str, Any]:
    """Everything that :func:`eyes_from` needs, with the usual table, to go on learning."""
    seen = np.flatnonzero(np.diag(own.sums.square) > 0).tolist()
    return {
        "usual": _fingerprint(own.usual),
        "solves": own.solves,
        "effects": [EFFECTS[effect] for effect in seen],
        "square": own.sums.square[np.ix_(seen, seen)].tolist(),
        "product": own.sums.product[seen].tolist(),
        "variances": dict(zip(EFFECTS, own.variances.tolist(), strict=True)),
        "noise": own.noise._asdict(),
        "verdict": asdict(own.verdict),
        "known": own.known,
    }


def eyes_from(state: Mapping[str, Any], usual: Looking) -> OwnEyes:
    """The eyes again. Raises as :func:`hands_from` does."""
    if state["usual"] != _fingerprint(usual):
        raise ValueError("these eyes were learned against another usual table")
    seen = [EFFECTS.index(name) for name in state["effects"]]
    square, product = np.zeros((len(EFFECTS), len(EFFECTS))), np.zeros(len(EFFECTS))
    square[np.ix_(seen, seen)] = np.array(state["square"]).reshape(len(seen), len(seen))
    product[seen] = state["product"]
    sums = EyeSums(square, product)
    variances: Array = np.array([state["variances"][name] for name in EFFECTS])
    return OwnEyes(
        usual,
        *sums.effects(variances),
        variances,
        sums,
        Noise(**state["noise"]),
        Verdict(**state["verdict"]),
        int(state["solves"]),
        float(state["known"]),
    )


def _cell_names(automaton: Automaton) -> list[str]:
    rotations = [" ".join(map(str, moves)) for moves in automaton.rotation_moves[0]]
    return [f"{row}|{move}" for row in (*automaton.state_names, *rotations) for move in MOVES]


def _fingerprint(usual: Looking) -> str:
    return sha256(repr(usual.table).encode()).hexdigest()[:16]
