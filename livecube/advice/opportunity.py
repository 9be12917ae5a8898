"""An opportunity: one sequence of one technique, with what it is worth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING, Any

from livecube.cube.holding import Holding
from livecube.cube.notation import moves_text
from livecube.cube.turns import turns_text

if TYPE_CHECKING:
    from livecube.advice.rules import Note
    from livecube.cube.holding import Move

__all__ = ["Advice", "Opportunity"]


@dataclass(frozen=True, slots=True)
class Opportunity:
    """One sequence of one technique."""

    technique: str
    title: str
    """How people call the technique."""
    slots: tuple[str, ...]
    turns_fixed: tuple[int, ...]
    moves: tuple[Move, ...]
    """The same in the hands, from ``holding``."""
    holding: Holding
    turns: int
    """Half-turn metric."""
    plain_turns: int | None
    """Turns of the shortest plain insertion of the same slots; None away from offset 0."""
    top_kept: int
    """Upper-layer pieces that are not targets and stand as before, up to a turn of the layer."""
    pairs_kept: int
    """Made pairs of other slots that stay joined."""
    seconds: float
    """Predicted by the model of the hands."""
    why: str
    """One sentence that a person can act on."""
    door: str | None = None
    """The free slot through which a keyhole goes; None if it is no keyhole."""
    notes: tuple[Note, ...] = ()
    """What the rules of the trade say about it."""
    next_plain: int | None = None
    """Turns of the shortest plain insertion of any pair after this; None: not looked at."""
    next_turns: int | None = None
    """Turns of the shortest way to any pair after this; None: not looked at, or none is left."""
    next_seconds: float | None = None
    """Predicted seconds of the best pair after this; None: not looked at."""
    next_technique: str | None = None
    """Technique of that pair; None: not looked at, or none is left."""
    next_slots: tuple[str, ...] = ()
    """Slots that it fills."""

    @property
    def ends(self) -> Holding:
        """How the cube is held after the moves."""
        return reduce(Holding.after, self.moves, self.holding)

    @property
    def silenced(self) -> bool:
        """Whether a rule says that it is better not spoken of."""
        return any(note.silences for note in self.notes)

    @property
    def seconds_with_next(self) -> float:
        """Predicted seconds of two pairs: this and, if it was looked at, the next.

        What fills two slots at once is two pairs by itself.
        """
        return self.seconds + (self.next_seconds or 0.0 if len(self.slots) < 2 else 0.0)

    def as_json(self) -> dict[str, Any]:
        """The row of machine-readable output."""
        return {
            "technique": self.technique,
            "slots": list(self.slots),
            "turns_fixed": turns_text(self.turns_fixed),
            "moves": moves_text(self.moves),
            "up": self.holding.up,
            "front": self.holding.front,
            "turns": self.turns,
            "plain_turns": self.plain_turns,
            "top_kept": self.top_kept,
            "pairs_kept": self.pairs_kept,
            "seconds": round(self.seconds, 3),
            "door": self.door,
            "why": self.why,
            "notes": [{"rule": note.rule, "text": note.text} for note in self.notes],
            "silenced": self.silenced,
            "next_plain": self.next_plain,
            "next_turns": self.next_turns,
            "next_seconds": None if self.next_seconds is None else round(self.next_seconds, 3),
            "next_technique": self.next_technique,
            "next_slots": list(self.next_slots),
            "ranked_by": "pair" if self.next_seconds is None else "pair and next",
        }


@dataclass(frozen=True, slots=True)
class Advice:
    """All opportunities of one position for one cross colour, best first."""

    cross: str
    offset: int | None
    solved_slots: tuple[str, ...]
    cross_turns: int | None
    """Turns of the shortest cross while the cross is not whole; else None."""
    opportunities: tuple[Opportunity, ...]

    def as_json(self, advice_ms: float) -> dict[str, Any]:
        """The object of machine-readable output."""
        return {
            "cross": self.cross,
            "offset": self.offset,
            "solved_slots": list(self.solved_slots),
            "cross_turns": self.cross_turns,
            "advice_ms": round(advice_ms, 3),
            "opportunities": [row.as_json() for row in self.opportunities],
        }
