"""One cross colour's view of the cube: its cross, its four slots, its offset.

Offset k (0 to 3): the present position is the aligned one followed by k clockwise quarter
turns of the cross layer. Cross edges and slot corners move with that layer, slot edges do
not. Positions are ``bytes`` of 20 facelets here: single positions, turn by turn.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from operator import eq, itemgetter
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, TypeAlias

from livecube.cube.geometry import CORNERS, EDGES, HOME, NEXT_STICKER, OPPOSITE, TURNS, piece_faces
from livecube.cube.holding import COLOURS
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, blocks_outside

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.cube.holding import Holding

__all__ = [
    "ALL_SLOTS",
    "FRAMES",
    "Change",
    "CrossFrame",
    "Done",
    "HeldSlots",
    "LastLayer",
    "LastStage",
    "Reached",
    "Record",
    "Row",
    "Sight",
    "is_scrambled",
    "slots_of",
]

ALL_SLOTS: Final = 0b1111
"""The bits of all four slots."""


class Row(NamedTuple):
    """The slots of a cross colour at a line where its cross is whole."""

    line: int
    """Turn line after which this holds."""
    offset: int
    corners: int
    """Bit s: the corner of slot s is solved up to the offset."""
    edges: int
    """Bit s: the edge of slot s is at home."""
    flipped: int
    """Bit s: the edge of slot s is in its slot, but flipped."""

    @property
    def solved(self) -> int:
        """Bit s: slot s is solved up to the offset."""
        return self.corners & self.edges


class CrossFrame:
    """Tables for one cross colour. ``face`` is the face of the cross."""

    def __init__(self, face: int) -> None:
        self.face = face
        self.colour = COLOURS[face]
        last = OPPOSITE[face]
        turned = [list(range(54))] + [TURNS[3 * face + k].tolist() for k in range(3)]
        self.cross = [p for p in EDGES if face in piece_faces(p)]
        self.corners = [p for p in CORNERS if face in piece_faces(p)]
        sides = [piece_faces(c) - {face} for c in self.corners]
        self.edges = [next(p for p in EDGES if piece_faces(p) == side) for side in sides]
        self.slots = ["-".join(sorted(COLOURS[f] for f in side)) for side in sides]
        self.joined = [
            blocks_outside(int(HOME[corner]), int(HOME[edge]))
            for corner, edge in zip(self.corners, self.edges, strict=True)
        ]
        """For each slot the places (corner, edge) at which its two pieces form a block
        outside it."""
        self.named = [
            tuple(name for s, name in enumerate(self.slots) if mask >> s & 1) for mask in range(16)
        ]
        self.last_layer = [p for p in range(20) if last in piece_faces(p)]

        self.first_two = first, second = self.cross[0], self.cross[1]
        self.beside = {turned[k][HOME[first]]: turned[k][HOME[second]] for k in range(4)}
        """For each place of the first cross edge while the cross may be whole, that of the second
        one: a test that most positions fail."""
        self._cross_of = itemgetter(*self.cross)
        self._offsets = {tuple(turned[k][HOME[p]] for p in self.cross): k for k in range(4)}
        self._corner_bits = [
            tuple((p, turned[k][HOME[p]], 1 << s) for s, p in enumerate(self.corners))
            for k in range(4)
        ]
        self._layer = [
            (p, {turned[k][HOME[p]]: k for k in range(4)}) for p in (*self.cross, *self.corners)
        ]
        self._edge_bits = tuple(
            (p, int(HOME[p]), int(NEXT_STICKER[HOME[p]]), 1 << s) for s, p in enumerate(self.edges)
        )

    def offset(self, position: bytes) -> int | None:
        """The offset at which the cross is whole; None if it is not whole."""
        return self._offsets.get(self._cross_of(position))

    def row(self, line: int, position: bytes) -> Row | None:
        """The slots of this colour at a line; None if its cross is not whole."""
        offset = self._offsets.get(self._cross_of(position))  # without a call: it is asked often
        if offset is None:
            return None
        corners = edges = flipped = 0
        for piece, place, bit in self._corner_bits[offset]:
            if position[piece] == place:
                corners |= bit
        for piece, home, other, bit in self._edge_bits:
            if (place := position[piece]) == home:
                edges |= bit
            elif place == other:
                flipped |= bit
        return Row(line, offset, corners, edges, flipped)

    def pieces_in_place(self, position: bytes) -> int:
        """How many of the 12 pieces of cross and slots are solved, at the best offset."""
        at_offset = [0, 0, 0, 0]
        for piece, offset_at in self._layer:
            if (offset := offset_at.get(position[piece])) is not None:
                at_offset[offset] += 1
        at_home = [position[piece] == home for piece, home, _, _ in self._edge_bits]
        return max(at_offset) + at_home.count(True)

    def last_layer_oriented(self, position: bytes) -> bool:
        """Whether the last layer shows one colour."""
        last = OPPOSITE[self.face]
        shown = _FACE_SHOWN[last]
        return all(shown[p][position[p]] == last for p in self.last_layer)

    def solved_up_to_last_turn(self, position: bytes) -> bool:
        """Whether one turn of the last layer, or none, solves the cube."""
        return position in _NEARLY_SOLVED[OPPOSITE[self.face]]


def _from(spot: int) -> tuple[int, int, int]:
    """A sticker and the next two of its piece; of an edge the first one again."""
    following = int(NEXT_STICKER[spot])
    return spot, following, int(NEXT_STICKER[following])


def _face_shown() -> list[list[dict[int, int]]]:
    """[face][piece][place of its reference sticker] → face where its sticker of ``face`` lies."""
    stickers_from = [_from(spot) for spot in range(54)]
    result: list[list[dict[int, int]]] = []
    for face in range(6):
        rows: list[dict[int, int]] = []
        for piece in range(20):
            stickers = stickers_from[int(HOME[piece])]
            shift = next((k for k, spot in enumerate(stickers) if spot // 9 == face), None)
            row = {}
            if shift is not None:
                row = {place: spots[shift] // 9 for place, spots in enumerate(stickers_from)}
            rows.append(row)
        result.append(rows)
    return result


_FACE_SHOWN: Final = _face_shown()
_NEARLY_SOLVED: Final = [
    frozenset([bytes(HOME.tolist())] + [bytes(TURNS[3 * f + k][HOME].tolist()) for k in range(3)])
    for f in range(6)
]

FRAMES: Final = tuple(CrossFrame(face) for face in range(6))
"""One frame for each cross colour, in the order U L F R B D of the cross's face."""


