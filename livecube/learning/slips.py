"""Steps in which the owner made another turn than asked, when the cube sends only positions.

After a slip all positions differ from the asked ones. A field that shows a facelet (or a place, or
a piece) is equal in two steps if the facelet is. While the asked positions are right, some field
shows each facelet. At the first step where none does, the search tries every slip up to that step,
and takes the one with which fields show the positions for the most steps: another turn than asked,
one more before it, or a packet that came too late.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.cube.geometry import HOME, face_of, sticker_cycle
from livecube.learning.bits import Bits, byte_labels
from livecube.learning.pieces import shown_pieces
from livecube.learning.samples import asked_positions
from livecube.learning.stickers import shown_facelets

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    import numpy.typing as npt

    from livecube.cube.geometry import Array
    from livecube.events import Packet
    from livecube.learning.samples import Steps
    from livecube.profiles.fields import Order

__all__ = ["without_slips"]

_LEAST_BYTES: Final = 13
"""A packet with a position has at least this many bytes."""
_LEAST_REACH: Final = 2
"""Fields show the positions for this many steps at least: the first step is no slip."""
_FAR: Final = 25
"""A slip that makes this many more steps right is taken without trying the others."""
_SLIPS: Final = 4
_TRIES: Final = 3000

_Shape: TypeAlias = "tuple[tuple[str, int], ...]"
_SHAPES: Final[tuple[_Shape, ...]] = (
    (("stickers", 3),), (("stickers", 4),), (("stickers", 8),),
    (("corner there", 3), ("edge there", 4)), (("corner place", 3), ("edge place", 4)),
)  # fmt: skip
"""What the fields of a packet may show together, with the width of each field in bits."""
_COUNTS: Final = {
    "stickers": 48, "corner there": 8, "edge there": 12, "corner place": 8, "edge place": 12,
}  # fmt: skip


def without_slips(steps: Steps, order: Order) -> Steps | None:
    """The steps with the turns that the owner made, and without packets that came too late.

    None if there is no slip, or if a few slips do not explain the packets.
    """
    heard = [number for number, (_, packets) in enumerate(steps) if packets]
    if not heard or len(steps[heard[0]][1][-1].data) < _LEAST_BYTES:
        return None
    search = _Search(
        [turns for turns, _ in steps], [steps[at][1][-1] for at in heard], heard, order
    )
    if not search.find():
        return None
    return [
        (turns, [] if number in search.left_out else packets)
        for number, (turns, (_, packets)) in enumerate(zip(search.turns, steps, strict=True))
    ]


class _Search:
    """Finds slips one after the other, in order of time."""

    def __init__(
        self, turns: list[tuple[int, ...]], ends: Sequence[Packet], heard: list[int], order: Order
    ) -> None:
        self.turns, self.left_out = turns, set[int]()
        self._heard, self._bits = heard, Bits([packet.data for packet in ends], order)
        self._fields: dict[tuple[int, frozenset[int]], npt.NDArray[np.uint8]] = {}
        self._patterns: dict[tuple[int, frozenset[int], int], frozenset[bytes]] = {}
        self._kept: dict[frozenset[int], list[int]] = {}
        self._unlike = 0
        self._tries: int
        reaches = {shape: self._reach(shape, turns, self.left_out) for shape in _SHAPES}
        self.reach = max(reaches.values())
        """Number of steps with packets for which fields show the asked positions."""
        self._shapes = [shape for shape in _SHAPES if reaches[shape] == self.reach]

    def find(self) -> bool:
        """Whether a few slips explain all packets; sets ``turns`` and ``left_out``."""
        if not _LEAST_REACH <= self.reach < len(self._heard):
            return False
        asked = self.turns
        for shape in self._shapes:
            self.turns, self.left_out, self._tries = asked, set(), 0
            if self._finds(shape):
                return True
        return False

    def _finds(self, shape: _Shape) -> bool:
        reach = self.reach
        for _ in range(_SLIPS):
            best = reach, self.turns, self.left_out
            for turns, left_out in self._slips(self._heard[reach]):
                self._tries += 1
                if self._may_reach_beyond(best[0], shape, turns, left_out):
                    new = self._reach(shape, turns, left_out)
                    best = max(best, (new, turns, left_out), key=lambda one: one[0])
                if best[0] >= min(len(self._heard), reach + _FAR) or self._tries > _TRIES:
                    break
            if best[0] == reach:
                return False
            reach, self.turns, self.left_out = best
            if reach == len(self._heard):
                return True
        return False

    def _slips(self, last: int) -> Iterator[tuple[list[tuple[int, ...]], set[int]]]:
        """Each possible slip or late packet at one step up to ``last``, the latest step first."""
        for number in reversed(range(last + 1)):
            if number in self._heard:
                yield self.turns, self.left_out | {number}
            asked = self.turns[number]
            for turn in range(18):
                for made in ((turn,), (turn, *asked)):
                    if made != asked:
                        yield [*self.turns[:number], made, *self.turns[number + 1 :]], self.left_out

    def _reach(self, shape: _Shape, turns: list[tuple[int, ...]], left_out: set[int]) -> int:
        """For how many steps with packets fields show the positions after ``turns``."""
        used = self._used(frozenset(left_out))
        reach = self._shown(shape, turns, left_out, used)
        return used[reach] if reach < len(used) else len(self._heard)

    def _may_reach_beyond(
        self, enough: int, shape: _Shape, turns: list[tuple[int, ...]], left_out: set[int]
    ) -> bool:
        """Whether fields show the positions up to there, which quickly rules out most slips."""
        used = self._used(frozenset(left_out))
        early = used[: bisect_right(used, enough)]
        return not early or self._are_shown(shape, turns, left_out, early)

    def _used(self, left_out: frozenset[int]) -> list[int]:
        """The packets that are not left out."""
        if (kept := self._kept.get(left_out)) is None:
            kept = [k for k, number in enumerate(self._heard) if number not in left_out]
            self._kept[left_out] = kept
        return kept

    def _positions(self, turns: list[tuple[int, ...]], used: list[int]) -> Array:
        """The positions after ``turns`` at these packets, shape (packets, 20)."""
        positions = asked_positions(turns[: self._heard[used[-1]] + 1])
        shown = b"".join([positions[self._heard[k]] for k in used])
        return np.frombuffer(shown, dtype=np.uint8).reshape(-1, 20)

    def _are_shown(
        self, shape: _Shape, turns: list[tuple[int, ...]], left_out: set[int], used: list[int]
    ) -> bool:
        """Whether fields show it for all of these packets, the first ones that are not left out.

        What no field showed the last time is looked at first: most slips fail there.
        """
        positions = self._positions(turns, used)
        for what, width in shape:
            patterns = self._first_labels(width, frozenset(left_out), len(used))
            shown, count = _one_by_one(what, positions), _COUNTS[what]
            for k in range(count):
                number = (self._unlike + k) % count
                if byte_labels(shown(number)) not in patterns:
                    self._unlike = number
                    return False
        return True

    def _shown(
        self,
        shape: _Shape,
        turns: list[tuple[int, ...]],
        left_out: set[int],
        used: list[int],
    ) -> int:
        """For how many of these packets, the first ones that are not left out, fields show it."""
        array = self._positions(turns, used)
        reach = len(used)
        for what, width in shape:
            values = shown_facelets(array) if what == "stickers" else shown_pieces(array, what)
            fields = self._labels(width, frozenset(left_out))
            for row in _all_labels(values.T):
                same = fields[:, :reach] == row[:reach]
                if not same.all(axis=1).any():
                    reach = int(np.argmin(same, axis=1).max())
        return reach

    def _first_labels(self, width: int, left_out: frozenset[int], count: int) -> frozenset[bytes]:
        """The labels of all fields of a width in the first ``count`` packets."""
        if (kept := self._patterns.get((width, left_out, count))) is None:
            fields = self._labels(width, left_out)
            kept = frozenset(row[:count].tobytes() for row in fields)
            self._patterns[width, left_out, count] = kept
        return kept

    def _labels(self, width: int, left_out: frozenset[int]) -> npt.NDArray[np.uint8]:
        """The labels of all fields of a width, each pattern once, shape (fields, packets)."""
        if (kept := self._fields.get((width, left_out))) is not None:
            return kept
        if left_out:  # fields that are alike in all packets are alike in these
            labels = _all_labels(self._labels(width, frozenset())[:, self._used(left_out)])
        else:
            starts = range(self._bits.size - width + 1)
            values = np.array([self._bits.read(start, width) for start in starts])
            labels = np.unique(_all_labels(values), axis=0)
        self._fields[width, left_out] = labels
        return labels


def _one_by_one(what: str, positions: Array) -> Callable[[int], bytes]:
    """A function that returns what one facelet (or place, or piece) shows in each position."""
    if what == "stickers":
        at = positions + _FIRST
        return lambda facelet: np.add.reduce(
            _COLOURS[facelet].take(at), axis=1, dtype=np.uint8
        ).tobytes()
    shown = shown_pieces(positions, what).astype(np.uint8)
    return lambda number: shown[:, number].tobytes()


def _colours() -> npt.NDArray[np.uint8]:
    """[facelet][piece][place of its reference sticker] → the face whose colour it shows there.

    0 if the piece is not at the facelet.
    """
    table = np.zeros((54, len(HOME), 54), dtype=np.uint8)
    for piece, home in enumerate(HOME.tolist()):
        own = sticker_cycle(home)
        for place in range(54):
            there = sticker_cycle(place)
            if len(there) == len(own):
                table[there, piece, place] = [face_of(sticker) for sticker in own]
    return table


_COLOURS: Final = _colours()[[facelet for facelet in range(54) if facelet % 9 != 4]]
_FIRST: Final = 54 * np.arange(20)
"""Of each piece, where its places begin in the colours of a facelet."""


def _all_labels(values: npt.NDArray[np.integer]) -> npt.NDArray[np.uint8]:
    """The labels of each row: each value replaced by the rank of its first occurrence."""
    rows, count = values.shape
    first = np.full((rows, int(values.max()) + 1), count)
    if count <= first.shape[1]:
        every = np.arange(rows)
        for at in range(count - 1, -1, -1):
            first[every, values[:, at]] = at
    else:
        for value in range(first.shape[1]):
            there = values == value
            at = there.argmax(axis=1)
            first[:, value] = np.where(there[:, 0] | (at > 0), at, count)
    ranks = np.argsort(np.argsort(first, axis=1, kind="stable"), axis=1)
    return np.take_along_axis(ranks.astype(np.uint8), values, axis=1)
