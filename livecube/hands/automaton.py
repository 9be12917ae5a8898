"""How long the hands and eyes take: a finite automaton over written moves. Pure, numpy only.

**Moves** are numbered ``3 * symbol + quarters - 1``, the symbols U L F R B D and then
Uw Lw Fw Rw Bw Dw. A **state** is what the hands remember: the last move that is not a turn of
U (or that a sequence began: *start*; or that the cube was rotated: *rotated*), and the turn of U
after it. A move costs ``seconds_ms[state, move]`` and leads to ``next[state, move]``. A change
of holding costs ``rotation_ms`` and leads to *rotated*; each sequence begins in *start*.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, reduce
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import FACES, OPPOSITE, PIECES
from livecube.cube.holding import HOLDINGS, ROTATION_SYMBOLS, Move
from livecube.errors import UsageError
from livecube.hands.features import PLACES, WHERE

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from livecube.cube.holding import Holding
    from livecube.hands.features import Behind, Features

__all__ = [
    "MOVES",
    "NEVER",
    "REGRIP_MS",
    "Automaton",
    "Looking",
    "cells_of_line",
    "looking_ms",
    "make_automaton",
    "make_looking",
]

NEVER: Final = 1 << 28
"""Milliseconds of a move that is never written; large, and a few of them still fit in int32."""

REGRIP_MS: Final = 40
"""A move that costs at least this much more after others is a regrip."""

MOVES: Final = tuple(
    Move(face + wide, quarters) for wide in ("", "w") for face in FACES for quarters in (1, 2, 3)
)
_NAMES: Final = tuple(str(move) for move in MOVES)
_U_TURNS: Final = ("", "U", "U2", "U'")
_ROTATIONS: Final = tuple(Move(symbol, q) for symbol in ROTATION_SYMBOLS for q in (1, 2, 3))
_BEGINNINGS: Final = ("start", "rotated")
_STATES: Final = tuple(
    (before, turned)
    for before in (*_BEGINNINGS, *_NAMES[3:])
    for turned in _U_TURNS
    if not turned or before[:2] != "Uw"  # Uw U is never written
)
"""The last move that is not of U, and the turn of U after it."""
_STATE_NUMBER: Final = {state: number for number, state in enumerate(_STATES)}
_HOLDING_NUMBER: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


@dataclass(frozen=True, slots=True, eq=False)
class Looking:
    """Milliseconds of looking before a sequence begins; :func:`looking_ms` adds them up."""

    base_ms: int
    corner_ms: npt.NDArray[np.int32]
    """Shape (2, 24): by whether the sequence before moved the corner, and by the corner's place."""
    edge_ms: npt.NDArray[np.int32]
    """Shape (2, 24): the same for an edge."""
    corner_up_ms: npt.NDArray[np.int32]
    """Shape (24,): extra for a keyhole corner at each place (its cross colour is up)."""
    technique_ms: Mapping[str, int]
    """Time to see each technique; missing ones take no time."""
    table: Mapping[str, Any]
    """The whole table as ``livecube hands --table --json`` prints it, in seconds."""


