"""The roster: people added, changed and renamed, and solves moved between them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from livecube.errors import UsageError
from livecube.history.rows import conditions_of
from livecube.history.schema import next_number
from livecube.history.store import now_text
from livecube.solves.people import (
    Learned,
    PersonKept,
    known_person,
    named,
    owner_of,
    parse_person,
    same,
)
from livecube.solves.records import Wanted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from livecube.entries import Value
    from livecube.history.store import History
    from livecube.solves.people import Person

__all__ = ["DRILLED", "HABITS", "HANDS", "LESSONS", "People"]

HABITS: Final = "holding"
"""Kind of what was learned: how the cube is held and turned."""
HANDS: Final = "hands"
"""Kind of what was learned: what moves and looks cost."""
DRILLED: Final = ("drill_try", "drill_card", "drill_round")
"""The tables of drills."""
LESSONS: Final = ("lesson_step", "lesson_stop", "task")
"""The tables of lessons and tasks."""


class People:
    """The people in an open history. Each change is made wholly or not at all."""

    def __init__(self, history: History) -> None:
        self._history = history
        self._database = history.database

    def kept(self) -> list[PersonKept]:
        """Everybody, with what is kept of them, in the order in which they came."""
        return [self._kept(person) for person in self._history.roster()]

    def one(self, name: str) -> PersonKept:
        """One person with what is kept of them.

        Raises :class:`~livecube.errors.UsageError` if nobody has the name.
        """
        return self._kept(self._known(name))

    def _kept(self, person: Person) -> PersonKept:
        solves, last = self._database.execute(
            "SELECT count(*), nullif(max(started), '') FROM solve "
            "WHERE person = ? AND deleted IS NULL",
            (person.number,),
        ).fetchone()
        learned = self._database.execute(
            "SELECT kind, made, solves FROM learned WHERE person = ? ORDER BY kind",
            (person.number,),
        )
        found = tuple(Learned(*row) for row in learned.fetchall())
        return PersonKept(person, solves, last, self._drills(person), found)

    def _drills(self, person: Person) -> int:
        counted = "(SELECT count(*) FROM drill_try WHERE person = ?)"
        rounds = "(SELECT count(*) FROM drill_round WHERE person = ?)"
        (drills,) = self._database.execute(
            f"SELECT {counted} + {rounds}", (person.number, person.number)
        ).fetchone()
        return int(drills)

    def _known(self, name: str) -> Person:
        return known_person(self._history.roster(), name)

    # Changes.

    def add(
        self, name: str, settings: Mapping[str, Value] | None = None, cubes: Sequence[str] = ()
    ) -> Person:
        """Add a person.

        Raises :class:`~livecube.errors.UsageError` if the name is taken, or is no name.
        """
        made = parse_person(name)
        with self._history.together():
            if (there := named(self._history.roster(), made)) is not None:
                raise UsageError(
                    f"{there.name} is there already; livecube people set changes a person"
                )
            self._history.person(made)
            return self.change(made, settings or {}, cubes=cubes)

    def change(
        self,
        name: str,
        settings: Mapping[str, Value],
        *,
        without: Iterable[str] = (),
        cubes: Sequence[str] = (),
        without_cubes: Sequence[str] = (),
    ) -> Person:
        """Change a person's own settings and cubes; ``without``: settings to drop.

        Raises :class:`~livecube.errors.UsageError` if a cube is another person's, or not theirs.
        """
        with self._history.together():
            person = self._known(name)
            dropped = {*without}
            kept = {one: v for one, v in person.settings.items() if one not in dropped}
            self._database.execute(
                "UPDATE person SET settings = ? WHERE id = ?",
                (json.dumps(kept | {**settings}), person.number),
            )
            for cube in without_cubes:
                self._give_up(person, cube)
            for cube in cubes:
                self._give(person, cube)
            return self._known(person.name)

    def _give(self, person: Person, cube: str) -> None:
        if not cube.strip() or not cube.isprintable():
            raise UsageError(f"{cube!r} is no name of a cube; livecube scan lists them")
        owner = owner_of(self._history.roster(), [cube])
        if owner is not None and owner.number != person.number:
            raise UsageError(
                f"the cube {cube} belongs to {owner.name}; livecube people set {owner.name!r} "
                f"--no-cube {cube!r} takes it away first"
            )
        if owner is None:
            self._database.execute(
                "INSERT INTO owned_cube (cube, person) VALUES (?, ?)", (cube, person.number)
            )

    def _give_up(self, person: Person, cube: str) -> None:
        theirs = [one for one in person.cubes if same(one, cube)]
        if not theirs:
            has = ", ".join(person.cubes) or "none"
            raise UsageError(f"{person.name} has no cube {cube!r}; their cubes: {has}")
        self._database.execute("DELETE FROM owned_cube WHERE cube = ?", (theirs[0],))

    def rename(self, name: str, new: str) -> Person:
        """Give a person another name; everything else stays.

        Raises :class:`~livecube.errors.UsageError` if another person has it.
        """
        made = parse_person(new)
        with self._history.together():
            person = self._known(name)
            there = named(self._history.roster(), made)
            if there is not None and there.number != person.number:
                raise UsageError(
                    f"{there.name} is another person; livecube people move {name!r} {made!r} "
                    "gives them the solves"
                )
            self._database.execute("UPDATE person SET name = ? WHERE id = ?", (made, person.number))
            return self._known(made)

    def move(self, source: str, target: str, wanted: Wanted | Sequence[int]) -> list[int]:
        """Move solves from one person to another; returns their numbers.

        ``wanted`` chooses among all solves of the first person, also among deleted ones; or it
        names solves. A session whose solves all move goes with them; else the moved ones are in a
        session of their own. Raises :class:`~livecube.errors.UsageError` if a named solve is not
        the first person's.
        """
        with self._history.together():
            giver, taker = self._known(source), self._known(target)
            if giver.number == taker.number:
                raise UsageError(f"{giver.name} has these solves already")
            if isinstance(wanted, Wanted):
                numbers = self._chosen(giver, wanted)
            else:
                numbers = self._theirs(giver, wanted)
            self._move_sessions(giver, taker, numbers)
            self._database.executemany(
                "UPDATE solve SET person = ? WHERE id = ?",
                [(taker.number, number) for number in numbers],
            )
        return numbers

    def _chosen(self, person: Person, wanted: Wanted) -> list[int]:
        conditions, values = conditions_of(wanted, deleted=True)
        rows = self._database.execute(
            f"SELECT id FROM solve WHERE person = ? AND {conditions} ORDER BY id",
            (person.number, *values),
        )
        return [number for (number,) in rows]

    def _theirs(self, person: Person, numbers: Sequence[int]) -> list[int]:
        wanted = sorted({*numbers})
        rows = self._database.execute("SELECT id FROM solve WHERE person = ?", (person.number,))
        theirs = {number for (number,) in rows}
        if other := [str(number) for number in wanted if number not in theirs]:
            raise UsageError(
                f"{person.name} has no solve {', '.join(other)}; livecube history --person "
                f"{person.name!r} lists theirs"
            )
        return wanted

    def _move_sessions(self, giver: Person, taker: Person, numbers: Sequence[int]) -> None:
        going = {*numbers}
        inside: dict[int, set[int]] = {}
        for session, number in self._database.execute(
            "SELECT session, id FROM solve WHERE person = ? AND session IS NOT NULL",
            (giver.number,),
        ):
            inside.setdefault(session, set()).add(number)
        for session, solves in inside.items():
            if solves <= going:
                self._database.execute(
                    "UPDATE session SET person = ? WHERE id = ?", (taker.number, session)
                )
            elif moved := solves & going:
                apart = self._database.execute(
                    "INSERT INTO session (id, person, started, source) "
                    f"SELECT {next_number('session')}, ?, started, source FROM session "
                    "WHERE id = ?",
                    (taker.number, session),
                ).lastrowid
                self._database.executemany(
                    "UPDATE solve SET session = ? WHERE id = ?", [(apart, one) for one in moved]
                )

    # What was learned.

    def learned(self, person: Person, kind: str) -> str | None:
        """What was learned about a person; None: nothing."""
        row = self._database.execute(
            "SELECT content FROM learned WHERE person = ? AND kind = ?", (person.number, kind)
        ).fetchone()
        return None if row is None else str(row[0])

    def note_learned(self, name: str, kind: str, content: str, solves: int) -> None:
        """Keep something learned about a person, who may be new, in the place of earlier."""
        with self._history.together():
            self._database.execute(
                "INSERT INTO learned (person, kind, made, solves, content) VALUES (?, ?, ?, ?, ?) "
                "ON CONFLICT (person, kind) DO UPDATE SET made = excluded.made, "
                "solves = excluded.solves, content = excluded.content",
                (self._history.person(name), kind, now_text(), solves, content),
            )

    def unlearn(self, person: Person, kind: str) -> bool:
        """Forget something learned about a person; returns whether there was anything."""
        with self._history.together():
            cursor = self._database.execute(
                "DELETE FROM learned WHERE person = ? AND kind = ?", (person.number, kind)
            )
        return bool(cursor.rowcount)

    def drills(self, name: str) -> Iterator[dict[str, Any]]:
        """A person's tries, cards and rounds, as the rows are; ``what`` says which."""
        for table in DRILLED:
            for row in self._rows(table, name):
                yield {"what": table.removeprefix("drill_"), **row}
        of_theirs = "solve IN (SELECT id FROM solve WHERE person = ?)"
        yield from ({"what": "chance", **row} for row in self._rows("chance_card", name, of_theirs))

    def lessons(self, name: str) -> Iterator[dict[str, Any]]:
        """A person's steps of lessons, stops in them, and tasks; ``what`` says which."""
        for table in LESSONS:
            for row in self._rows(table, name):
                yield {"what": table.removeprefix("lesson_"), **row}

    def _rows(self, table: str, name: str, theirs: str = "person = ?") -> Iterator[dict[str, Any]]:
        person = self._known(name)
        cursor = self._database.execute(
            f"SELECT * FROM {table} WHERE {theirs} ORDER BY 1, 2, 3", (person.number,)
        )
        columns = [column for column, *_ in cursor.description]
        for row in cursor:
            yield {**dict(zip(columns, row, strict=True)), "person": person.name}