def slots_of(frame: CrossFrame, mask: int) -> tuple[str, ...]:
    """Names of the slots whose bits are set."""
    return frame.named[mask]


# Which slots are held: the rule by which a cross and its pairs count as done.
#
# At a line where the cross is whole at offset 0, let P be the slots solved there, and H the
# slots held until now. P above H: the new ones are done at this line. P not above H but at
# least as many: the missing ones are reopened, the new ones done. Otherwise nothing changes:
# a pair that is out while another goes in is still held, and so is the cross.
#
# Between two aligned lines the same rule runs provisionally at the lines where the cross is
# whole at another offset. When the layer is aligned again, each new slot is done at its own
# provisional line, except the last, to which the aligning turn belongs. The cross counts at
# an offset only if a pair done in this way follows before the layer is aligned.


@dataclass(frozen=True, slots=True)
class Done:
    """Where a cross or a slot was done, and the offset of the cross layer there."""

    line: int
    offset: int


@dataclass(frozen=True, slots=True)
class Change:
    """The changes at an aligned line."""

    cross: Done | None
    """Set when the cross was done by this change."""
    done: dict[int, Done]
    """Newly held slots (by number), in order of their lines."""
    reopened: int
    """Bit s: slot s was held and is no longer held."""


@dataclass(slots=True)
class _Trial:
    """The rule's provisional run since the last aligned line."""

    held: int
    cross: Done | None = None
    own: dict[int, Done] = field(default_factory=dict)