@dataclass(frozen=True, slots=True, eq=False)
class Automaton:
    """The hands and eyes of one person; made by :func:`make_automaton`, never changed."""

    seconds_ms: npt.NDArray[np.int32]
    """Shape (states, 36): price of a move in a state, at least 1; ``NEVER``: not written there."""
    next: npt.NDArray[np.int16]
    """Shape (states, 36): the state afterwards; −1 where the price is ``NEVER``."""
    state_names: tuple[str, ...]
    """``start``, ``rotated``, ``R``, ``R U'`` …"""
    start: int
    """The state in which every sequence begins."""
    rotated: int
    """The state after a change of holding."""
    rotation_ms: npt.NDArray[np.int32]
    """Shape (24, 24): the cheapest sum of rotations from one holding to another."""
    rotation_moves: tuple[tuple[tuple[Move, ...], ...], ...]
    """The rotations of that sum, as moves."""
    single_rotation_ms: Mapping[str, int]
    """Price of each of the nine rotations, by name."""
    looking: Looking

    @property
    def fingerprint(self) -> str:
        """A text that is equal for hands with equal tables (the eyes do not count)."""
        parts = (self.seconds_ms, self.next, self.rotation_ms)
        return sha256(b"".join(part.tobytes() for part in parts)).hexdigest()[:16]

    def priced(
        self,
        seconds_ms: npt.NDArray[np.int32],
        rotation_ms: Mapping[str, int],
        looking: Looking,
    ) -> Automaton:
        """The same states with other prices: of moves, of the nine rotations, of looking."""
        triples = {
            axis: (rotation_ms[axis], rotation_ms[axis + "2"], rotation_ms[axis + "'"])
            for axis in ROTATION_SYMBOLS
        }
        sums, moves = _rotations(triples)
        return replace(
            self,
            seconds_ms=seconds_ms.astype(np.int32),
            rotation_ms=sums,
            rotation_moves=moves,
            single_rotation_ms=dict(rotation_ms),
            looking=looking,
        )

    def sequence_ms(self, moves: Iterable[Move]) -> int:
        """Price of a written sequence that begins in ``start``.

        ``NEVER`` if a move in it is never written at its place. Slices are not known. Rotations in
        a row cost the cheapest sum that leads to the same holding. Bringing the cross down at the
        end is not counted.
        """
        state, total = self.start, 0
        turned: Holding | None = None
        for move in moves:
            if move.is_rotation:
                turned = (turned or HOLDINGS[0]).after(move)
                continue
            if turned is not None:
                total += int(self.rotation_ms[0, _HOLDING_NUMBER[turned]])
                state, turned = self.rotated, None
            number = _NAMES.index(str(move))
            total += int(self.seconds_ms[state, number])
            if total >= NEVER:
                return NEVER
            state = int(self.next[state, number])
        return total + (0 if turned is None else int(self.rotation_ms[0, _HOLDING_NUMBER[turned]]))

    def done_ms(self, moves: Iterable[Move]) -> int:
        """Price of moves that a person made, slices excepted.

        A move at a place where it is never written, such as the same face twice, costs the same as
        at the beginning of a sequence.
        """
        return sum(price for price, _ in self._priced(moves))

    def regrips_ms(self, moves: Iterable[Move]) -> list[int]:
        """Extra milliseconds of each regrip: a move for which the moves before left a wrong grip.

        A regrip costs at least ``REGRIP_MS`` more than the move at the beginning of a sequence
        (predicted; common practice, no published source).
        """
        return [extra for _, extra in self._priced(moves) if extra >= REGRIP_MS]

    def _priced(self, moves: Iterable[Move]) -> list[tuple[int, int]]:
        """For each move its price, and its price above that in ``start``."""
        state, priced = self.start, []
        for move in moves:
            if move.is_rotation:
                priced.append((self.single_rotation_ms[str(move)], 0))
                state = self.rotated
            elif str(move) in _NAMES:
                number = _NAMES.index(str(move))
                if self.seconds_ms[state, number] >= NEVER:
                    state = self.start
                price = int(self.seconds_ms[state, number])
                priced.append((price, price - int(self.seconds_ms[self.start, number])))
                state = int(self.next[state, number])
            else:  # a slice: the hands of the first two layers have none
                priced.append((0, 0))
                state = self.start
        return priced

    def to_json(self) -> dict[str, Any]:
        """The whole table, in seconds; null for ``NEVER``."""
        written = self.seconds_ms < NEVER
        return {
            "moves": list(_NAMES),
            "states": list(self.state_names),
            "start": self.start,
            "rotated": self.rotated,
            "seconds": [
                [ms / 1000 if known else None for ms, known in zip(row, knowns, strict=True)]
                for row, knowns in zip(self.seconds_ms.tolist(), written.tolist(), strict=True)
            ],
            "next": [[to if to >= 0 else None for to in row] for row in self.next.tolist()],
            "rotations": {name: ms / 1000 for name, ms in self.single_rotation_ms.items()},
            "looking": dict(self.looking.table),
        }


