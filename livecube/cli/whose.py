"""Whose solves a command reads or keeps.

The option says it, else the cube's owner, else the configuration, else the roster if it has only
one person.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Final

from livecube.advice.settings import parse_crosses
from livecube.cli.bars import late, progress_bar
from livecube.cli.cubes import say_aside
from livecube.edges.automaton_file import load_hands
from livecube.edges.configuration import read_configuration
from livecube.edges.habits_file import Habits, account_habits
from livecube.errors import LivecubeError
from livecube.history.folder import data_folder
from livecube.history.people import HABITS, People
from livecube.history.store import DATABASE, History
from livecube.own.keeping import LEARNING_STEPS, is_changed, learned_now, used_table
from livecube.solves.people import (
    Asked,
    Whose,
    known_person,
    named,
    parse_person,
    person_kept,
    person_meant,
    persons_read,
    shown_name,
)
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from livecube.entries import Value
    from livecube.hands.automaton import Automaton
    from livecube.own.table import LearnedTable
    from livecube.solves.people import Person

__all__ = [
    "Own",
    "asked_for",
    "habits_of",
    "hands_told",
    "is_kept",
    "keeper",
    "learned_of",
    "own_for",
    "own_of",
    "own_of_name",
    "own_of_solve",
    "own_settings",
    "read_roster",
    "say_if_new",
    "usual_hands",
    "whose_in",
]


_WAIT_S: Final = 0.5
"""Seconds to wait for another program that writes, before a cube is followed."""


def asked_for(said: str | None, cube: tuple[str, ...] = ()) -> Asked:
    """The option ``--person``, the names of the followed cube, and the configuration's person."""
    configured = read_configuration().table("practice")["person"]
    return Asked(said, cube, None if configured is None else str(configured))


def read_roster() -> tuple[Person, ...]:
    """All people; none if nothing was ever kept. It makes no file."""
    folder = data_folder()
    if not (folder / DATABASE).exists():
        return ()
    with History(folder, reading=True, wait_s=_WAIT_S) as history:
        return history.roster()


def keeper(said: str | None, cube: str | None = None) -> str:
    """The person whose solves a command keeps; ``cube``: the name or address of their cube.

    Raises :class:`~livecube.errors.UsageError` if there are several and nothing says who.
    """
    people = read_roster()
    say_if_new(people, said)
    return person_kept(people, asked_for(said, () if cube is None else (cube,)))


def say_if_new(people: Sequence[Person], said: str | None) -> None:
    """Say that a name is new beside others: perhaps it is a slip of the keyboard."""
    if said is not None and people and said.strip() and named(people, said) is None:
        name = parse_person(said)
        say_aside(f"{name} is new beside {', '.join(shown_name(one.name) for one in people)}")


def whose_in(history: History, said: str | None, session: int | None = None) -> Whose:
    """Whose solves a command reads; a session says whose it is, if no option does.

    Raises :class:`~livecube.errors.UsageError` for an unknown name, and if there are several people
    and nothing says who.
    """
    if said is None and session is not None:
        said = history.session_person(session)
    return persons_read(history.roster(), asked_for(said))


@dataclass(frozen=True, slots=True)
class Own:
    """What applies to a person: their settings over the configuration's, and learned habits."""

    settings: Mapping[str, Value]
    """All entries of the table [hints]."""
    habits: Habits | None
    find: Callable[[], LearnedTable | None] = lambda: None
    """Looks for their own hands and eyes, which may take a moment; the same each time."""
    name: str = ""
    """Their name, if there are several people."""
    chosen: Mapping[str, Value] = field(default_factory=dict)
    """The entries that they set for themselves."""

    @property
    def learned(self) -> LearnedTable | None:
        """Their own hands and eyes, if these predict better than the usual ones."""
        return self.find()

    def level(self, said: str | None) -> str:
        """The level of advice; an option comes first."""
        return said or str(self.settings["level"])

    def hands(self, said: Automaton | None) -> Automaton | None:
        """The hands; an option comes first. None: the usual ones."""
        if said is None and self.learned is not None:
            return self.learned.automaton
        name = self.settings["hands"]
        return said if said is not None or name is None else load_hands(str(name))

    def own_solves(self, said: Automaton | None = None) -> int | None:
        """Number of solves that the hands were learned from; None: they are not their own."""
        return None if said is not None or self.learned is None else self.learned.solves

    def told(self, said: Automaton | None = None) -> str:
        """For whose hands seconds are, if for somebody's own; else empty."""
        return "" if said is not None else hands_told(self.learned, self.name)

    def titled(self, title: str, said: Automaton | None = None) -> str:
        """A title, and behind it for whose hands seconds are."""
        return ", ".join(filter(None, [title, self.told(said)]))

    @property
    def cross(self) -> str:
        """The colour of their cross; the first, if there are several."""
        return parse_crosses(str(self.settings["cross"]))[0]


