"""The cheapest way to write turns in the hands: an exact shortest path over holdings.

Every fixed-frame turn can be made as a face turn or as a wide turn of the opposite side
(which changes the holding), and the cube may be rotated before it. The state is the holding
and the face of the move before, which decides what the next move costs; a state is left
when even the cheapest rest cannot beat the best way known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from numba import njit

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import HOLDINGS, ROTATION_SYMBOLS, Holding, Move
from livecube.cube.turns import turn_quarters

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.hands.model import Hands

__all__ = ["Pricer", "Prices", "Written"]

_LONGEST: Final = 20
_NOTHING: Final = 6
"""The face of the move before, when there was none or a rotation."""

_SYMBOLS: Final = [*FACES, *(face + "w" for face in FACES)]
_MOVES: Final = [[Move(symbol, quarters) for quarters in (1, 2, 3)] for symbol in _SYMBOLS]
_NUMBER: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


@dataclass(frozen=True, slots=True)
class Written:
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
        self._after_wide_listed: list[list[list[int]]] = self._after_wide.tolist()
        self._seconds = np.array([[hands.moves[s, q] for q in (1, 2, 3)] for s in _SYMBOLS])
        self._follow = np.zeros((_NOTHING + 1, 6))
        for (before, face), extra in hands.follow.items():
            if before in FACES and face in FACES:
                self._follow[FACES.index(before), FACES.index(face)] = extra
        self._least = self._seconds.min(axis=0) + min(0.0, float(self._follow.min()))
        """Less than any move by 1, 2, 3 quarters can cost."""
        self._rotation_seconds, self._rotation_moves = _rotations(hands)
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
        starts: Sequence[Holding],
        up: int,
        keep: int | None = None,
    ) -> Prices:
        """Price fixed-frame sequences (n, LONGEST), each begun in the cheapest of ``starts``.

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
            holdings=np.empty((count, _LONGEST), dtype=np.int64),
            symbols=np.empty((count, _LONGEST), dtype=np.int64),
        )
        _price(
            turns, lengths, groups, len(lengths) + 1 if keep is None else keep,
            np.array([_NUMBER[h] for h in starts]),
            self._hand_face, self._after_wide, self._seconds, self._follow,
            self._least, self._rotation_seconds, self._least_rotation, np.array(OPPOSITE),
            self._finish[up],
            result.seconds, result.starts, result.holdings, result.symbols,
        )  # fmt: skip
        return result

    def after(self, held: int, symbol: int, quarters: int) -> int:
        """The holding (by number) after a face turn (symbol 0 to 5) or wide turn (6 to 11)."""
        return held if symbol < 6 else self._after_wide_listed[held][symbol - 6][quarters - 1]

    def rotation(self, before: int, after: int) -> tuple[Move, ...]:
        """The cheapest rotations from one holding (by number) to another."""
        return self._rotation_moves[before][after]


@dataclass(frozen=True, slots=True)
class Prices:
    """What sequences cost, and how they are written, one array entry a sequence."""

    pricer: Pricer
    turns: npt.NDArray[np.uint8]
    lengths: npt.NDArray[np.int64]
    seconds: npt.NDArray[np.float64]
    starts: npt.NDArray[np.int64]
    """Number of the holding at the beginning."""
    holdings: npt.NDArray[np.int64]
    """Number of the holding in which each move is made."""
    symbols: npt.NDArray[np.int64]
    """Face (0 to 5) or wide turn (6 to 11) of each move."""

    def written(self, row: int) -> Written:
        """One sequence as moves."""
        start = held = int(self.starts[row])
        length = int(self.lengths[row])
        turns, symbols = self.turns[row, :length].tolist(), self.symbols[row, :length].tolist()
        moves: list[Move] = []
        for i, at in enumerate(self.holdings[row, :length].tolist()):
            if at != held:
                moves += self.pricer.rotation(held, at)
            quarters = turn_quarters(turns[i])
            moves.append(_MOVES[symbols[i]][quarters - 1])
            held = self.pricer.after(at, symbols[i], quarters)
        return Written(HOLDINGS[start], tuple(moves), HOLDINGS[held], float(self.seconds[row]))


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
def _without_rotation(turns, length, begin, hand_face, seconds, follow, finish):  # type: ignore[no-untyped-def]
    """Seconds of a way that is always there: face turns only, from the best of the holdings."""
    best = np.inf
    for start in begin:
        total = finish[start]
        before = _NOTHING
        for i in range(length):
            face = hand_face[start, turns[i] // 3]
            total += seconds[face, turns[i] % 3] + follow[before, face]
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
    turns, lengths, groups, keep, begin, hand_face, after_wide, seconds, follow, least,
    rotation, least_rotation, opposite, finish, out_seconds, out_start, out_holding, out_symbol,
):  # fmt: skip
    count = lengths.shape[0]
    known = np.empty(count)
    ceiling = np.empty(count)
    for n in range(count):
        known[n] = _without_rotation(
            turns[n], lengths[n], begin, hand_face, seconds, follow, finish
        )
    _ceilings(known, groups, keep, ceiling)
    cost = np.empty((_LONGEST + 1, 168))
    for i in range(_LONGEST + 1):
        for state in range(168):
            cost[i, state] = np.inf
    origin = np.empty((_LONGEST + 1, 168), dtype=np.int64)
    made_in = np.empty((_LONGEST + 1, 168), dtype=np.int64)
    made_as = np.empty((_LONGEST + 1, 168), dtype=np.int64)
    reached = np.empty((_LONGEST + 1, 168), dtype=np.int64)
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
            fixed, quarters = turns[n, i] // 3, turns[n, i] % 3
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
