"""What became of an attempt to learn a cube."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from livecube.profiles.values import Profile

__all__ = ["Learned", "Refused", "Why"]

Why: TypeAlias = Literal[
    "too few", "lost", "encrypted", "ambiguous", "unknown", "not solved", "wrap"
]
"""``too few`` packets or turns; packets were ``lost``; data look ``encrypted``; fields are
``ambiguous``; the shape is ``unknown``; the free sequence did ``not`` come out ``solved``; where
the counter begins anew (its ``wrap``) was not seen."""


@dataclass(frozen=True, slots=True)
class Learned:
    """A profile that told every turn that was held back, and came out solved at the end."""

    profile: Profile
    told: int
    """Turns of the steps that were held back, all told right."""
    free: int
    """Turns of the free sequence."""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Refused:
    """No profile, and why."""

    why: Why
    reason: str
    """A sentence for people, with what to do."""
    turns: tuple[int, ...] = ()
    """The turns that would decide between ambiguous fields, or that were not told."""
    more: int = 0
    """So many turns more, whatever they are, would show the rest."""
