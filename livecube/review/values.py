"""What a review says, as values. Seconds are measured or predicted; each says which."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

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
    """Turns of the stage that had been made; 0: it began."""
    row: Opportunity
    saved_turns: int
    """Against what was done (HTM); for two slots, against both pairs. Both are counted from the
    first turn of the solve on, so that turns made just before merge with what follows."""
    saved_s: float
    """Predicted: the turns of the stage up to there and the row's behind them, merged, against the
    turns that were made, both as they are cheapest to write; see :meth:`.Advisor.priced`."""


@dataclass(frozen=True, slots=True)
class SpareRotations:
    """Rotations of a pair that a way of the same worth avoids."""

    rotations: int
    way: Opportunity
    """Into the same slots, from the same holding, without a rotation and no slower than what the
    hands did."""
    cost_s: float
    """Predicted: by how much it is quicker, but no more than the rotations take."""


@dataclass(frozen=True, slots=True)
class AgainstPlan:
    """A pair as it was done, against the plan for all pairs that were left when it began."""

    plan: Plan
    """The best one found."""
    own: Plan
    """The best one that begins with the pair that was done."""
    slow_s: float
    """By how much the pair's turns, as they are cheapest to write, are predicted slower than the
    first step of ``own``."""

    @property
    def order_s(self) -> float:
        """What beginning with the plan's pair would have saved over all pairs."""
        return round(self.own.total - self.plan.total, 3)


@dataclass(frozen=True, slots=True)
class StageReview:
    """A stage that was done, by turns of its own or on another's."""

    written: WrittenStage
    predicted_s: float | None
    """What its moves would take the model of the hands, without any pause; None with a slice,
    which the model does not know."""
    alternatives: tuple[Alternative, ...] = ()
    """Of a pair: the best ones when it began, best first, then those that beat them later."""
    chances: tuple[Alternative, ...] = ()
    """Of a pair: for each technique and slot the best that was open when it began, if it was
    quicker than what was done, or was done."""
    against_plan: AgainstPlan | None = None
    """Of a pair with a slot of its own: how it compares with the plan when it began."""
    held: Holding | None = None
    """Of a pair: how the cube was held before it; None if that is not sure. All ways begin so, or,
    if it is not sure, with the front that makes each cheapest; the ways that came up later too."""
    turned_s: float | None = None
    """Of a pair: what its turns take as they are cheapest to write; predicted."""
    spare: SpareRotations | None = None
    """Of a pair whose holdings are sure: rotations that it could have done without."""

    @property
    def split(self) -> Split:
        """Its figures, which are measured."""
        assert self.written.split is not None
        return self.written.split


@dataclass(frozen=True, slots=True)
class Opening:
    """What inspection offered."""

    row: Opportunity
    saved_turns: int
    """Against the cross as it was done, with as many pairs as it holds."""
    saved_s: float
    """Predicted."""


@dataclass(frozen=True, slots=True)
class Side:
    """Pairs that went into slots of one side, as far as the holding is known."""

    name: Literal["left", "right", "front", "back"]
    pairs: int
    turns: float
    """A pair, on average."""
    seconds: float
    """A pair, on average, measured, without its pause."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that cost time."""

    cost_s: float
    kind: Kind
    sentence: str


@dataclass(frozen=True, slots=True)
class Review:
    """Of one solve."""

    written: WrittenSolve
    stages: tuple[StageReview, ...]
    openings: tuple[Opening, ...]
    rotations: int
    """Of the whole cube, from the first turn on, as the solve is written."""
    wide_turns: int
    regrips: int
    """Moves for which the one before left the grip wrong, by the model of the hands."""
    sides: tuple[Side, ...]
    findings: tuple[Finding, ...]
    """All that cost time, the costliest first."""
