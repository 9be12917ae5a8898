"""The referee's own hands: holdings, written moves and prices, from the printed table alone.

It reads only the output of ``livecube hands --table --json``. Faces are numbered as in ``FACES``, a
turn is ``3 * face + quarters - 1``, prices are whole milliseconds. The cross is on face D here:
:mod:`referee_seconds` rotates every position to this frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
from referee_cube import AXES, FACES, OPPOSITE, clockwise

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["HOLDINGS", "NEVER", "Hands", "Holding", "held_as", "spun"]

Holding = tuple[int, ...]
"""For each face in the hands the fixed face that is there."""

NEVER: Final = 1 << 28

_AXIS: Final = {"x": "R", "y": "U", "z": "F"}
_AMOUNTS: Final = ("", "2", "'")


def _turned(holding: Holding, face: str, quarters: int) -> Holding:
    """The holding after the whole cube was turned in the direction of a turn of ``face``."""
    for _ in range(quarters % 4):
        new = list(holding)
        for i, name in enumerate(FACES):
            to = next(f for f in FACES if AXES[f] == clockwise(AXES[name], AXES[face]))
            new[FACES.index(to)] = holding[i]
        holding = tuple(new)
    return holding


def _all_holdings() -> list[Holding]:
    found = [tuple(range(6))]
    for holding in found:
        for face in "RUF":
            new = _turned(holding, face, 1)
            if new not in found:
                found.append(new)
    return found


HOLDINGS: Final = _all_holdings()


def spun(holding: Holding, axis: str, quarters: int) -> Holding:
    """The holding after a rotation x, y or z."""
    return _turned(holding, _AXIS[axis], quarters)


def held_as(up: int, front: int) -> int:
    """Number of the holding with these fixed faces up and front."""
    return next(n for n, h in enumerate(HOLDINGS) if (h[0], h[2]) == (up, front))


@dataclass(frozen=True)
class Hands:
    """The printed table as arrays."""

    table: dict[str, Any]

    @cached_property
    def price(self) -> npt.NDArray[np.int32]:
        """Shape (states, 36)."""
        rows = [
            [NEVER if s is None else round(1000 * s) for s in row] for row in self.table["seconds"]
        ]
        return np.array(rows, dtype=np.int32)

    @cached_property
    def next(self) -> npt.NDArray[np.int32]:
        """Shape (states, 36)."""
        rows = [[-1 if s is None else s for s in row] for row in self.table["next"]]
        return np.array(rows, dtype=np.int32)

    @cached_property
    def turn(self) -> npt.NDArray[np.int32]:
        """Shape (24, 36): the fixed turn of a move in a holding."""
        result = np.zeros((24, 36), dtype=np.int32)
        for n, holding in enumerate(HOLDINGS):
            for m, name in enumerate(self.table["moves"]):
                face = OPPOSITE[name[0]] if "w" in name else name[0]
                quarters = _AMOUNTS.index(name.replace("w", "")[1:])
                result[n, m] = 3 * holding[FACES.index(face)] + quarters
        return result

    @cached_property
    def after(self) -> npt.NDArray[np.int32]:
        """Shape (24, 36): the holding after a move."""
        result = np.zeros((24, 36), dtype=np.int32)
        for n, holding in enumerate(HOLDINGS):
            for m, name in enumerate(self.table["moves"]):
                quarters = _AMOUNTS.index(name.replace("w", "")[1:]) + 1 if "w" in name else 0
                result[n, m] = HOLDINGS.index(_turned(holding, name[0], quarters))
        return result

    @cached_property
    def _rotation_ways(self) -> tuple[npt.NDArray[np.int32], list[list[str]]]:
        cost = np.full((24, 24), NEVER, dtype=np.int64)
        text = [["" for _ in range(24)] for _ in range(24)]
        np.fill_diagonal(cost, 0)
        steps = [
            (n, HOLDINGS.index(_turned(h, _AXIS[name[0]], _AMOUNTS.index(name[1:]) + 1)), name)
            for n, h in enumerate(HOLDINGS)
            for name in self.table["rotations"]
        ]
        for _ in range(5):
            for start in range(24):
                for at, to, name in steps:
                    price = cost[start, at] + round(1000 * self.table["rotations"][name])
                    if price < cost[start, to]:
                        cost[start, to] = price
                        text[start][to] = f"{text[start][at]} {name}".strip()
        return cost.astype(np.int32), text

    @property
    def rotation(self) -> npt.NDArray[np.int32]:
        """Shape (24, 24): the cheapest sum of rotations."""
        return self._rotation_ways[0]

    @property
    def rotation_text(self) -> list[list[str]]:
        """The same as written moves."""
        return self._rotation_ways[1]

    @cached_property
    def finish(self) -> npt.NDArray[np.int32]:
        """Shape (24,): the price of the cheapest rotation that brings face D down again."""
        return np.asarray(self.rotation[:, self.upright].min(axis=1))

    @cached_property
    def upright(self) -> list[int]:
        """The four holdings with face D down."""
        return [n for n, holding in enumerate(HOLDINGS) if FACES[holding[5]] == "D"]

    @cached_property
    def ends(self) -> list[int]:
        """For each holding the upright one that the cheapest rotation leads to."""
        costs = self.rotation[:, self.upright]
        return [self.upright[i] for i in costs.argmin(axis=1).tolist()]

    @property
    def states(self) -> tuple[int, int]:
        """Numbers of *start* and *rotated*."""
        return self.table["start"], self.table["rotated"]

    def written_ms(self, text: str) -> int:
        """The table's price of a written sequence from *start*, with the cross brought down or not.

        Rotations in a row cost the cheapest sum.
        """
        (state, rotated), total, held, last = self.states, 0, 0, 0
        for name in text.split():
            if name in self.table["rotations"]:
                face, quarters = _AXIS[name[0]], _AMOUNTS.index(name[1:]) + 1
                held = HOLDINGS.index(_turned(HOLDINGS[held], face, quarters))
                continue
            if held != last:
                total += int(self.rotation[last, held])
                state = rotated
            move = self.table["moves"].index(name)
            total, state = total + int(self.price[state, move]), int(self.next[state, move])
            if total >= NEVER:
                return NEVER
            last = held = 0
        return total + int(self.rotation[last, held])

    # Prices of moves that were made, and of given turns in their cheapest spelling.

    def done_ms(self, text: str) -> tuple[int, list[int]]:
        """Moves that were made: their price, and how much more each costs than at a beginning.

        Rotations are priced one by one; a move that is never written in a state starts again from
        *start*.
        """
        (start, rotated), total, more = self.states, 0, list[int]()
        state = start
        for name in text.split():
            if name in self.table["rotations"]:
                total, state = total + round(1000 * self.table["rotations"][name]), rotated
                continue
            move = self.table["moves"].index(name)
            state = start if self.price[state, move] >= NEVER else state
            total += int(self.price[state, move])
            more.append(int(self.price[state, move] - self.price[start, move]))
            state = int(self.next[state, move])
        return total, more

    def led_to(self, held: int, text: str) -> int:
        """The holding after moves, slices too."""
        holding = HOLDINGS[held]
        for name in text.split():
            about = {"M": "L", "E": "D", "S": "F"}.get(name[0]) or _AXIS.get(name[0])
            amount = _AMOUNTS.index(name.replace("w", "")[1:]) + 1
            if name[0] in "MES":
                holding = _turned(holding, str(about), amount)
            elif about or "w" in name:
                holding = _turned(holding, about or name[0], amount)
        return HOLDINGS.index(holding)

    @cached_property
    def _spellings(self) -> list[npt.NDArray[np.intp]]:
        """For each fixed turn the (holdings, moves) that make it."""
        return [np.argwhere(self.turn == turn).T for turn in range(18)]

    def cheapest_ms(self, turns: Sequence[int], starts: Sequence[int], down: int) -> int:
        """The least price of merged fixed-frame turns from one of ``starts``, face ``down`` down at
        the end. Two opposite turns in a row may come in either order."""
        cost = np.full((len(self.price), 24), NEVER, dtype=np.int64).T
        cost[list(starts), self.states[0]] = 0
        at = 0
        while at < len(turns):
            group = list(turns[at : at + 2])
            if len(group) == 2 and OPPOSITE[FACES[group[0] // 3]] == FACES[group[1] // 3]:
                one, other = group
                both = [self._step(self._step(cost, a), b) for a, b in ((one, other), (other, one))]
                cost, at = np.minimum(*both), at + 2
            else:
                cost, at = self._step(cost, group[0]), at + 1
        upright = [n for n, holding in enumerate(HOLDINGS) if holding[5] == down]
        return int((cost.min(axis=1) + self.rotation[:, upright].min(axis=1)).min())

    def _step(self, cost: npt.NDArray[np.int64], turn: int) -> npt.NDArray[np.int64]:
        """Shape (24, states): the least costs after one more turn."""
        spun = cost.min(axis=1)[:, None] + self.rotation + NEVER * np.eye(24, dtype=np.int64)
        ready = cost.copy()
        rotated = self.states[1]
        ready[:, rotated] = np.minimum(ready[:, rotated], spun.min(axis=0))
        held, moves = self._spellings[turn]
        total = ready[held] + self.price[:, moves].T
        to = self.after[held, moves][:, None] * cost.shape[1] + self.next[:, moves].T
        known = total < NEVER
        after = np.full(cost.size, NEVER, dtype=np.int64)
        np.minimum.at(after, to[known], total[known])
        return after.reshape(cost.shape)
