"""Everyday solvers: people-like persons whose habits and sequences livecube has in no table.

A person is drawn from a number: the stronger hand, what a turn of each face costs, whether slots
at the back are turned there or brought to the front, which way the cube is rotated, which sequences
are known, whether the last layer takes one look or two, whether cube or layer is turned before it,
how fast each face is and how long the eyes take. A pair goes in by the way that is cheapest by this
person's own prices and mood. Nothing here uses the prices, the cases or the counts that livecube
reads with, nor the virtual solver's hands. All ranges: common practice, no published source.

>>> person = draw_person(1)
>>> done = everyday_solve(person, 1)
>>> len(done.part.turns) == len(done.holdings), done.part.stages[-1] >= 5
(True, True)
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
from everyday_sequences import ORIENT, PERMUTE, SLOT

from livecube.cube.geometry import PIECE_AT, TWIST_AT
from livecube.cube.holding import HOLDINGS, Holding, Move, fixed_turns
from livecube.cube.notation import parse_moves
from livecube.cube.position import SOLVED, TURN_BYTES, inverse_turns, make_turn, turn_face
from livecube.holding.observations import SolvePart
from livecube.virtual.cross import plan_cross
from livecube.virtual.hands import CrossFrame

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

__all__ = ["EverydaySolve", "Person", "draw_person", "everyday_solve", "everyday_solves"]

# The cross frame: the cross is on face D, whatever its colour. HELD: its four holdings, by
# quarters of y. Slots are numbered FR, FL, BL, BR in the hands as in the frame.
_Y: Final = tuple(Move("y", quarters) for quarters in (1, 2, 3))
HELD: Final = (HOLDINGS[0], *(HOLDINGS[0].after(y) for y in _Y))
_HOME: Final = SOLVED.tobytes()
_CORNER, _EDGE = 4, 16
_CROSS: Final = range(12, 16)
_BACKWARDS: Final = "backwards "
_SIDES: Final = {"R": "L", "L": "R", "Rw": "Lw", "Lw": "Rw"}


def _after(position: bytes, turns: Iterable[int]) -> bytes:
    for turn in turns:
        position = position.translate(TURN_BYTES[turn])
    return position


def _open_slots(position: bytes) -> list[int]:
    return [
        slot for slot in range(4)
        if any(position[p + slot] != _HOME[p + slot] for p in (_CORNER, _EDGE))
    ]  # fmt: skip


def _mirror(moves: Sequence[Move]) -> tuple[Move, ...]:
    """As the other hand makes them."""
    return tuple(
        m if m.symbol in "Mx" else Move(_SIDES.get(m.symbol, m.symbol), 4 - m.quarters)
        for m in moves
    )


def _half_round(moves: Sequence[Move]) -> tuple[Move, ...]:
    """The same for the opposite slot, with both hands exchanged and nothing rotated."""
    other = {"R": "L", "L": "R", "F": "B", "B": "F", "Rw": "Lw", "Lw": "Rw"}
    return tuple(Move(other.get(m.symbol, m.symbol), m.quarters) for m in moves)


@dataclass(frozen=True, slots=True)
class Way:
    """A sequence from one holding."""

    name: str
    """As it stands in the list: a person's liking for it."""
    moves: tuple[Move, ...]
    held: int
    back: bool
    """The slot is at the back in this holding."""


@cache
def _slot_ways() -> dict[tuple[int, int, int], list[Way]]:
    """By slot, and facelets of corner and edge: all ways to put the pair in."""
    found = defaultdict(list)
    for name in SLOT.strip().splitlines():
        moves = tuple(parse_moves(name))
        if moves[0].symbol == "U":
            moves = moves[1:]
        kinds = [(moves, False), (_mirror(moves), False)]
        kinds += [(_half_round(its), True) for its, _ in kinds]
        for its, back in kinds:
            for held, holding in enumerate(HELD):
                turns, _ = fixed_turns(its, holding)
                position = _after(_HOME, inverse_turns(turns))
                slot = next(iter(_open_slots(position)))
                case = (slot, position[_CORNER + slot], position[_EDGE + slot])
                found[case].append(Way(name, its, held, back))
    return dict(found)


# The last layer: what a look sees, as a key, and the sequences that settle it.


def _twists(position: bytes, pieces: range) -> bytes:
    seen = {PIECE_AT[position[p]]: TWIST_AT[position[p]] for p in pieces}
    return bytes(int(seen[place]) for place in pieces)


def _edges_up(position: bytes) -> bytes:
    return _twists(position, range(8, 12))