class HeldSlots:
    """Follows the rows of one cross colour; see the module's docstring for the rule."""

    def __init__(self) -> None:
        self.cross: Done | None = None
        self.held = 0
        self.done: dict[int, Done] = {}
        self.rows: list[Row] = []
        self._trial = _Trial(0)

    @property
    def complete(self) -> Done | None:
        """Where the last of the four slots was done, if all are held."""
        return max(self.done.values(), key=lambda d: d.line) if self.held == ALL_SLOTS else None

    def settle(self, row: Row) -> Change | None:
        """Take in the next line where the cross is whole; returns the changes, or None."""
        self.rows.append(row)
        if row.offset:
            self._try(row)
            return None
        solved, held = row.solved, self.held
        change = None
        if self.cross is None or _accepted(solved, held):
            new = self._new_slots(row, solved & ~held)
            cross = None
            if self.cross is None:
                cross = self._cross(row, new)
                # No pair is done before its cross.
                new = {s: d if d.line >= cross.line else cross for s, d in new.items()}
            change = Change(cross, new, held & ~solved)
            self.cross = self.cross or cross
            self.held = solved
            self.done = {s: d for s, d in (self.done | new).items() if solved >> s & 1}
        self._trial = _Trial(self.held)
        return change

    def _try(self, row: Row) -> None:
        trial, solved = self._trial, row.solved
        here = Done(row.line, row.offset)
        if self.cross is None and trial.cross is None:
            trial.cross = here
        if _accepted(solved, trial.held):
            trial.own = {s: d for s, d in trial.own.items() if solved >> s & 1}
            trial.own |= dict.fromkeys(_bits(solved & ~trial.held), here)
            trial.held = solved

    def _new_slots(self, row: Row, new: int) -> dict[int, Done]:
        here = Done(row.line, 0)
        own = {s: self._trial.own.get(s, here) for s in _bits(new)}
        last = max((d.line for d in own.values()), default=row.line)
        return {
            s: here if d.line == last else d
            for s, d in sorted(own.items(), key=lambda item: item[1].line)
        }

    def _cross(self, row: Row, new: dict[int, Done]) -> Done:
        tried = self._trial.cross
        if tried and any(
            s in self._trial.own and self._trial.own[s].line > tried.line for s in new
        ):
            return tried
        return Done(row.line, 0)


def _accepted(solved: int, held: int) -> bool:
    """Whether the solved slots P replace the held ones H; see the rule above."""
    return solved != held and solved.bit_count() >= held.bit_count()


def _bits(mask: int) -> list[int]:
    return [s for s in range(4) if mask >> s & 1]


# The turns of one attempt, with the rows of all six cross colours.


_SCRAMBLED_AT_MOST: Final = 4
"""A cube counts as scrambled when at most this many of its 20 pieces are at home (a random
position has 0.8 on average; more than this happens once in about 600)."""

_SCATTERED_AT_MOST: Final = 3
"""A colour's pieces are scattered on a scrambled cube when at most this many of the 12 pieces
of its cross and slots are in place."""

_LOST_PAUSE_S: Final = 4.0
"""A cross is lost for good if the solver pauses this many seconds before scattered pieces.
Last-layer sequences with slices scatter them too, but no solver pauses to inspect there."""


def is_scrambled(position: bytes) -> bool:
    """Whether so few pieces are at home that the cube has been scrambled."""
    at_home: int = sum(map(eq, position, SOLVED_BYTES))
    return at_home <= _SCRAMBLED_AT_MOST


@dataclass(slots=True)
class Sight:
    """The rows and held slots of one cross colour."""

    frame: CrossFrame
    held: HeldSlots = field(default_factory=HeldSlots)
    since: int = 0
    """Only pauses after this line can be the inspection before this colour's cross."""
    armed: bool = False
    """Whether its pieces have been scattered, so that a cross would be a new one."""
    start: int | None = None
    """Line of the solve's first turn for this colour; None until it is worked out."""

    def look_at_scrambled(self, position: bytes, *, paused: bool) -> None:
        """Note a scrambled cube: arm, or start again if the cross has been scrambled away."""
        if self.frame.pieces_in_place(position) > _SCATTERED_AT_MOST:
            return
        self.armed = True
        if paused and self.held.cross:
            self.since = self.held.rows[-1].line
            self.held = HeldSlots()
            self.start = None