def make_automaton(features: Features, source: str) -> Automaton:
    """The automaton of these prices.

    Raises :class:`~livecube.errors.UsageError` that names ``source`` if the price of a move after
    another comes to no time.
    """
    price = np.array(
        [features.turn[face] for face in FACES]
        + [[ms + features.wide[face] for ms in features.turn[face]] for face in FACES]
    ).ravel()
    extra = np.zeros((len(_STATES), len(MOVES)), dtype=np.int64)
    for line in features.behind:
        extra[cells_of_line(line)] = line.extra_ms
    after = _following()
    seconds = np.where(after >= 0, price + extra, NEVER)
    if (seconds < 1).any():
        state, move = np.argwhere(seconds < 1)[0].tolist()
        raise UsageError(
            f"{source}: {_NAMES[move]} after {_state_name(_STATES[state])} comes to "
            f"{seconds[state, move] / 1000:.3f} s; make its turn slower or the extra smaller"
        )
    rotation_ms, rotation_moves = _rotations(features.rotation)
    return Automaton(
        seconds_ms=seconds.astype(np.int32),
        next=after.astype(np.int16),
        state_names=tuple(_state_name(state) for state in _STATES),
        start=_STATE_NUMBER["start", ""],
        rotated=_STATE_NUMBER["rotated", ""],
        rotation_ms=rotation_ms,
        rotation_moves=rotation_moves,
        single_rotation_ms={
            str(move): features.rotation[move.symbol][move.quarters - 1] for move in _ROTATIONS
        },
        looking=make_looking(features.eyes, features.places, features.techniques),
    )


def _state_name(state: tuple[str, str]) -> str:
    return " ".join(part for part in state if part)


def _fits(move: str, token: str) -> bool:
    """Whether a token names this move: a face stands for its wide turn too, ``*`` for all."""
    wide = "w" if token[1:2] == "w" else ""
    amount = token[1 + len(wide) :]
    if move in _BEGINNINGS or token in _BEGINNINGS:
        return move == token
    same = move[0] == token[0] and (not wide or move[1:2] == "w")
    return same and (amount == "*" or move.replace("w", "")[1:] == amount)


def cells_of_line(line: Behind) -> tuple[npt.NDArray[np.intp], ...]:
    """The prices to which a line of ``behind`` applies, as an index into ``seconds_ms``."""
    moves = [number for number, name in enumerate(_NAMES) if _fits(name, line.moves[-1])]
    return np.ix_(_fitting_states(line), moves)


def _fitting_states(line: Behind) -> list[int]:
    if len(line.moves) == 3:
        return [
            number
            for number, (before, turned) in enumerate(_STATES)
            if turned and _fits(turned, line.moves[1]) and _fits(before, line.moves[0])
        ]
    return [
        number
        for number, (before, turned) in enumerate(_STATES)
        if _fits(turned or before, line.moves[0])
    ]


@cache
def _following() -> npt.NDArray[np.int64]:
    """Shape (states, moves): the state after each move, as :func:`_after` says."""
    return np.array([[_after(state, move) for move in _NAMES] for state in _STATES])


def _after(state: tuple[str, str], move: str) -> int:
    """Number of the state after a move; −1 if the move is never written."""
    before, turned = state
    last = turned or before
    if last not in _BEGINNINGS:
        if move[0] == last[0]:
            return -1
        opposite = OPPOSITE[FACES.index(move[0])] == FACES.index(last[0])
        if opposite and "w" in move and "w" in last:
            return -1
    return _STATE_NUMBER[(before, move) if move in _U_TURNS else (move, "")]


