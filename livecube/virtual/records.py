"""A virtual solve as values: reported turns, the true stages, the whole solve."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, get_args

from livecube.cube.holding import COLOURS
from livecube.events import Moment

if TYPE_CHECKING:
    from livecube.cube.holding import Holding, Move

__all__ = ["KINDS", "HandMove", "Kind", "StageName", "TrueStage", "VirtualSolve", "VirtualTurn"]

StageName: TypeAlias = Literal["cross", "pair", "orient", "permute", "auf"]

Kind: TypeAlias = Literal[
    "keyhole-corner",
    "keyhole-edge",
    "keyhole-flip",
    "pseudo-pair",
    "chain",
    "offset-cross",
    "x-cross",
    "multislot",
    "other-cross",
    "orient-skip",
    "permute-skip",
    "layer-skip",
    "wrong-turn",
    "out-and-back",
    "out-while-in",
    "reopened",
    "fumbling",
    "abandoned",
]

KINDS: Final[tuple[Kind, ...]] = get_args(Kind)
"""The kinds of event that can be requested of a solve, and that a solve lists.

Most are the names of techniques and stages. ``chain``: a pair done while the cross layer is turned.
``offset-cross``: the cross done at an offset. ``other-cross``: another colour had a cross before.
``out-and-back``: a solved pair was taken out and put back. ``out-while-in``: a solved pair was out
at lines where the cross is whole, and came back as another went in. ``reopened``: a solved pair was
lost. ``fumbling``: pieces were put in and lost at any offset, more or less at random.
``layer-skip``: the last pair solved the cube up to the last layer's turn; in hindsight another
colour may then have had its four slots a turn earlier, and is the cross colour.
"""


@dataclass(frozen=True, slots=True)
class VirtualTurn(Moment):
    """One turn as a sensor in the cube reports it, when it is complete."""

    turn: int
    """Fixed-frame turn, 0 to 17."""
    holding: Holding
    """The true holding when the move began."""
    move: str
    """The move of the hands (``R``, ``Rw'``, ``M2``); one move may give several turns."""
    move_index: int
    """Index of that move in the solve's ``moves``."""


@dataclass(frozen=True, slots=True)
class HandMove(Moment):
    """One move of the hands, rotations included, when it is complete."""

    move: Move
    holding: Holding
    """The holding when the move began."""


@dataclass(frozen=True, slots=True)
class TrueStage:
    """One stage by the rules for stages."""

    stage: StageName
    slots: tuple[str, ...]
    """The slot of a pair, named by its side colours in alphabetical order."""
    end_turn: int
    """The log's turn line, counted from 1, that completed it."""
    technique: str | None
    """Technique of a pair; None for other stages."""
    shared: bool
    """Whether an earlier stage of the list ends on the same line."""
    offset: int
    """Offset of the cross layer at that line, 0 to 3."""


@dataclass(frozen=True, slots=True)
class VirtualSolve:
    """One solve from first turn to last, and the truth about it."""

    scramble: list[int]
    """Fixed-frame turns from solved to the position in which the log starts this solve, or those
    that were turned on the cube. Turned ones are the first of ``turns``, and begin at the position
    in which an abandoned solve left the cube."""
    turns: list[VirtualTurn]
    """All reported turns that belong to this solve; see ``first_line``."""
    first_line: int
    """The log's turn line, counted from 1, of ``turns[0]``."""
    start_turn: int
    """The log's turn line of the first turn that is not scrambling."""
    cross: int
    """Face of the cross colour in hindsight."""
    meant: int
    """Face of the cross colour that the solver intended."""
    stages: list[TrueStage]
    """In order of completion; eight if the cube was solved."""
    reopened: list[tuple[str, int]]
    """Slots lost for good, with the turn line at which they count as lost."""
    solved: bool
    kinds: frozenset[str]
    """The unusual things that happened: some of :data:`KINDS`."""
    moves: list[HandMove]
    """The moves of the hands, in order: the scramble if it was turned, then the solve."""

    @property
    def solving(self) -> list[VirtualTurn]:
        """The turns without those of the scramble."""
        return self.turns[self.start_turn - self.first_line :]

    @property
    def cross_colour(self) -> str:
        """Name of the cross colour in hindsight."""
        return COLOURS[self.cross]

    @property
    def seconds(self) -> float:
        """From the first turn of the solve to the last, in seconds; 0 without turns."""
        solving = self.solving
        return solving[-1].t - solving[0].t if solving else 0.0