def _all_up(position: bytes) -> bytes:
    return _twists(position, range(4)) + _edges_up(position)


def _standing(position: bytes, pieces: range, first: int) -> bytes:
    seen = {PIECE_AT[position[p]]: p - pieces.start for p in pieces}
    return bytes((seen[place] - first) % 4 for place in pieces)


def _corners_home(position: bytes) -> bytes:
    first = next(p for p in range(4) if PIECE_AT[position[p]] == 0)
    return _standing(position, range(4), first)


def _all_home(position: bytes) -> bytes:
    first = next(p for p in range(4) if PIECE_AT[position[p]] == 0)
    return _standing(position, range(4), first) + _standing(position, range(8, 12), first)


_LOOKS: Final = {
    "edges up": (_edges_up, ORIENT),
    "all up": (_all_up, ORIENT),
    "corners home": (_corners_home, PERMUTE),
    "all home": (_all_home, PERMUTE),
}


@cache
def _settling(look: str, mirrored: bool) -> dict[bytes, list[Way]]:
    """By key: the sequences, from each holding, in either hand."""
    key, text = _LOOKS[look]
    found = defaultdict(list)
    for name in text.strip().splitlines():
        moves = tuple(parse_moves(name))
        moves = _mirror(moves) if mirrored else moves
        inverse = tuple(move.inverted() for move in reversed(moves))
        for its, liking in ((moves, name), (inverse, _BACKWARDS + name)):
            for held, holding in enumerate(HELD):
                position = _after(_HOME, inverse_turns(fixed_turns(its, holding)[0]))
                found[key(position)].append(Way(liking, its, held, False))
    return dict(found)


@dataclass(frozen=True, slots=True)
class Person:
    """The habits of one person. Prices are in easy quarter turns."""

    number: int
    left_handed: bool
    price: dict[str, float]
    """Of a quarter turn of each face, in the right-handed person's terms."""
    wide: float
    regrip: float
    back: float
    """Extra for a slot at the back."""
    rotation: tuple[float, float, float, float]
    """Price of no, one, two and three quarters of y."""
    mood: float
    """How far choices differ from the cheapest."""
    likings: dict[str, float]
    """Extra for each sequence by name. Many a sequence is another one backwards; some people know
    more of these, which stand in no list."""
    one_look: tuple[bool, bool]
    """Whether orientation, and permutation, take one look."""
    p_rotate: float
    """Before a sequence of the last layer the cube is rotated instead of the layer turned."""
    p_halves: float
    """A half turn is reported as two quarters."""
    cross: int
    """Face of the cross colour; −1: any."""
    turn_s: float
    face_s: dict[str, float]
    """Factor of the time of each face."""
    rotation_s: float
    overlap: float
    """Share of a rotation that is made while the eyes look."""
    look_s: float
    spread: float

    def cost(self, moves: Sequence[Move]) -> float:
        """Price of these moves."""
        total, last = 0.0, ""
        for move in _mirror(moves) if self.left_handed else moves:
            face = move.symbol[0]
            if move.is_rotation:
                total += 2.0
                continue
            total += self.price.get(face, 1.3) * (1.4 if move.quarters == 2 else 1.0)
            total += self.wide * (move.symbol[1:] == "w")
            if face == "R" and move.quarters != 2:
                total += self.regrip * (last == str(move))
                last = str(move)
            elif face != "U":
                last = ""
        return total


def draw_person(number: int) -> Person:
    """A person; always the same one for a number."""
    rng = np.random.default_rng([7, number])

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    price = {
        "U": 1.0, "R": between(0.9, 1.2), "L": between(1.0, 1.5), "F": between(1.2, 2.4),
        "D": between(1.3, 2.0), "B": between(2.2, 4.0),
    }  # fmt: skip
    left_handed = bool(rng.random() < 0.15)
    one, awry = between(0.6, 4.0), between(0.0, 1.5)
    ways = (one, one + awry) if rng.random() < 0.5 else (one + awry, one)
    strange = between(0.0, 4.0)
    names = [name for text in (SLOT, ORIENT, PERMUTE) for name in text.strip().splitlines()]
    slow = {face: float(price[face] ** 0.7 * np.exp(rng.normal(0, 0.1))) for face in "ULFRBD"}
    if left_handed:
        slow["L"], slow["R"] = slow["R"], slow["L"]
    return Person(
        number,
        left_handed,
        price,
        wide=between(0.1, 0.6),
        regrip=between(0.2, 1.0),
        back=between(0.0, 4.0),
        rotation=(0.0, ways[0], one * 1.8, ways[1]),
        mood=between(0.1, 0.6),
        likings={name: between(0.0, 3.0) for name in names}
        | {_BACKWARDS + name: strange + between(0.0, 3.0) for name in names},
        one_look=(bool(rng.random() < 0.6), bool(rng.random() < 0.75)),
        p_rotate=between(0.0, 0.6),
        p_halves=between(0.0, 0.3),
        cross=0 if rng.random() < 0.7 else int(rng.choice([5, -1])),
        turn_s=between(0.11, 0.24),
        face_s=slow,
        rotation_s=between(0.15, 0.4),
        overlap=between(0.0, 0.7),
        look_s=between(0.1, 0.7),
        spread=between(0.18, 0.35),
    )