def _rotations(
    prices: Mapping[str, tuple[int, int, int]],
) -> tuple[npt.NDArray[np.int32], tuple[tuple[tuple[Move, ...], ...], ...]]:
    """Cheapest sums of rotations between all holdings: milliseconds (24, 24) and moves.

    Of equal sums the one with fewer rotations, then the first by its text.
    """
    after, each = _rotated(), [prices[move.symbol][move.quarters - 1] for move in _ROTATIONS]
    ways: dict[int, _RotationWay] = {0: (0, ())}
    known: dict[int, _RotationWay] = {}
    while known != ways:
        known = dict(ways)
        for holding, (ms, moves) in known.items():
            for number, to in enumerate(after[holding]):
                way = ms + each[number], (*moves, number)
                if to not in ways or _rank(way) < _rank(ways[to]):
                    ways[to] = way
    # The same rotations turn the cube in the same way, however it was held before.
    best = [
        {reduce(lambda held, number: after[held][number], w[1], start): w for w in ways.values()}
        for start in range(24)
    ]
    costs = np.array([[row[to][0] for to in range(24)] for row in best], dtype=np.int32)
    written = {w: tuple(_ROTATIONS[number] for number in w[1]) for w in ways.values()}
    return costs, tuple(tuple(written[row[to]] for to in range(24)) for row in best)


@cache
def _rotated() -> list[list[int]]:
    """[holding][rotation] → the holding after it."""
    return [[_HOLDING_NUMBER[held.after(move)] for move in _ROTATIONS] for held in HOLDINGS]


_RotationWay: TypeAlias = tuple[int, tuple[int, ...]]
"""Milliseconds, and numbers of rotations."""


def _rank(way: _RotationWay) -> tuple[int, int, str]:
    """Less is better."""
    ms, numbers = way
    return ms, len(numbers), " ".join(str(_ROTATIONS[number]) for number in numbers)


def make_looking(
    eyes: Mapping[str, int], places: Mapping[str, str], techniques: Mapping[str, int]
) -> Looking:
    """The table of the eyes from its prices in milliseconds; see :class:`Features`."""
    where = [eyes[places[place]] for place in PIECES]
    corner, edge = np.repeat(where[:8], 3), np.repeat(where[8:], 2)
    moved = np.array([[eyes["stayed"]], [eyes["moved"]]])
    up = np.zeros(24, dtype=np.int32)
    up[[3 * PIECES.index(p) for p in PIECES[:8] if p[0] == "U"]] = eyes["keyhole_corner_up"]
    return Looking(
        base_ms=eyes["base"],
        corner_ms=(eyes["corner"] + moved + corner).astype(np.int32),
        edge_ms=(eyes["edge"] + moved + edge).astype(np.int32),
        corner_up_ms=up,
        technique_ms=dict(techniques),
        table={
            **{name: ms / 1000 for name, ms in eyes.items()},
            "places": {
                name: [place for place in PLACES if places[place] == name] for name in WHERE
            },
            "techniques": {name: ms / 1000 for name, ms in techniques.items()},
        },
    )


def looking_ms(
    looking: Looking,
    technique: str,
    corners: Iterable[tuple[npt.ArrayLike, npt.ArrayLike]] = (),
    edges: Iterable[tuple[npt.ArrayLike, npt.ArrayLike]] = (),
    *,
    corner_alone: bool = False,
) -> npt.NDArray[np.int64]:
    """Expected milliseconds of looking before a sequence.

    ``corners`` and ``edges`` are the target pieces that are not home, each as (place, moved).
    The place is numbered as in :mod:`livecube.search.situation`, with the cross down and the
    hands' front at F. ``moved`` is 1 if the sequence before moved the piece. Both may be arrays
    of one shape, one entry a position; the result has that shape. ``corner_alone``: whether the
    technique inserts only a corner; then it counts which way the corner faces.

    Raises ``IndexError`` for a place that does not exist.
    """
    total = np.asarray(looking.base_ms + looking.technique_ms.get(technique, 0), dtype=np.int64)
    for place, moved in corners:
        total = total + looking.corner_ms[_index(moved), _index(place)]
        if corner_alone:
            total = total + looking.corner_up_ms[_index(place)]
    for place, moved in edges:
        total = total + looking.edge_ms[_index(moved), _index(place)]
    return total


def _index(values: npt.ArrayLike) -> npt.NDArray[np.intp]:
    return np.asarray(values, dtype=np.intp)
