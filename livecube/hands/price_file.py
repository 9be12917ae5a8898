"""A table of prices as a file of prices, as ``livecube hands`` prints and reads them. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES
from livecube.hands.automaton import MOVES, NEVER, cells_of_line
from livecube.hands.features import EYES, WHERE, Behind

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.hands.automaton import Automaton
    from livecube.hands.executions import Array

__all__ = ["CLOSE_MS", "price_file"]

CLOSE_MS: Final = 3
"""A price may be so many milliseconds off; lines that would bring less are left out."""
_NAMES: Final = tuple(map(str, MOVES))
_TURNS_OF_U: Final = _NAMES[:3]
_LEAST_MS: Final = -100


def price_file(automaton: Automaton, heading: str) -> str:
    """The prices of an automaton as TOML, behind a comment.

    Read back, it makes an automaton whose prices are within :data:`CLOSE_MS` of this one, unless a
    move is more than 0.1 s cheaper after others than at the beginning of a sequence.
    """
    start = automaton.seconds_ms[automaton.start].reshape(2, len(FACES), 3)
    wide = np.maximum(np.rint((start[1] - start[0]).mean(axis=1)), 0).astype(int)
    price = np.concatenate([start[0], start[0] + wide[:, None]]).ravel()
    looking = automaton.looking.table
    rotation = automaton.single_rotation_ms
    parts = [
        *(f"# {line}" for line in heading.splitlines()),
        "",
        "[turn]",
        *(f"{face} = {_triple(start[0][i])}" for i, face in enumerate(FACES)),
        "",
        "[wide]",
        *(f"{face} = {_seconds(wide[i])}" for i, face in enumerate(FACES)),
        "",
        "[rotation]",
        *(f"{axis} = {_triple([rotation[axis + a] for a in ('', '2', _BACK)])}" for axis in "yxz"),
        "",
        "[hands]",
        "behind = [",
        *(_line(one) for one in _lines(automaton, price)),
        "]",
        "",
        "[eyes]",
        *(f"{name} = {looking[name]}" for name in EYES),
        "",
        "[eyes.places]",
        *(f"{name} = {looking['places'][name]}".replace("'", '"') for name in WHERE),
        "",
        "[eyes.techniques]",
        *(f"{name} = {seconds}" for name, seconds in looking["techniques"].items()),
    ]
    return "\n".join(parts) + "\n"


_BACK: Final = "'"


def _line(one: Behind) -> str:
    moves, extra = " ".join(one.moves), _seconds(one.extra_ms)
    return f'  {{ moves = "{moves}", extra = {extra}, only = true }},'


def _seconds(ms: float) -> str:
    return f"{int(ms) / 1000:g}"


def _triple(ms: Array | list[int]) -> str:
    return "[" + ", ".join(map(_seconds, ms)) + "]"


def _lines(automaton: Automaton, price: Array) -> Iterator[Behind]:
    """The extras, each after those that it corrects: wide turns after the face turns."""
    written = automaton.seconds_ms < NEVER
    wanted = np.maximum(np.where(written, automaton.seconds_ms - price, 0), _LEAST_MS)
    extra = np.zeros_like(wanted)
    for tokens in sorted(_contexts(automaton), key=lambda tokens: "".join(tokens).count("w")):
        exact = _exact(automaton, tokens)
        here = wanted[exact][written[exact]]
        if here.size and (np.abs(here - extra[exact][written[exact]]) > CLOSE_MS).any():
            line = Behind(tokens, int(np.median(here)))
            extra[cells_of_line(line)] = line.extra_ms
            yield line


def _contexts(automaton: Automaton) -> Iterator[tuple[str, ...]]:
    """All that a line can name exactly: first two moves, then with a turn of U between."""
    names = [name for name in automaton.state_names if " " not in name]
    for before in (*_TURNS_OF_U, *names):
        for move in _NAMES:
            yield before, move
    for before in names:
        for between in _TURNS_OF_U:
            for move in _NAMES:
                yield before, between, move


def _exact(automaton: Automaton, tokens: tuple[str, ...]) -> tuple[Array, ...]:
    """The prices whose moves are these, wide or not as they are named."""
    before = " ".join(tokens[:-1])
    states = [
        number
        for number, name in enumerate(automaton.state_names)
        if name == before or (before in _TURNS_OF_U and name.endswith(f" {before}"))
    ]
    return np.ix_(states, [_NAMES.index(tokens[-1])])