@dataclass(frozen=True, slots=True)
class EverydaySolve:
    """A solve as the cube reports it, and the truth about the hands."""

    part: SolvePart
    holdings: tuple[int, ...]
    """For each turn the number of the holding when its move began."""
    moves: tuple[str, ...]
    """The moves of the hands, rotations included."""


def everyday_solves(person: Person, count: int, first: int = 0) -> Iterator[EverydaySolve]:
    """So many solves of a person."""
    for seed in range(first, first + count):
        yield everyday_solve(person, seed)


def everyday_solve(person: Person, seed: int) -> EverydaySolve:
    """One solve; always the same for a person and a seed."""
    return _Solving(person, np.random.default_rng([8, person.number, seed])).solve()


class _Solving:
    def __init__(self, person: Person, rng: np.random.Generator) -> None:
        self.person, self.rng = person, rng
        cross = person.cross if person.cross >= 0 else int(rng.integers(6))
        self.frame = CrossFrame(cross)
        self.cross = cross
        self.position = _after(_HOME, rng.integers(18, size=40).tolist())
        self.held: Holding = HELD[0]
        self.t = 0.0
        self.done = 0
        """Stages that are over."""
        self.turns, self.times, self.stages = list[int](), list[float](), list[int]()
        self.holdings, self.moves = list[int](), list[str]()

    def solve(self) -> EverydaySolve:
        self._cross()
        while len(free := self._free()) > 0:
            self._pair(free)
        for look, one in zip(("all up", "all home"), self.person.one_look, strict=True):
            first = {"all up": "edges up", "all home": "corners home"}[look]
            for each in (look,) if one else (first, look):
                self._settle(each)
        while self.position != _HOME:
            self._look(0.3)
            quarters = next(q for q in (1, 2, 3) if self._up(q) == _HOME)
            self._do([Move("U", quarters)])
        part = SolvePart(self.turns, self.times, self.stages, self.cross)
        return EverydaySolve(part, tuple(self.holdings), tuple(self.moves))

    # Stages.

    def _now(self) -> int:
        """Number of stages that are over: cross, four pairs, orientation, permutation."""
        if any(self.position[p] != _HOME[p] for p in _CROSS):
            return 0
        free = len(self._free())
        if free:
            return 5 - free
        if any(TWIST_AT[self.position[p]] for p in (*range(4), *range(8, 12))):
            return 5
        return 7 if any(self._up(q) == _HOME for q in range(4)) else 6

    def _up(self, quarters: int) -> bytes:
        if not quarters:
            return self.position
        return self.position.translate(TURN_BYTES[make_turn(0, quarters)])

    def _free(self) -> list[int]:
        return _open_slots(self.position)

    def _cross(self) -> None:
        plan = plan_cross(self.position, self.rng, extra=int(self.rng.random() < 0.3))
        ways = []
        for held in HELD:
            moves = [Move("ULFRBD"[held.hand_face(turn_face(t))], t % 3 + 1) for t in plan]
            ways.append((self.person.cost(moves) + self._whim(), held, moves))
        _, self.held, moves = min(ways, key=lambda way: way[0])
        self._do(moves)

    def _pair(self, free: list[int]) -> None:
        """The pair that is cheapest from here; one that is in another slot is taken out."""
        ways = []
        for slot in free:
            for quarters in range(4):
                position = self._up(quarters)
                case = (slot, position[_CORNER + slot], position[_EDGE + slot])
                ways += [self._priced(quarters, way) for way in _slot_ways().get(case, ())]
        if not ways:
            slot = int(self.rng.choice(free))
            out = [w for case, its in _slot_ways().items() if case[0] == slot for w in its]
            ways = [self._priced(0, way) for way in out if len(way.moves) == 3]
        _, quarters, way = min(ways, key=lambda way: way[0])
        self._look(1.0)
        self._hold(HELD[way.held])
        self._do([Move("U", quarters)] * bool(quarters))
        self._do(way.moves)
        self._cross_down()

    def _priced(self, quarters: int, way: Way) -> tuple[float, int, Way]:
        person = self.person
        price = person.cost(way.moves) + person.likings[way.name] + person.back * way.back
        price += person.rotation[(way.held - HELD.index(self.held)) % 4] + self._whim()
        return price + (0.9 if quarters else 0.0), quarters, way

    def _whim(self) -> float:
        return self.person.mood * float(self.rng.gumbel())

    def _settle(self, look: str) -> None:
        """Know the case, bring it into place by cube or layer, do the sequence."""
        key, _ = _LOOKS[look]
        if key(self.position) == key(_HOME):
            return
        person, known = self.person, _settling(look, self.person.left_handed)
        ways = []
        for quarters in range(4):
            for way in known.get(key(self._up(quarters)), ()):
                rotated = (way.held - HELD.index(self.held)) % 4
                if quarters and rotated:
                    continue
                extra = (person.p_rotate < self.rng.random()) if rotated else 0.0
                price = person.likings[way.name] + 0.3 * person.cost(way.moves)
                ways.append((price + 3.0 * extra + 0.1 * bool(quarters), quarters, way))
        if not ways:  # not known in one look
            self._settle({"all up": "edges up", "all home": "corners home"}[look])
            self._settle(look)
            return
        _, quarters, way = min(ways, key=lambda way: way[0])
        self._look(0.8)
        self._hold(HELD[way.held])
        self._do([Move("U", quarters)] * bool(quarters))
        self._do(way.moves)
        self._cross_down()

    # Hands.

    def _look(self, share: float) -> None:
        self.t += float(self.rng.lognormal(np.log(share * self.person.look_s), 0.5))

    def _took(self, seconds: float) -> float:
        return float(self.rng.lognormal(np.log(seconds), self.person.spread))

    def _hold(self, held: Holding) -> None:
        quarters = (HELD.index(held) - HELD.index(self.held)) % 4
        if quarters:
            took = self._took(self.person.rotation_s * (1.4 if quarters == 2 else 1.0))
            self.t += took * (1 - self.person.overlap)
            self.moves.append(str(Move("y", quarters)))
            self.held = held

    def _cross_down(self) -> None:
        """After wide turns: the way back that turns about the fewest axes."""
        if self.held not in HELD:
            back = [Move(axis, q) for axis in "xz" for q in (1, 2, 3)]
            move = next(m for m in back if self.held.after(m) in HELD)
            self.t += self._took(self.person.rotation_s)
            self.moves.append(str(move))
            self.held = self.held.after(move)

    def _do(self, moves: Sequence[Move]) -> None:
        for move in moves:
            if self.rng.random() < 0.01:
                self._look(1.0)
            self._make(move)

    def _make(self, move: Move) -> None:
        person, rng = self.person, self.rng
        self.moves.append(str(move))
        if move.is_rotation:
            self.t += self._took(person.rotation_s)
            self.held = self.held.after(move)
            return
        face = move.symbol[0]
        seconds = person.turn_s * person.face_s.get(face, 1.2)
        seconds *= 1 + person.wide * (len(move.symbol) > 1)
        if move.quarters == 2 and rng.random() < person.p_halves:
            quarter = Move(move.symbol, 1 if rng.random() < 0.5 else 3)
            self._turned(quarter, seconds)
            self._turned(quarter, 0.4 * person.turn_s)
        else:
            self._turned(move, seconds * (1.4 if move.quarters == 2 else 1.0))

    def _turned(self, move: Move, seconds: float) -> None:
        self.t += self._took(seconds)
        turns, after = fixed_turns([move], self.held)
        for i, turn in enumerate(turns if self.rng.random() < 0.5 else turns[::-1]):
            self.t += i * float(self.rng.uniform(0, 0.03))
            self._report(turn)
        self.held = after

    def _report(self, turn: int) -> None:
        faces = self.frame.holding.faces
        held = tuple(faces[face] for face in self.held.faces)
        self.holdings.append(next(i for i, h in enumerate(HOLDINGS) if h.faces == held))
        self.turns.append(make_turn(faces[turn // 3], turn % 3 + 1))
        self.times.append(round(self.t, 3))
        self.stages.append(self.done)
        self.position = self.position.translate(TURN_BYTES[turn])
        self.done = max(self.done, self._now())
