"""A demonstration: a sequence from a position, one step for each move. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.advice.pieces import slot_stickers
from livecube.advice.tracking import along, sightings
from livecube.cube.holding import COLOURS, fixed_turns
from livecube.cube.notation import moves_text
from livecube.cube.position import inverse_turn
from livecube.errors import UsageError
from livecube.search.situation import Situation, slot_bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding, Move

__all__ = ["Demonstration", "Step", "Walk", "demonstrated"]


@dataclass(frozen=True, slots=True)
class Step:
    """What a spectator sees after some of the moves."""

    position: bytes
    """20 facelets."""
    holding: Holding
    marked: frozenset[int]
    """Facelets, numbered in the hands, of the pieces that the sequence brings home."""
    words: str
    """Where those pieces have come to; empty if the move left them where they were."""


@dataclass(frozen=True, slots=True)
class Demonstration:
    """A sequence to show; ``steps[n]`` is what is seen after n moves."""

    title: str
    moves: tuple[Move, ...]
    slots: tuple[str, ...]
    """Those that the moves fill."""
    steps: tuple[Step, ...]
    hands_told: str = ""
    """For whose hands the moves were chosen, if for somebody's own."""

    @property
    def about(self) -> str:
        """The title, and behind it for whose hands the moves were chosen."""
        return ", ".join(filter(None, (self.title, self.hands_told)))

    def move_words(self, number: int) -> str:
        """The step's name: *start*, or the number and the move."""
        return "start" if number == 0 else f"{number}. {self.moves[number - 1]}"

    def turns(self, number: int) -> tuple[int, ...]:
        """The turns of the move that leads to a step, in the fixed frame; none for a rotation."""
        before = self.steps[number - 1].holding
        return tuple(fixed_turns([self.moves[number - 1]], before)[0])


def demonstrated(
    position: Array, face: int, holding: Holding, moves: Sequence[Move]
) -> Demonstration:
    """The steps of moves that begin in ``holding`` at a position (shape (20,)).

    The pieces that are set off belong to the slots that the moves fill, for the cross on ``face``.
    Raises :class:`~livecube.errors.UsageError` if there are no moves.
    """
    if not moves:
        raise UsageError("there is nothing to show without moves; give some")
    seen = list(along(position, face, holding, moves))
    first, last = seen[0][1], seen[-1][1]
    filled = slot_bits(last.solved & ~first.solved)
    slots = first.slot_names(filled)
    told: dict[int, list[str]] = {}
    for one in sightings(position, face, holding, moves, slots):
        piece = one.piece if len(slots) == 1 else f"{one.slot} {one.piece}"
        told.setdefault(one.after, []).append(f"{piece} {one.where}")
    steps = tuple(
        Step(
            bytes(now.tolist()),
            held,
            _marked(situation, filled, held),
            "; ".join(told.get(number, ())),
        )
        for number, (_, situation, held, now) in enumerate(seen)
    )
    into = f" into {' and '.join(slots)}" if slots else ""
    title = f"{moves_text(moves)}{into}, {COLOURS[face]} cross"
    return Demonstration(title, tuple(moves), slots, steps)


class Walk:
    """Steps forth and back through a demonstration.

    A cube steps on when it makes the turns of the next move, and back when it undoes those of the
    last one; other turns do nothing, and neither does the position of the cube.
    """

    def __init__(self, shown: Demonstration) -> None:
        self.shown = shown
        self.number = 0
        """So many moves have been made."""
        self._made: list[int] = []
        """Turns of the next move that the cube has made."""

    @property
    def at_end(self) -> bool:
        """Whether all moves have been made."""
        return self.number == len(self.shown.moves)

    def step(self, by: int) -> None:
        """Go so many steps on; it stays at the ends."""
        self._made.clear()
        self.number = min(max(self.number + by, 0), len(self.shown.moves))

    def turned(self, turn: int) -> None:
        """Take in a turn of the cube."""
        at, shown = self.number, self.shown
        while at < len(shown.moves) and not shown.turns(at + 1):
            at += 1  # a rotation turns nothing: it goes with the next move
        wanted = shown.turns(at + 1) if at < len(shown.moves) else ()
        self._made.append(turn)
        if tuple(self._made) == wanted:
            self.step(at + 1 - self.number)
        elif tuple(self._made) != wanted[: len(self._made)]:
            self._back(turn)

    def _back(self, turn: int) -> None:
        """Step back if the turn undoes the last move; else it does nothing."""
        self._made.clear()
        at, shown = self.number, self.shown
        while at and not shown.turns(at):
            at -= 1
        if at and shown.turns(at) == (inverse_turn(turn),):
            self.step(at - 1 - self.number)


def _marked(situation: Situation, slots: Sequence[int], holding: Holding) -> frozenset[int]:
    return frozenset(
        sticker.facelet
        for slot in slots
        for piece in slot_stickers(situation, slot, holding)
        for sticker in piece
    )
