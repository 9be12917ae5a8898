"""Values of a review. Seconds are measured or predicted; each docstring says which."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from livecube.timing.results import to_the_millisecond

if TYPE_CHECKING:
    from livecube.advice.plan import Plan
    from livecube.advice.rows import Opportunity
    from livecube.cube.holding import Holding
    from livecube.holding.written import WrittenSolve, WrittenStage
    from livecube.stages.solve import Split

__all__ = [
    "AgainstPlan",
    "Alternative",
    "Finding",
    "Kind",
    "Opening",
    "Review",
    "Side",
    "SpareRotations",
    "StageReview",
]

Kind: TypeAlias = Literal["measured", "predicted"]


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another way that was open, at the beginning of a stage or later in it."""

    after: int
    """Turns of the stage made before the way opens; 0: at the beginning of the stage."""
    row: Opportunity
    saved_turns: int
    """Turns fewer than were made (HTM); for two slots, than were made for both pairs. Both are
    counted from the first turn of the solve on, so that the turns just before merge with the next
    ones."""
    saved_s: float
    """Predicted time of the turns made, less that of the way. The way is the turns of the stage so
    far and the row's turns after them, merged. Both are written in the cheapest way; see
    :meth:`.Advisor.priced`."""


@dataclass(frozen=True, slots=True)
class SpareRotations:
    """Rotations of a pair that an equally quick way avoids."""

    rotations: int
    way: Opportunity
    """Into the same slots, from the same holding, without a rotation and no slower than the moves
    that were made."""
    cost_s: float
    """Predicted: by how much the way is quicker, but no more than the rotations take."""


@dataclass(frozen=True, slots=True)
class AgainstPlan:
    """A pair as it was done, compared with plans for all pairs left when it began."""

    plan: Plan
    """The best one found."""
    own: Plan
    """The best one that begins with the pair that was done."""
    slow_s: float
    """Predicted time of the pair's turns, written in the cheapest way, less that of the first step
    of ``own``."""
    turning_s: float
    """Predicted time of these turns after the first one."""
    pause_s: float
    """Predicted pause before them: looking for the first step of ``own``, then their first turn
    with its rotations."""

    @property
    def order_s(self) -> float:
        """Predicted seconds saved over all pairs by beginning with the pair of ``plan``."""
        return to_the_millisecond(self.own.total - self.plan.total)


@dataclass(frozen=True, slots=True)
class StageReview:
    """A stage that was done, by turns of its own or on the last turn of another stage."""

    written: WrittenStage
    predicted_s: float | None
    """Predicted time of its moves by the model of the hands, without pauses; None with a slice
    move, which the model does not know."""
    alternatives: tuple[Alternative, ...] = ()
    """Of a pair: the best ones when it began, best first, then later ones that save more."""
    chances: tuple[Alternative, ...] = ()
    """Of a pair: the quickest way of each technique and slots when it began, if this way was
    quicker than the turns made, or was taken."""
    prices: tuple[tuple[Opportunity, float], ...] = ()
    """Of a pair: the cheapest way to begin with each technique, also with slow ones, and its price;
    see :meth:`.Advisor.prices`."""
    against_plan: AgainstPlan | None = None
    """Of a pair with a slot of its own: how it compares with the plan when it began."""
    held: Holding | None = None
    """Of a pair: how the cube was held before it; None if that is not sure. All ways begin in this
    holding, also those that opened later; if it is None, each begins with its cheapest front."""
    turned_s: float | None = None
    """Of a pair: predicted time of its turns, written in the cheapest way."""
    spare: SpareRotations | None = None
    """Of a pair whose holdings are sure: rotations that another way avoids."""
    began: bytes | None = None
    """Of a pair: the position at its beginning, 20 facelets; None if turns were lost."""

    @property
    def split(self) -> Split:
        """Its figures, which are measured."""
        assert self.written.split is not None
        return self.written.split


@dataclass(frozen=True, slots=True)
class Opening:
    """An opening that inspection offered."""

    row: Opportunity
    saved_turns: int
    """Turns fewer than were made for the cross and as many pairs as the opening holds (HTM)."""
    saved_s: float
    """Seconds saved against the same turns; predicted."""


@dataclass(frozen=True, slots=True)
class Side:
    """Pairs that went into slots of one side; only pairs whose holding is sure."""

    name: Literal["left", "right", "front", "back"]
    pairs: int
    turns: float
    """Mean of a pair."""
    seconds: float
    """Mean of a pair without its pause; measured."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that cost time."""

    cost_s: float
    kind: Kind
    sentence: str


@dataclass(frozen=True, slots=True)
class Review:
    """The review of one solve."""

    written: WrittenSolve
    stages: tuple[StageReview, ...]
    openings: tuple[Opening, ...]
    rotations: int
    """Rotations of the whole cube in the written solve, from the first turn on."""
    wide_turns: int
    regrips: int
    """Moves for which the moves before left a wrong grip, by the model of the hands."""
    sides: tuple[Side, ...]
    findings: tuple[Finding, ...]
    """Everything that cost notable time, the costliest first."""
