"""The cheapest way to write turns in the hands: an exact shortest path over holdings.

Every fixed-frame turn can be made as a face turn or as a wide turn of the opposite side
(which changes the holding), and the cube may be rotated before it. The state is the holding
and the face of the move before, which decides what the next move costs; a state is left
when even the cheapest rest cannot beat the best way known.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import HOLDINGS, ROTATION_SYMBOLS, Holding, Move

if TYPE_CHECKING:
    from livecube.hands.model import Hands

__all__ = ["Pricer", "Prices", "Written"]

_LONGEST: Final = 20
_WIDE: Final = 6
"""Symbols from here on are wide turns."""
_NOTHING: Final = 6
"""The face of the move before, when there was none or a rotation."""

_SYMBOLS: Final = [*FACES, *(face + "w" for face in FACES)]
_MOVES: Final = [[Move(symbol, quarters) for quarters in (1, 2, 3)] for symbol in _SYMBOLS]
_OPPOSITE: Final = np.array(OPPOSITE)
_NUMBER: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


class Written(NamedTuple):
    """Turns as they are written in the hands."""

    holding: Holding
    """From which the moves are read."""
    moves: tuple[Move, ...]
    ends: Holding
    """In which they leave the cube."""
    seconds: float


class Pricer:
    """Prices sequences by one model of the hands."""

    def __init__(self, hands: Hands) -> None:
        self._hand_face = np.array([[h.hand_face(f) for f in range(6)] for h in HOLDINGS])
        self._after_wide = np.array(
            [
                [[_NUMBER[h.after(Move(face + "w", q))] for q in (1, 2, 3)] for face in FACES]
                for h in HOLDINGS
            ]
        )
        self.after_wide: list[list[list[int]]] = self._after_wide.tolist()
        """By number of the holding, face, and quarter turns less one: the holding after a wide
        turn."""
        self._seconds = np.array([[hands.moves[s, q] for q in (1, 2, 3)] for s in _SYMBOLS])
        self._follow = np.zeros((_NOTHING + 1, 6))
        for (before, face), extra in hands.follow.items():
            if before in FACES and face in FACES:
                self._follow[FACES.index(before), FACES.index(face)] = extra
        self._least = self._seconds.min(axis=0) + min(0.0, float(self._follow.min()))
        """Less than any move by 1, 2, 3 quarters can cost."""
        self._rotation_seconds, self.rotation = _rotations(hands)
        self._least_rotation = float(self._rotation_seconds[0, 1:].min())
        self._finish = np.array(
            [
                self._rotation_seconds[:, [h.faces[0] == up for h in HOLDINGS]].min(axis=1)
                for up in range(6)
            ]
        )
        """Shape (6, 24): seconds from each holding to the nearest with that face up."""

    def prices(
        self,
        turns: npt.NDArray[np.uint8],
        lengths: npt.NDArray[np.int64],
        groups: npt.NDArray[np.int64],
        fixed: npt.NDArray[np.uint8],
        starts: tuple[Holding, ...],
        up: int,
        keep: int | None = None,
    ) -> Prices:
        """Price sequences (n, LONGEST), each begun in the cheapest of ``starts``.

        ``fixed`` (18,) says which turn of the fixed frame each turn is.
        Seconds count what it takes to have face ``up`` up again at the end: wide turns may leave
        the cross tilted, and the next pair would pay for it.
        With ``keep`` only the cheapest of each group of neighbours (equal entries of
        ``groups``) are worked out, at least so many; the others may cost ``inf``.
        """
        count = len(lengths)
        result = Prices(
            self,
            turns,
            lengths,
            seconds=np.empty(count),
            starts=np.empty(count, dtype=np.int64),
            holdings=np.empty((count, _LONGEST), dtype=np.uint8),
            symbols=np.empty((count, _LONGEST), dtype=np.uint8),
        )
        _price(
            turns, lengths, groups, fixed, len(lengths) + 1 if keep is None else keep,
            _numbers(starts),
            self._hand_face, self._after_wide, self._seconds, self._follow,
            self._least, self._rotation_seconds, self._least_rotation, _OPPOSITE,
            self._finish[up],
            result.seconds, result.starts, result.holdings, result.symbols,
        )  # fmt: skip
        return result


@dataclass(frozen=True, slots=True)
class Prices:
    """What sequences cost, and how they are written, one array entry a sequence."""

    pricer: Pricer
    turns: npt.NDArray[np.uint8]
    lengths: npt.NDArray[np.int64]
    seconds: npt.NDArray[np.float64]
    starts: npt.NDArray[np.int64]
    """Number of the holding at the beginning."""
    holdings: npt.NDArray[np.uint8]
    """Number of the holding in which each move is made."""
    symbols: npt.NDArray[np.uint8]
    """Face (0 to 5) or wide turn (6 to 11) of each move."""

    def written(self, row: int) -> Written:
        """One sequence as moves."""
        start = held = int(self.starts[row])
        length = self.lengths[row]
        turns, symbols = self.turns[row, :length].tolist(), self.symbols[row, :length].tolist()
        rotation, after_wide = self.pricer.rotation, self.pricer.after_wide
        moves: list[Move] = []
        for turn, symbol, at in zip(
            turns, symbols, self.holdings[row, :length].tolist(), strict=True
        ):
            if at != held:
                moves += rotation[held][at]
            quarters = turn % 3
            moves.append(_MOVES[symbol][quarters])
            held = at if symbol < _WIDE else after_wide[at][symbol - _WIDE][quarters]
        return Written(HOLDINGS[start], tuple(moves), HOLDINGS[held], float(self.seconds[row]))


@cache
def _numbers(holdings: tuple[Holding, ...]) -> npt.NDArray[np.int64]:
    return np.array([_NUMBER[holding] for holding in holdings])


def _rotations(
    hands: Hands,
) -> tuple[npt.NDArray[np.float64], list[list[tuple[Move, ...]]]]:
    """Cheapest rotations between all holdings: seconds (24, 24) and moves."""
    singles = [Move(symbol, quarters) for symbol in ROTATION_SYMBOLS for quarters in (1, 2, 3)]
    seconds = np.full((24, 24), np.inf)
    moves: list[list[tuple[Move, ...]]] = [[() for _ in range(24)] for _ in range(24)]
    for start in range(24):
        seconds[start, start] = 0.0
        for _ in range(3):  # no holding is further than two rotations away
            for at in np.flatnonzero(np.isfinite(seconds[start])).tolist():
                for move in singles:
                    to = _NUMBER[HOLDINGS[at].after(move)]
                    cost = seconds[start, at] + hands.moves[move.symbol, move.quarters]
                    if cost < seconds[start, to] - 1e-12:
                        seconds[start, to] = cost
                        moves[start][to] = (*moves[start][at], move)
    return seconds, moves


@njit(cache=True, nogil=True)
def _without_rotation(turns, length, fixed, begin, hand_face, seconds, follow, finish):  # type: ignore[no-untyped-def]
    """Seconds of a way that is always there: face turns only, from the best of the holdings."""
    best = np.inf
    for start in begin:
        total = finish[start]
        before = _NOTHING
        for i in range(length):
            turn = fixed[turns[i]]
            face = hand_face[start, turn // 3]
            total += seconds[face, turn % 3] + follow[before, face]
            before = face
        best = min(best, total)
    return best


@njit(cache=True, nogil=True)
def _ceilings(known, groups, keep, ceiling):  # type: ignore[no-untyped-def]
    """For each group of neighbours the ``keep``-th smallest of what is known to be possible."""
    first = 0
    count = known.shape[0]
    while first < count:
        behind = first
        while behind < count and groups[behind] == groups[first]:
            behind += 1
        most = np.inf
        if behind - first > keep:
            # The keep-th smallest, by passing over the group keep times: keep is small.
            most = -np.inf
            taken = 0
            while taken < keep:
                following = np.inf
                for n in range(first, behind):
                    if most < known[n] < following:
                        following = known[n]
                most = following
                for n in range(first, behind):
                    taken += known[n] == most
        for n in range(first, behind):
            ceiling[n] = most
        first = behind


@njit(cache=True, nogil=True)
def _price(  # type: ignore[no-untyped-def]
    turns, lengths, groups, to_fixed, keep, begin, hand_face, after_wide, seconds, follow, least,
    rotation, least_rotation, opposite, finish, out_seconds, out_start, out_holding, out_symbol,
):  # fmt: skip
    count = lengths.shape[0]
    known = np.empty(count)
    ceiling = np.empty(count)
    for n in range(count):
        known[n] = _without_rotation(
            turns[n], lengths[n], to_fixed, begin, hand_face, seconds, follow, finish
        )
    _ceilings(known, groups, keep, ceiling)
    cost = np.empty((_LONGEST + 1, 168))
    for i in range(_LONGEST + 1):
        for state in range(168):
            cost[i, state] = np.inf
    origin = np.empty((_LONGEST + 1, 168), dtype=np.int16)
    made_in = np.empty((_LONGEST + 1, 168), dtype=np.uint8)
    made_as = np.empty((_LONGEST + 1, 168), dtype=np.uint8)
    reached = np.empty((_LONGEST + 1, 168), dtype=np.int16)
    many = np.zeros(_LONGEST + 1, dtype=np.int64)
    rest = np.zeros(_LONGEST + 1)
    for n in range(count):
        length = lengths[n]
        rest[length] = 0.0
        for i in range(length - 1, -1, -1):
            rest[i] = rest[i + 1] + least[turns[n, i] % 3]
        best = min(known[n], ceiling[n]) + 1e-9
        many[0] = 0
        for start in begin:
            reached[0, many[0]] = start * 7 + _NOTHING
            cost[0, start * 7 + _NOTHING] = 0.0
            many[0] += 1
        for i in range(length):
            many[i + 1] = 0
            fixed, quarters = to_fixed[turns[n, i]] // 3, turns[n, i] % 3
            for k in range(many[i]):
                state = reached[i, k]
                held, before, so_far = state // 7, state % 7, cost[i, state]
                turning = so_far + least_rotation + rest[i] <= best
                for to in range(24) if turning else range(held, held + 1):
                    at, total, previous = held, so_far, before
                    if to != held:
                        at, total, previous = to, so_far + rotation[held, to], _NOTHING
                    if total + rest[i] > best:
                        continue
                    for wide in range(2):
                        face = hand_face[at, fixed]
                        new = at
                        if wide:
                            face = opposite[face]
                            new = after_wide[at, face, quarters]
                        new = new * 7 + face
                        price = total + seconds[6 * wide + face, quarters] + follow[previous, face]
                        if price + rest[i + 1] > best or price >= cost[i + 1, new]:
                            continue
                        if cost[i + 1, new] == np.inf:
                            reached[i + 1, many[i + 1]] = new
                            many[i + 1] += 1
                        cost[i + 1, new] = price
                        origin[i + 1, new] = state
                        made_in[i + 1, new] = at
                        made_as[i + 1, new] = 6 * wide + face
        out_seconds[n] = np.inf
        cheapest = -1
        for k in range(many[length]):
            total = cost[length, reached[length, k]] + finish[reached[length, k] // 7]
            if total < out_seconds[n]:
                cheapest = reached[length, k]
                out_seconds[n] = total
        if cheapest >= 0:
            for i in range(length, 0, -1):
                out_holding[n, i - 1] = made_in[i, cheapest]
                out_symbol[n, i - 1] = made_as[i, cheapest]
                cheapest = origin[i, cheapest]
            out_start[n] = cheapest // 7
        for i in range(length + 1):
            for k in range(many[i]):
                cost[i, reached[i, k]] = np.inf
