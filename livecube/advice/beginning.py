"""What the advisor answers at a beginning: the one question that is asked while solving."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from livecube.advice.opportunity import Opportunity
    from livecube.advice.plan import Plan

__all__ = ["Beginning", "Way"]


@dataclass(frozen=True, slots=True)
class Way:
    """One way to go on, and what the plan takes that begins with it."""

    row: Opportunity
    seconds: float


@dataclass(frozen=True, slots=True)
class Beginning:
    """What is best in a position in the middle of a solve."""

    rows: tuple[Opportunity, ...]
    """The best first; none that a rule of the trade silences."""
    seconds: float = inf
    """What the plan takes that begins with the first row; ``inf`` if there is none."""
    silence: str | None = None
    """The rule by which nothing is said at this level; None: the first row is said."""
    silenced: tuple[str, ...] = ()
    """Rules that silenced rows which stood before the first."""
    plans: tuple[Plan, ...] = ()
    """For each first pair the best plan, the best of all first."""
    standing: Way | None = None
    """The hint that stands, as it is done from here: by the same technique, into the same slots.
    None if there is none, or if it cannot be done in that way any more."""
