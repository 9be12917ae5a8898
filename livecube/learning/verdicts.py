"""The result of learning a cube: a profile, or a refusal."""

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
``ambiguous``; the shape is ``unknown``; the cube was ``not solved`` after the free sequence; the
``wrap`` of the counter is not certain."""


@dataclass(frozen=True, slots=True)
class Learned:
    """A profile that decodes the turns set aside as a check, and ends with the cube solved."""

    profile: Profile
    told: int
    """Steps set aside as a check that it decodes as they were asked for; the others are slips."""
    free: int
    """Turns of the free sequence."""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Refused:
    """No profile, and why."""

    why: Why
    reason: str
    """A sentence for the user, with what to do."""
    turns: tuple[int, ...] = ()
    """Turns to make: they decide between ambiguous fields, or were too seldom or not recorded."""
    more: int = 0
    """Number of further turns, of any kind, that would show the wrap."""
