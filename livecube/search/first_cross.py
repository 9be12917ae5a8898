"""The fastest crosses without a compiled kernel: the same search, a whole layer at once in numpy.

All sequences with the same number of moves are one array. A sequence is left when its cost and the
least time for the cross from its holding (the table that comes with livecube) exceed the limit,
which grows until a way is found. So the search is exact, and fast enough for a cross.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import SOLVED, in_one_order
from livecube.hands.automaton import NEVER
from livecube.search.book import FIRST_ROTATION
from livecube.search.hand_arrays import ORBIT, ROTATED_BY, SPIN
from livecube.search.situation import PIECE_MOVES, SLOT_SYMMETRY, cross_numbers, cross_places
from livecube.search.task import FASTEST_MS, UNIT_MS, Written, fastest_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.search.hand_arrays import HandArrays

__all__ = ["fastest_crosses"]

_STEP_MS: Final = 60
_LONGEST: Final = 12
_OPPOSITE: Final = np.array([*OPPOSITE, -1])
_NO_FACE: Final = 6

_HOME: Final = np.array(cross_places(SOLVED.tolist()))

Ints = npt.NDArray[np.int64]


class _Nodes(NamedTuple):
    """Sequences with the same number of moves, one entry a sequence in each array."""

    places: Ints
    """Shape (n, 4): of the edges DF, DR, DB, DL."""
    held: Ints
    state: Ints
    ms: Ints
    face: Ints
    """Faces of the last turn and the one before it, in the down frame; ``_NO_FACE``: none."""
    earlier: Ints
    parent: Ints
    start: Ints
    rotation: Ints
    """Token of a rotation that comes before the move, or −1."""
    move: Ints
    turn: Ints

    def only(self, chosen: npt.NDArray[np.bool_]) -> _Nodes:
        """The chosen ones."""
        return _Nodes(*(one[chosen] for one in self))


def fastest_crosses(
    hands: HandArrays,
    six: npt.NDArray[np.uint8],
    places: Sequence[int],
    starts: Sequence[int],
) -> list[Written]:
    """The fastest ways to a solved cross, best first, as from :meth:`Answers.ways`.

    ``six``: see :func:`livecube.search.bounds.cross_seconds`. ``places``
    are those of the edges DF, DR, DB, DL.
    """
    begin = np.array(starts, dtype=np.int64)
    count = len(begin)
    none = np.full(count, -1)
    root = _Nodes(
        np.tile(np.array(places, dtype=np.int64), (count, 1)), begin, np.full(count, hands.start),
        np.zeros(count, dtype=np.int64), np.full(count, _NO_FACE), np.full(count, _NO_FACE),
        none, begin, none, none, none,
    )  # fmt: skip
    limit = int(_least(hands, six, root.places, root.held).min())
    while True:
        found = _up_to(hands, six, root, limit)
        best = min((way.ms for way in found), default=NEVER)
        if limit >= best + FASTEST_MS:
            break
        limit = best + FASTEST_MS if found else limit + _STEP_MS
    cheapest: dict[tuple[int, ...], Written] = {}
    for way in sorted(found, key=lambda way: way.ms):
        cheapest.setdefault(in_one_order(way.turns), way)
    return fastest_of([*cheapest.values()])


def _up_to(
    hands: HandArrays, six: npt.NDArray[np.uint8], root: _Nodes, limit: int
) -> list[Written]:
    """All ways that cost at most ``limit``."""
    layers, found = [root], []
    while len(layers[-1].ms) and len(layers) <= _LONGEST:
        nodes = _moved(hands, _rotated(hands, six, layers[-1], limit))
        least = _least(hands, six, nodes.places, nodes.held)
        nodes = nodes.only(nodes.ms + least <= limit)
        home = (nodes.places == _HOME).all(axis=1)
        layers.append(nodes)
        found += [_written(layers, int(row), hands) for row in np.flatnonzero(home)]
        layers[-1] = nodes._replace(ms=np.where(home, NEVER, nodes.ms))  # no way goes on after it
    return found


def _rotated(hands: HandArrays, six: npt.NDArray[np.uint8], nodes: _Nodes, limit: int) -> _Nodes:
    """The same sequences, and each with every rotation added that stays within the limit."""
    row, to = (one.ravel() for one in np.indices((len(nodes.ms), 24)))
    ms = nodes.ms[row] + hands.rotation[nodes.held[row], to]
    passes = (to != nodes.held[row]) & (ms + hands.least <= limit)
    row, to, ms = row[passes], to[passes], ms[passes]
    passes = ms + _least(hands, six, nodes.places[row], to) <= limit
    row, to, ms = row[passes], to[passes], ms[passes]
    turned = _Nodes(*(one[row] for one in nodes))._replace(
        held=to,
        state=np.full(len(row), hands.rotated),
        ms=ms,
        rotation=FIRST_ROTATION + (ROTATED_BY[nodes.held[row]] == to[:, None]).argmax(axis=1),
    )
    plain = nodes._replace(rotation=np.full(len(nodes.ms), -1))
    both = _Nodes(*(np.concatenate(pair) for pair in zip(plain, turned, strict=True)))
    return both._replace(parent=np.append(np.arange(len(nodes.ms)), row))


def _moved(hands: HandArrays, nodes: _Nodes) -> _Nodes:
    """Every sequence with every move added."""
    row, move = (one.ravel() for one in np.indices((len(nodes.ms), 36)))
    price = hands.seconds[nodes.state[row], move].astype(np.int64)
    turn = hands.turn_of[nodes.held[row], move].astype(np.int64)
    face = turn // 3
    before = nodes.face[row]
    again = (face == before) | ((face == nodes.earlier[row]) & (before == _OPPOSITE[face]))
    allowed = (price < NEVER) & ~again & (nodes.ms[row] < NEVER)
    row, move, turn, face = row[allowed], move[allowed], turn[allowed], face[allowed]
    return _Nodes(
        PIECE_MOVES[1][turn[:, None], nodes.places[row]].astype(np.int64),
        hands.after[nodes.held[row], move].astype(np.int64),
        hands.then[nodes.state[row], move].astype(np.int64),
        nodes.ms[row] + price[allowed],
        face,
        nodes.face[row],
        nodes.parent[row],
        nodes.start[row],
        nodes.rotation[row],
        move,
        turn,
    )


def _least(hands: HandArrays, six: npt.NDArray[np.uint8], places: Ints, held: Ints) -> Ints:
    """Least milliseconds that the cross still takes, shape (n,)."""
    spin = SPIN[held]
    edge = (np.arange(4) + spin[:, None]) % 4
    seen = SLOT_SYMMETRY[spin[:, None], 2, np.take_along_axis(places, edge, axis=1)]
    least: Ints = six[ORBIT[held], cross_numbers(seen.T)].astype(np.int64) * UNIT_MS
    return least


def _written(layers: Sequence[_Nodes], row: int, hands: HandArrays) -> Written:
    """The way that ends in a row of the last layer."""
    ms = int(layers[-1].ms[row]) + int(hands.finish[layers[-1].held[row]])
    end, start = int(layers[-1].held[row]), int(layers[-1].start[row])
    turns, tokens = list[int](), list[int]()
    for number in range(len(layers) - 1, 0, -1):
        layer = layers[number]
        turns.append(int(layer.turn[row]))
        tokens.append(int(layer.move[row]))
        if (rotation := int(layer.rotation[row])) >= 0:
            tokens.append(rotation)
        row = int(layer.parent[row])
    return Written(ms, tuple(reversed(turns)), tuple(reversed(tokens)), start, end)
