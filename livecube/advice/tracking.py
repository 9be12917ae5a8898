"""The places of a pair's pieces during a sequence, which a solver tracks in inspection."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from livecube.advice.pieces import piece_words
from livecube.cube.geometry import HOME
from livecube.cube.holding import fixed_turns
from livecube.cube.position import apply_turns
from livecube.search.situation import SLOT_PIECES, Situation

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding, Move

__all__ = ["Sighting", "Track", "along", "first_part", "sightings", "track"]

_PIECES: Final = ("corner", "edge")


@dataclass(frozen=True, slots=True)
class Sighting:
    """A new place of one piece, as the hands hold the cube at that moment."""

    slot: str
    piece: str
    """``corner`` or ``edge``."""
    after: int
    """Number of the move, from 1; 0: before the first one."""
    move: Move | None
    """The move itself; None before the first one."""
    where: str
    """Place and direction, or *home*: where the piece is in the solved cube."""


@dataclass(frozen=True, slots=True)
class Track:
    """The places of all pieces that a sequence brings home."""

    row: Opportunity
    sightings: tuple[Sighting, ...]
    """In order of the moves; the first sighting of each piece is before the first move."""

    def as_json(self) -> list[dict[str, Any]]:
        """One object for each sighting."""
        return [
            {
                "technique": self.row.technique,
                "slots": list(self.row.slots),
                "slot": seen.slot,
                "piece": seen.piece,
                "after": seen.after,
                "move": None if seen.move is None else str(seen.move),
                "where": seen.where,
            }
            for seen in self.sightings
        ]


def track(position: Array, face: int, row: Opportunity) -> Track:
    """Follow the corner and the edge of each slot that ``row`` fills.

    A sighting is added whenever the place of a piece in the hands changes: by a turn, a rotation,
    or the rotation that is part of a wide turn.
    """
    seen = sightings(position, face, row.holding, row.moves, row.slots)
    return Track(row, tuple(seen))


def sightings(
    position: Array, face: int, holding: Holding, moves: Sequence[Move], slots: Sequence[str]
) -> Iterator[Sighting]:
    """The places of the pieces of these slots: at first, and then each new one."""
    known = Situation.of(position, face).slot_names(range(4))
    last: dict[tuple[str, str], str] = {}
    for after, (move, situation, held, _) in enumerate(along(position, face, holding, moves)):
        standing = _standing(situation)
        for slot in slots:
            places = piece_words(standing, known.index(slot), held)
            for piece, where in zip(_PIECES, places, strict=True):
                if last.get((slot, piece)) != where:
                    last[slot, piece] = where
                    yield Sighting(slot, piece, after, move, where)


def first_part(position: Array, face: int, row: Opportunity) -> int:
    """How many moves of a pseudo X-cross belong to its first part.

    After the first part the cross, the corner of the first slot and the edge of the second are
    solved, at any offset; the pseudo pair follows. If that never happens, it is all moves.
    """
    known = Situation.of(position, face).slot_names(range(4))
    i, j = (known.index(slot) for slot in row.slots)
    along_row = along(position, face, row.holding, row.moves)
    for after, (_, situation, _, _) in enumerate(along_row):
        if situation.corners >> i & 1 and situation.edges >> j & 1:
            return after
    return len(row.moves)


def along(
    position: Array, face: int, holding: Holding, moves: Sequence[Move]
) -> Iterator[tuple[Move | None, Situation, Holding, Array]]:
    """The start and then every move, with the situation, the holding and the position after it."""
    yield None, Situation.of(position, face), holding, position
    for move in moves:
        turns, holding = fixed_turns([move], holding)
        position = apply_turns(position, turns)
        yield move, Situation.of(position, face), holding, position


def _standing(situation: Situation) -> Situation:
    """The same situation, but only pieces at their places in the solved cube count as home.

    A solver who tracks a piece through an unfinished cross needs its place, at any offset. The
    words *in its slot* or *flipped* do not name the place.
    """
    home = [int(situation.position[piece]) == int(HOME[piece]) for piece in SLOT_PIECES]
    corners = sum(is_home << slot for slot, is_home in enumerate(home[:4]))
    edges = sum(is_home << slot for slot, is_home in enumerate(home[4:]))
    return replace(situation, offset=None, corners=corners, edges=edges, flipped=0)
