"""The people of a home: their names, and who is meant if a command does not say.

Names are compared without regard to case. ``any`` stands for everybody and is nobody's name.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from livecube.errors import UsageError
from livecube.solves.records import NOBODY

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from livecube.entries import Value

__all__ = [
    "ANY",
    "LONGEST_NAME",
    "Asked",
    "Learned",
    "Person",
    "PersonKept",
    "Whose",
    "known_person",
    "named",
    "owner_of",
    "parse_person",
    "person_kept",
    "person_meant",
    "persons_read",
    "same",
    "shown_name",
]

ANY: Final = "any"
"""In place of a name: everybody."""
LONGEST_NAME: Final = 40
"""Most characters of a name; a table of 60 columns still has room beside it."""


@dataclass(frozen=True, slots=True)
class Person:
    """A person in the roster."""

    number: int
    """Number in the history; it stays when the name changes, and is never given again."""
    name: str
    cubes: tuple[str, ...] = ()
    """Names or addresses of their own cubes."""
    settings: Mapping[str, Value] = field(default_factory=dict)
    """Their own entries of the table [hints], as in the configuration."""


@dataclass(frozen=True, slots=True)
class Learned:
    """Something that was learned from a person's solves."""

    kind: str
    made: str
    """ISO 8601 in UTC."""
    solves: int
    """Number of solves from which it was learned."""


@dataclass(frozen=True, slots=True)
class PersonKept:
    """All that is kept of a person, counted."""

    person: Person
    solves: int
    last: str | None
    """Time of the latest solve, ISO 8601 in UTC."""
    drills: int
    """Tries and rounds."""
    learned: tuple[Learned, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything that may say who is meant, the strongest first."""

    said: str | None = None
    """The option ``--person``."""
    cube: tuple[str, ...] = ()
    """Name and address of the followed cube."""
    configured: str | None = None
    """``person`` in the configuration."""


@dataclass(frozen=True, slots=True)
class Whose:
    """Whose solves are read."""

    person: Person | None
    """None: everybody's."""
    title: str | None
    """Whose they are, for the head of a list; None: there is only one person."""

    @property
    def name(self) -> str | None:
        """The name; None: everybody's solves."""
        return None if self.person is None else self.person.name


def parse_person(text: str) -> str:
    """A name for a person, with single blanks and in Unicode's composed form.

    Raises :class:`~livecube.errors.UsageError` for a name that is empty, too long, reserved, or
    has characters that cannot be shown.
    """
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name:
        raise UsageError("--person is empty; give a name")
    if not name.isprintable():
        raise UsageError(f"{name!r} is no name: some of its characters cannot be shown")
    if len(name) > LONGEST_NAME:
        raise UsageError(f"a name has at most {LONGEST_NAME} characters; this one has {len(name)}")
    if same(name, ANY):
        raise UsageError(f"{name!r} stands for everybody here; give one person's name")
    return name


def same(one: str, other: str) -> bool:
    """Whether two names are the same but for case, blanks and Unicode's forms."""
    return _folded(one) == _folded(other)


def _folded(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def named(people: Iterable[Person], name: str) -> Person | None:
    """The person with this name: letter by letter, else without regard to case."""
    found = [person for person in people if same(person.name, name)]
    return next((person for person in found if person.name == name), next(iter(found), None))


def known_person(people: Sequence[Person], name: str) -> Person:
    """As :func:`named`.

    Raises :class:`~livecube.errors.UsageError` if nobody has the name.
    """
    if not name.strip():
        raise UsageError("--person is empty; give a name")
    if (person := named(people, name)) is None:
        raise UsageError(f"nobody is called {name!r}; {_known(people)}")
    return person


def _known(people: Sequence[Person]) -> str:
    if not people:
        return "no people are known yet; livecube people add NAME adds one"
    return f"the people are {_names(people)}; livecube people add NAME adds one"


def _names(people: Iterable[Person]) -> str:
    return ", ".join(shown_name(one.name) for one in people)


def shown_name(name: str) -> str:
    """A name that can be printed: those of an older history were not checked."""
    return name if name.isprintable() and name.strip() else repr(name)


def owner_of(people: Iterable[Person], cube: Iterable[str]) -> Person | None:
    """The person to whom a cube belongs, by any of its names."""
    wanted = {_folded(name) for name in cube}
    return next((one for one in people if wanted & {*map(_folded, one.cubes)}), None)


def person_kept(people: Sequence[Person], asked: Asked) -> str:
    """The name of the person whose solves are to be kept, who may be new.

    Raises :class:`~livecube.errors.UsageError` if there are several and nothing says who.
    """
    if asked.said is not None:
        known = named(people, asked.said) if asked.said.strip() else None
        return parse_person(asked.said) if known is None else known.name
    if (owner := owner_of(people, asked.cube)) is not None:
        return owner.name
    if asked.configured is not None:
        known = named(people, asked.configured)
        return parse_person(asked.configured) if known is None else known.name
    if len(people) > 1:
        raise UsageError(
            f"whose solves will these be? The people are {_names(people)}; choose with "
            "--person NAME, or set person in [practice] of your configuration"
        )
    return people[0].name if people else NOBODY


def person_meant(people: Sequence[Person], asked: Asked) -> Person | None:
    """The person whose settings apply where nothing is read or kept; None: nobody is clear.

    Raises :class:`~livecube.errors.UsageError` if the option's name is none.
    """
    if asked.said is not None:
        if (person := named(people, asked.said)) is None:
            parse_person(asked.said)  # a new name is nobody's yet, but it must be one
        return person
    if (owner := owner_of(people, asked.cube)) is not None:
        return owner
    if asked.configured is not None:
        return named(people, asked.configured)
    return people[0] if len(people) == 1 else None


def persons_read(people: Sequence[Person], asked: Asked) -> Whose:
    """The person whose solves are to be read, or everybody on purpose.

    Raises :class:`~livecube.errors.UsageError` for an unknown name, and if there are several people
    and nothing says who.
    """
    several = len(people) > 1
    if asked.said is not None and same(asked.said, ANY):
        return Whose(None, "everybody" if several else None)
    if asked.said is not None:
        person = known_person(people, asked.said)
    elif (owner := owner_of(people, asked.cube)) is not None:
        person = owner
    elif asked.configured is not None and people:
        known = named(people, asked.configured)
        if known is None:
            raise UsageError(
                f"[practice] in your configuration says person {asked.configured!r}, but nothing "
                f"of them is kept; the people are {_names(people)}: choose with --person NAME, or "
                f"livecube people rename one of them"
            )
        person = known
    elif several:
        raise UsageError(
            f"whose solves? The people are {_names(people)}; choose with --person NAME, or "
            f"--person {ANY} for everybody"
        )
    elif people:
        person = people[0]
    else:
        return Whose(None, None)
    return Whose(person, shown_name(person.name) if several else None)
