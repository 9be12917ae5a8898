"""An opportunity: one sequence of one technique, with what it is worth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING, Any, NamedTuple

from livecube.cube.holding import Holding
from livecube.cube.notation import moves_text
from livecube.cube.turns import turns_text

if TYPE_CHECKING:
    from livecube.advice.plan import Plan
    from livecube.advice.rules import Note
    from livecube.cube.holding import Move

__all__ = ["Advice", "Opportunity", "PlainWay"]


class PlainWay(NamedTuple):
    """What an opportunity is compared with: its slots filled plainly, for two in better order."""

    turns: int
    """The fewest (HTM)."""
    seconds: float
    """Turning of the fastest."""
    looking: float


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
    plain: PlainWay | None
    """The plain way into the same slots; None away from offset 0, or where it is not known."""
    top_kept: int
    """Upper-layer pieces that are not targets and stand as before, up to a turn of the layer."""
    pairs_kept: int
    """Made pairs of other slots that stay joined."""
    seconds: float
    """Predicted for turning, until the cross is down again."""
    looking: float
    """Expected before the first turn."""
    why: str
    """One sentence that a person can act on."""
    door: str | None = None
    """The free slot through which a keyhole goes; None if it is no keyhole."""
    notes: tuple[Note, ...] = ()
    """What the rules of the trade say about it."""
    shortest: bool = False
    """Whether no sequence of the technique into these slots has fewer turns."""
    fastest: bool = True
    """Whether it takes at most 0.05 s more turning than the fastest of them."""
    also: tuple[str, ...] = ()
    """In a plan further slots that the sequence happens to fill."""
    then: Plan | None = None
    """In inspection the plan for the pairs behind it; None: not looked at."""

    @property
    def ends(self) -> Holding:
        """How the cube is held after the moves."""
        return reduce(Holding.after, self.moves, self.holding)

    @property
    def total(self) -> float:
        """Seconds of looking, turning, and of the plan behind it, if there is one."""
        return self.looking + self.seconds + (self.then.total if self.then else 0.0)

    @property
    def silenced(self) -> bool:
        """Whether a rule says that it is better not spoken of."""
        return any(note.silences for note in self.notes)

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
            "shortest": self.shortest,
            "fastest": self.fastest,
            "plain_turns": self.plain and self.plain.turns,
            "plain_seconds": self.plain and round(self.plain.seconds, 3),
            "plain_looking": self.plain and round(self.plain.looking, 3),
            "top_kept": self.top_kept,
            "pairs_kept": self.pairs_kept,
            "seconds": round(self.seconds, 3),
            "looking": round(self.looking, 3),
            "door": self.door,
            "why": self.why,
            "notes": [{"rule": note.rule, "text": note.text} for note in self.notes],
            "silenced": self.silenced,
            **({"then": self.then.as_json()} if self.then else {}),
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
    plan: Plan | None
    """The best order to the last pair; None if the cross is whole at no offset, or all is done."""
    plans: tuple[Plan, ...]
    """For each first pair the best plan, the best of all first."""

    def as_json(self, advice_ms: float) -> dict[str, Any]:
        """The object of machine-readable output."""
        return {
            "cross": self.cross,
            "offset": self.offset,
            "solved_slots": list(self.solved_slots),
            "cross_turns": self.cross_turns,
            "advice_ms": round(advice_ms, 3),
            "opportunities": [row.as_json() for row in self.opportunities],
            "plan": self.plan and self.plan.as_json(),
            "plans": [plan.as_json() for plan in self.plans],
        }
