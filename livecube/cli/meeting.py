"""Who turns the cube that a command follows: known at once, or when the cube is found."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from livecube.cli.cubes import say_aside
from livecube.cli.options import configured_holding
from livecube.cli.whose import (
    asked_for,
    habits_of,
    hands_told,
    learned_of,
    own_settings,
    read_roster,
    say_if_new,
    usual_hands,
)
from livecube.composition.live import Followed, Solver
from livecube.composition.sources import CubeSource
from livecube.errors import KeepingError, LivecubeError
from livecube.solves.people import named, person_kept, person_meant, shown_name

if TYPE_CHECKING:
    from livecube.cli.options import HintsAsked
    from livecube.composition.sources import Source
    from livecube.solves.people import Asked, Person

__all__ = ["Meeting"]


class Meeting:
    """Finds out who turns the cube.

    ``said``: the option ``--person``. ``keeps``: whether their solves are kept; if so, it must be
    clear whose they are. ``held``: the options ``--up`` and ``--front``.
    """

    def __init__(
        self,
        said: str | None,
        hints: HintsAsked,
        held: tuple[str | None, str | None],
        *,
        keeps: bool,
        virtual: bool,
    ) -> None:
        self._asked = asked_for(said)
        self._hints = hints
        self._held = held
        self._keeps = keeps
        self._virtual = virtual
        self._people = self._roster()

    def _roster(self) -> tuple[Person, ...]:
        if not self._keeps and self._virtual:  # nobody's solves
            return ()
        try:
            people = read_roster()
        except LivecubeError as error:
            if self._keeps and not isinstance(error, KeepingError):
                raise
            say_aside(f"the people cannot be read now: {error}")
            if self._keeps and self._asked.said is None:
                say_aside(f"these solves will be kept for {person_kept((), self._asked)}")
            return ()
        if self._keeps:
            say_if_new(people, self._asked.said)
        return people

    def followed(self, solves: int | None, *, by_radio: bool) -> Followed:
        """The solver, if known now; else when the cube is: it may belong to somebody.

        Raises :class:`~livecube.errors.UsageError` if nothing says whose solves are to be kept.
        """
        anybodys = by_radio and self._asked.said is None
        if anybodys and any(person.cubes for person in self._people):
            anyone = Solver(None, self._hints.wishes(), configured_holding(*self._held))
            return Followed(anyone, solves, self._at_cube)
        return Followed(self._solver(self._asked), solves)

    def _at_cube(self, source: Source) -> Solver:
        assert isinstance(source, CubeSource), "only cubes by radio have owners"
        sighting = source.chosen.sighting
        return self._solver(replace(self._asked, cube=(sighting.name or "", sighting.address)))

    def _solver(self, asked: Asked) -> Solver:
        name = person_kept(self._people, asked) if self._keeps else None
        person = person_meant(self._people, asked) if name is None else named(self._people, name)
        settings = {} if person is None else person.settings
        several = len(self._people) + (name is not None and person is None) > 1
        who = name or (person.name if person else "")
        title = shown_name(who) if several and who else ""
        table = own_settings(person)
        learned = None if self._hints.hands_said is not None else learned_of(person, table)
        told = hands_told(learned, title)
        return Solver(
            name,
            self._hints.wishes(settings, None if learned is None else learned.automaton),
            configured_holding(*self._held, settings),
            habits_of(person, self._people),
            ", ".join(filter(None, [title, told])),
            usual_hands(table),
            None if learned is None else learned.solves,
            told,
        )
