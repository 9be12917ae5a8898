"""A lesson as a value: its steps, in order. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from livecube.cube.holding import Holding, Move

__all__ = ["Claim", "Drill", "Lesson", "Show", "Solves", "Step", "Text", "Try", "kind_of"]


@dataclass(frozen=True, slots=True)
class Claim:
    """What a lesson says of a position or of moves, checkable; see :mod:`.claims`."""

    line: int
    words: str
    """As written: *4 turns*, *fills green-red*."""


@dataclass(frozen=True, slots=True)
class Text:
    """Something to read."""

    line: int
    title: str
    paragraphs: tuple[str, ...]
    """One that begins with a hyphen and a blank belongs to a list."""


@dataclass(frozen=True, slots=True)
class Show:
    """A sequence that is shown move by move."""

    line: int
    title: str
    position: bytes
    """20 facelets."""
    face: int
    """The face of the cross."""
    holding: Holding
    moves: tuple[Move, ...]
    say: str
    claims: tuple[Claim, ...]


@dataclass(frozen=True, slots=True)
class Try:
    """A position that the student brings onto the cube, to do a pair there."""

    line: int
    title: str
    position: bytes
    face: int
    holding: Holding | None
    ask: str
    """What to do, in words; empty: it is told from the rest."""
    technique: str | None
    """By which it has to be done; None: any."""
    slots: tuple[str, ...]
    """Which have to be filled; empty: any."""
    turns: int | None
    """Turns that are allowed; None: any number."""
    claims: tuple[Claim, ...]


@dataclass(frozen=True, slots=True)
class Drill:
    """Positions that are drawn for a technique."""

    line: int
    title: str
    technique: str
    grade: str | None
    count: int
    mark: int
    """So many have to be done as asked."""
    face: int


@dataclass(frozen=True, slots=True)
class Solves:
    """Whole solves with a focus."""

    line: int
    title: str
    count: int
    focus: str | None
    """The technique that is counted in them."""


Step: TypeAlias = Text | Show | Try | Drill | Solves


@dataclass(frozen=True, slots=True)
class Lesson:
    """A lesson."""

    name: str
    """Under which is kept what was done: small letters, digits, hyphens."""
    title: str
    about: str
    steps: tuple[Step, ...]

    @property
    def turned(self) -> tuple[int, ...]:
        """Numbers, from 1, of the steps in which the student turns."""
        return tuple(
            number
            for number, step in enumerate(self.steps, 1)
            if isinstance(step, Try | Drill | Solves)
        )


def kind_of(step: Step) -> str:
    """The step's kind as lessons write it: *text*, *show*, *try*, *drill*, *solve*."""
    kinds = {Text: "text", Show: "show", Try: "try", Drill: "drill", Solves: "solve"}
    return kinds[type(step)]