def own_of(person: Person | None, people: Sequence[Person]) -> Own:
    """What applies to a person among these; None: to nobody in particular."""
    settings = {} if person is None else person.settings
    table = own_settings(person)
    name = shown_name(person.name) if person is not None and len(people) > 1 else ""
    find = cache(lambda: learned_of(person, table, anew=True))
    return Own(table, habits_of(person, people), find, name, settings)


def own_settings(person: Person | None) -> Mapping[str, Value]:
    """All entries of the table [hints] as they apply to a person."""
    settings = {} if person is None else person.settings
    return read_configuration().table("hints") | {**settings}


def usual_hands(settings: Mapping[str, Value]) -> Automaton:
    """The hands that a person's own are compared with: those of their settings."""
    return load_hands(str(settings["hands"] or "right"))


def learned_of(
    person: Person | None, settings: Mapping[str, Value], *, anew: bool = False
) -> LearnedTable | None:
    """A person's own hands and eyes, if they predict better than the usual ones.

    ``anew``: learn them anew if the person's solves have changed meanwhile, with a bar.
    """
    if person is None:
        return None
    usual = usual_hands(settings)
    with History(data_folder(), reading=True, wait_s=_WAIT_S) as history:
        if not anew or not is_changed(history, person, usual):
            return used_table(history, person, usual)
        bar = progress_bar("learning your hands")
        task = bar.add_task("", total=LEARNING_STEPS)
        with late(bar):
            own = learned_now(history, person, usual, lambda parts: bar.advance(task, parts))
    return None if own is None else own.used


def hands_told(learned: LearnedTable | None, name: str) -> str:
    """``for your hands, 412 solves``; empty without own hands."""
    if learned is None:
        return ""
    whose = f"{name}'s" if name else "your"
    return f"for {whose} hands, {counted(learned.solves, 'solve')}"


def habits_of(person: Person | None, people: Sequence[Person]) -> Habits | None:
    """A person's learned habits. Those of the account belong to somebody who is alone."""
    if person is not None:
        with History(data_folder(), reading=True, wait_s=_WAIT_S) as history:
            text = People(history).learned(person, HABITS)
        if text is not None:
            name = shown_name(person.name)
            way_out = f"livecube adapt --forget --person {name!r}"
            return Habits(text, f"the habits learned of {name}", way_out)
    return account_habits() if len(people) <= 1 else None


def own_for(said: str | None) -> Own:
    """What applies to whoever is meant by the option, the configuration or the roster.

    If the people cannot be read, a sentence says so, and nobody is meant. Raises
    :class:`~livecube.errors.UsageError` if the option names nobody.
    """
    try:
        people = read_roster()
    except LivecubeError as error:
        say_aside(f"the people cannot be read: {error}")
        people = ()
    asked = asked_for(said)
    person = person_meant(people, asked) if said is None else known_person(people, said)
    return own_of(person, people)


def own_of_name(name: str) -> Own:
    """What applies to a person who may be new, or to nobody in particular if the name is empty."""
    people = read_roster() if name else ()
    return own_of(named(people, name), people)


def own_of_solve(number: int) -> Own:
    """What applies to the person of a kept solve.

    Raises :class:`~livecube.errors.UsageError` if no solve has this number.
    """
    with History(data_folder(), reading=True) as history:
        person, people = history.solve(number).listed.person, history.roster()
    return own_of(named(people, person), people)


def is_kept(said: str | None, *, no_history: bool, virtual: bool) -> bool:
    """Whether solves are kept; those of a virtual solver only for a named person."""
    return not no_history and (said is not None or not virtual)