@dataclass(slots=True)
class Record:
    """Turn lines since the cube stood at ``positions[0]``; line numbers are the log's.

    ``begun`` says that the solve begins with the record's first turn. Otherwise the cube
    was solved then, the scramble is in the turns, and the solve begins after the longest
    pause before the first cross that is held.
    """

    before: int
    """Number of turn lines before this record."""
    positions: list[bytes]
    """Before the first turn, and after each."""
    begun: bool
    id: int | None = None
    turns: list[int] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    inferred: set[int] = field(default_factory=set)
    """Lines whose turns were worked out, not reported."""
    gaps: set[int] = field(default_factory=set)
    """Lines after which turns were lost."""
    holdings: list[tuple[int, Holding | None]] = field(default_factory=list)
    """Holdings as stated, each with the line after which it was stated."""
    sights: tuple[Sight, ...] = ()
    all_armed: bool = False
    _watched: list[tuple[Sight, int, int, dict[int, int]]] = field(default_factory=list)
    """Each colour with its frame's ``first_two`` and ``beside``, which every turn asks for."""

    def __post_init__(self) -> None:
        self.sights = tuple(Sight(frame, since=self.before + 1) for frame in FRAMES)
        for sight in self.sights:
            sight.armed = self.begun
            sight.start = self.before + 1 if self.begun else None
            self._watched.append((sight, *sight.frame.first_two, sight.frame.beside))

    @property
    def line(self) -> int:
        """Number of the last turn line."""
        return self.before + len(self.turns)

    @property
    def position(self) -> bytes:
        """The present position."""
        return self.positions[-1]

    def add(self, turn: int, t: float) -> list[tuple[Sight, Row, Change | None]]:
        """Add a turn line; returns the colours whose cross is whole now."""
        position = self.positions[-1].translate(TURN_BYTES[turn])
        if not self.begun:
            paused = bool(self.times) and t - self.times[-1] >= _LOST_PAUSE_S
            if paused or not self.all_armed:
                self._watch_scrambling(paused=paused)
        self.turns.append(turn)
        self.times.append(t)
        self.positions.append(position)
        line, seen = self.before + len(self.turns), []
        for sight, first, second, beside in self._watched:
            if beside.get(position[first]) == position[second] and sight.armed:
                row = sight.frame.row(line, position)
                if row is not None:
                    seen.append((sight, row, sight.held.settle(row)))
        return seen

    def lose(self, since: float | None = None) -> None:
        """Note that turns were lost after the last line, or from ``since`` until then."""
        first = self.line
        if since is not None:
            first = self.before + bisect_right(self.times, since)
        self.gaps.update(range(first, self.line + 1))

    def jump(self, position: bytes) -> None:
        """Note that turns were lost after the last line: the cube stands in ``position`` now."""
        self.positions[-1] = position
        self.lose()
        for sight in self.sights:
            if sight.armed and (row := sight.frame.row(self.line, position)):
                sight.held.settle(row)

    def _watch_scrambling(self, *, paused: bool) -> None:
        """Before a turn, check whether the cube has been scrambled, perhaps again."""
        watched = [sight for sight in self.sights if paused or not sight.armed]
        if watched and is_scrambled(self.position):
            for sight in watched:
                sight.look_at_scrambled(self.position, paused=paused)
            self.all_armed = all(sight.armed for sight in self.sights)

    def start(self, sight: Sight) -> int | None:
        """Line of the solve's first turn for a cross colour; None if it is unknown."""
        if sight.start is None and sight.held.cross:
            candidates = range(sight.since + 1, sight.held.cross.line + 1)
            sight.start = max(candidates, key=self.pause_before, default=None)
        return sight.start

    def pause_before(self, line: int) -> float:
        """Seconds between a line of this record (not its first) and the one before."""
        return self.time(line) - self.time(line - 1)

    def time(self, line: int) -> float:
        """When a line of this record was turned."""
        return self.times[line - self.before - 1]

    def position_after(self, line: int) -> bytes:
        """The position after a line (``before``: at the record's start)."""
        return self.positions[line - self.before]

    def turns_between(self, after: int, until: int) -> list[int]:
        """Turns of the lines after one line, up to and including another."""
        return self.turns[after - self.before : until - self.before]

    def holding_at(self, line: int) -> Holding | None:
        """The holding last stated before or at a line."""
        stated = [holding for at, holding in self.holdings if at <= line]
        return stated[-1] if stated else None


LastStage: TypeAlias = Literal["orient", "permute", "auf"]


class Reached(NamedTuple):
    """A stage of the last layer that is done."""

    stage: LastStage
    began: int
    """The line after which it began."""
    line: int
    """The line at which it was done."""


class LastLayer:
    """Finds where orientation, permutation and closing turn are done, line by line.

    ``since``: the line from which all four slots are held. The last layer must show one
    colour at a line, whether or not the first two layers are intact there.
    """

    def __init__(self, frame: CrossFrame, since: int) -> None:
        self._line = self._began = since
        self._left: list[tuple[LastStage, Callable[[bytes], bool]]] = [
            ("orient", frame.last_layer_oriented),
            ("permute", frame.solved_up_to_last_turn),
            ("auf", SOLVED_BYTES.__eq__),
        ]

    def advance(self, record: Record) -> list[Reached]:
        """The stages reached up to now that were not told before; each line is read once."""
        found: list[Reached] = []
        while self._left and self._line <= record.line:
            stage, is_reached = self._left[0]
            if not is_reached(record.position_after(self._line)):
                self._line += 1
                continue
            found.append(Reached(stage, self._began, self._line))
            self._began = self._line
            del self._left[0]
        return found
