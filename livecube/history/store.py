"""The history of solves: kept, listed, tagged, corrected, deleted and brought back."""

from __future__ import annotations

import json
import sqlite3
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from livecube.errors import KeepingError, UsageError
from livecube.history.database import busy_s, open_database, read_database, trouble_with
from livecube.history.logs import log_place, write_log
from livecube.history.rows import (
    chances_of,
    conditions_of,
    insert_penalties,
    insert_solve,
    listed,
    listed_numbers,
    prices_of,
    stages_of,
    stages_of_many,
)
from livecube.history.schema import next_number
from livecube.solves.people import Person, named
from livecube.solves.records import NOBODY, KeptSolve, Wanted
from livecube.timing.results import Penalty, penalties_text

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
    from pathlib import Path
    from typing import Self

    from livecube.solves.reading import FoundSolve, Told
    from livecube.solves.records import Chance, KeptStage, Listed, PlanCost, Price
    from livecube.trends.measures import (
        ChanceColumns,
        FocusColumns,
        LossColumns,
        SolveColumns,
        WorthColumns,
    )

__all__ = ["DATABASE", "History", "now_text"]

DATABASE: Final = "history.sqlite"


class History:
    """The history in one folder. Use it as a context manager.

    A change is in the file when its method returns, wholly or not at all. With ``reading`` the
    history also opens where it cannot be written; changes are then lost.

    As a context manager it turns the database's errors into those of :mod:`livecube.errors`.
    """

    def __init__(self, folder: Path, *, reading: bool = False, wait_s: float | None = None) -> None:
        """``wait_s``: seconds to wait for another program that writes; None: as usual."""
        self.folder = folder
        self.hindsight: Callable[[], Told] | None = None
        """Adds holdings to the tracker's progress of a log; None: only stated holdings are used."""
        self.take: Callable[[FoundSolve], str] | None = None
        """Takes from a new solve what it says about hands; None: that is done later."""
        opened = read_database if reading else open_database
        self._database = opened(folder / DATABASE, busy_s() if wait_s is None else wait_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        self.close()
        if isinstance(error, sqlite3.Error):
            raise trouble_with(self.folder / DATABASE, error) from error

    def close(self) -> None:
        """Close the file."""
        self._database.close()

    @property
    def database(self) -> sqlite3.Connection:
        """The database, for other data about people; change it inside :meth:`together`."""
        return self._database

    def wait_for_others(self, wanted: bool) -> None:
        """Set whether changes wait some seconds for another program that writes, the default.

        Without waiting they fail at once.
        """
        self._database.execute(f"PRAGMA busy_timeout = {round(1000 * busy_s()) if wanted else 0}")

    @contextmanager
    def together(self) -> Iterator[None]:
        """All changes inside at once, or none of them."""
        if self._database.in_transaction:
            yield
            return
        self._database.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._database.execute("ROLLBACK")
            raise
        self._database.execute("COMMIT")

    # People and sessions.

    def begin_session(self, person: str, started: str, source: str) -> int:
        """Begin a session of a person, who may be new; returns its number."""
        with self.together():
            cursor = self._database.execute(
                "INSERT INTO session (id, person, started, source) "
                f"VALUES ({next_number('session')}, ?, ?, ?)",
                (self.person(person), started, source),
            )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def session_person(self, session: int) -> str | None:
        """The person of a session; None if there is no session with this number."""
        row = self._database.execute(
            "SELECT person.name FROM session JOIN person ON person.id = session.person "
            "WHERE session.id = ?",
            (session,),
        ).fetchone()
        return None if row is None else str(row[0])

    def roster(self) -> tuple[Person, ...]:
        """All people, in the order in which they came."""
        cubes: dict[int, list[str]] = {}
        for person, cube in self._database.execute(
            "SELECT person, cube FROM owned_cube ORDER BY cube"
        ):
            cubes.setdefault(person, []).append(cube)
        rows = self._database.execute("SELECT id, name, settings FROM person ORDER BY id")
        return tuple(
            Person(number, name, tuple(cubes.get(number, ())), json.loads(settings))
            for number, name, settings in rows
        )

    def people(self) -> list[str]:
        """The names of all people."""
        return [name for (name,) in self._database.execute("SELECT name FROM person ORDER BY id")]

    def unnamed(self) -> str:
        """The person to whom solves belong about which nothing says whose they are."""
        people = self.people()
        return people[0] if len(people) == 1 else NOBODY

    def person_number(self, name: str) -> int | None:
        """The number of a person; None if nobody has this name."""
        person = named(self.roster(), name)
        return None if person is None else person.number

    def person(self, name: str) -> int:
        """The number of a person, who may be new; call it inside :meth:`together`."""
        if (number := self.person_number(name)) is not None:
            return number
        cursor = self._database.execute(
            f"INSERT INTO person (id, name) VALUES ({next_number('person')}, ?)", (name,)
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def _keeper(self, person: str, session: int | None) -> int:
        """The person to whom a new solve belongs: of its session, whatever their name is now."""
        if session is None:
            return self.person(person)
        row = self._database.execute(
            "SELECT person FROM session WHERE id = ?", (session,)
        ).fetchone()
        if row is None:
            raise KeepingError(
                "its session is no longer in the history, since its person was forgotten"
            )
        return int(row[0])

    # Solves.

    def keep(self, found: FoundSolve, person: str, session: int | None = None) -> int | None:
        """Keep a solve and its log; returns its number, None if it was kept before.

        In a session it belongs to the session's person. Raises
        :class:`~livecube.errors.KeepingError` if that person was forgotten.
        """
        known = self.number_of(found.kept.listed.identity)
        if known is not None:
            return None
        if session is not None:
            self._keeper(person, session)
        place = log_place(found.kept.listed)
        write_log(self.folder / place, found.header, found.events)
        solve = KeptSolve(found.kept.listed, found.kept.stages, place)
        taken = None if self.take is None else self.take(found)
        with self.together():
            keeper = self._keeper(person, session)
            number = insert_solve(self._database, solve, keeper, session)
            if taken is not None and number is not None:
                self.note_taken(number, taken)
            return number

    def note_taken(self, number: int, content: str) -> None:
        """Keep what a solve says about hands."""
        with self.together():
            self._database.execute(
                "INSERT OR REPLACE INTO taken (solve, content) VALUES (?, ?)", (number, content)
            )

    def number_of(self, identity: str) -> int | None:
        """The number of the solve with this identity, deleted or not; None if it is not kept."""
        row = self._database.execute(
            "SELECT id FROM solve WHERE identity = ?", (identity,)
        ).fetchone()
        return None if row is None else int(row[0])

    def list(self, wanted: Wanted) -> Sequence[Listed]:
        """The wanted solves, in the order in which they were made."""
        return listed(self._database, wanted)

    def solves(self, wanted: Wanted) -> Sequence[KeptSolve]:
        """The wanted solves with their stages."""
        stages = stages_of_many(self._database, wanted)
        return [KeptSolve(one, *stages[one.number]) for one in self.list(wanted)]

    def stages(self, number: int) -> Sequence[KeptStage]:
        """The stages of a solve; none if they are lost."""
        return stages_of(self._database, number)

    def solve(self, number: int) -> KeptSolve:
        """One solve.

        Raises :class:`~livecube.errors.UsageError` if no solve has this number.
        """
        self._check([number])
        (one,) = listed_numbers(self._database, [number])
        (log,) = self._database.execute("SELECT log FROM solve WHERE id = ?", (number,)).fetchone()
        return KeptSolve(one, stages_of(self._database, number), log)

    def _check(self, numbers: Sequence[int]) -> None:
        known = {one.number for one in listed_numbers(self._database, numbers)}
        missing = [str(number) for number in numbers if number not in known]
        if missing:
            raise UsageError(
                f"no solve has the number {', '.join(missing)}; livecube history lists them"
            )

    # The chances that a review found, and the prices of techniques.

    def note_chances(
        self,
        number: int,
        chances: Iterable[Chance],
        prices: Iterable[Price] = (),
        plans: Iterable[PlanCost] = (),
        own_hands: int | None = None,
    ) -> None:
        """Keep what a review found in a solve, in the place of an earlier review.

        ``own_hands``: number of solves that the hands of its predictions were learned from; None:
        they are not the person's own.
        """
        with self.together():
            self._database.execute("DELETE FROM plan WHERE solve = ?", (number,))
            self._database.executemany(
                "INSERT INTO plan (solve, stage, plan_ms, own_ms, slow_ms, turning_ms, pause_ms) "
                "VALUES (?, ?, ?, ?, ?, ?, ?)",
                [(number, *plan) for plan in plans],
            )
            self._database.execute("DELETE FROM price WHERE solve = ?", (number,))
            self._database.executemany(
                "INSERT INTO price (solve, stage, technique, price_ms, taken) "
                "VALUES (?, ?, ?, ?, ?)",
                [(number, *price) for price in prices],
            )
            self._database.execute("DELETE FROM chance WHERE solve = ?", (number,))
            self._database.executemany(
                "INSERT INTO chance (solve, stage, technique, slot, taken, saved_ms) "
                "VALUES (?, ?, ?, ?, ?, ?)",
                [(number, *chance) for chance in chances],
            )
            self._database.execute(
                "INSERT OR REPLACE INTO reviewed (solve, made, own_hands) VALUES (?, ?, ?)",
                (number, now_text(), own_hands or 0),
            )

    def chances(self, number: int) -> Sequence[Chance]:
        """The chances in a solve; empty without a review."""
        return chances_of(self._database, number)

    def prices(self, number: int) -> Sequence[Price]:
        """The prices of techniques in a solve; empty without a review."""
        return prices_of(self._database, number)

    def without_review(self, person: str | None) -> Sequence[int]:
        """Numbers of the solves without a review, the latest first; ``person``: None: all.

        Reviews of an older livecube, which kept no plans, do not count.
        """
        conditions, values = conditions_of(Wanted(person=person))
        rows = self._database.execute(
            f"SELECT id FROM solve WHERE {conditions} AND id NOT IN "
            "(SELECT solve FROM reviewed WHERE own_hands IS NOT NULL) "
            "ORDER BY started DESC, id DESC",
            values,
        )
        return [number for (number,) in rows]

    # Many solves as columns; imported late, since each start of a command opens the history.

    def columns(self, wanted: Wanted) -> tuple[SolveColumns, ChanceColumns]:
        """The wanted solves, and their chances, as columns."""
        from livecube.history.columns import chance_columns, solve_columns

        return solve_columns(self._database, wanted), chance_columns(self._database, wanted)

    def practised(
        self, wanted: Wanted, techniques: Collection[str], within_s: float
    ) -> FocusColumns:
        """The chances within a focus on ``techniques`` in the wanted solves."""
        from livecube.history.columns import focus_columns

        return focus_columns(self._database, wanted, techniques, within_s)

    def worth(self, wanted: Wanted) -> WorthColumns:
        """Pairs at whose beginning a technique was possible, for what it is worth."""
        from livecube.history.columns import worth_columns

        return worth_columns(self._database, wanted)

    def losses(self, wanted: Wanted) -> LossColumns:
        """Reviewed pairs against the best plan, for what practising would bring."""
        from livecube.history.columns import loss_columns

        return loss_columns(self._database, wanted)

    # Changes, which can be undone.

    def delete(self, numbers: Sequence[int]) -> None:
        """Delete solves; their logs stay, and :meth:`undo` brings them back."""
        self._check(numbers)
        with self.together():
            self._database.executemany(
                "UPDATE solve SET deleted = ? WHERE id = ?",
                [(now_text(), number) for number in numbers],
            )
            self._note("delete", {"numbers": list(numbers)})

    def restore(self, numbers: Sequence[int]) -> None:
        """Bring deleted solves back; if deleting them was the last change, its record goes too."""
        with self.together():
            self._database.executemany(
                "UPDATE solve SET deleted = NULL WHERE id = ?", [(number,) for number in numbers]
            )
            self._database.execute(
                "DELETE FROM change WHERE id = (SELECT max(id) FROM change) "
                "AND kind = 'delete' AND before = ?",
                (json.dumps({"numbers": list(numbers)}),),
            )

    def tag(self, numbers: Sequence[int], name: str, *, on: bool = True) -> None:
        """Give solves a tag, or take it from them."""
        self._check(numbers)
        marks = ", ".join("?" * len(numbers))
        with self.together():
            have = {
                number
                for (number,) in self._database.execute(
                    f"SELECT solve FROM tag WHERE name = ? AND solve IN ({marks})",
                    (name, *numbers),
                )
            }
            changed = [number for number in dict.fromkeys(numbers) if (number in have) != on]
            self._set_tag(changed, name, on=on)
            self._note("tag", {"numbers": changed, "name": name, "on": on})

    def _set_tag(self, numbers: Sequence[int], name: str, *, on: bool) -> None:
        statement = (
            "INSERT INTO tag (name, solve) VALUES (?, ?)"
            if on
            else "DELETE FROM tag WHERE name = ? AND solve = ?"
        )
        self._database.executemany(statement, [(name, number) for number in numbers])

    def correct(self, number: int, penalties: tuple[Penalty, ...] | None) -> None:
        """Set the penalties of a solve; None: the measured ones."""
        before = self.solve(number).listed.corrected
        with self.together():
            self._set_corrected(number, penalties)
            self._note("penalty", {"number": number, "corrected": _plain(before)})

    def _set_corrected(self, number: int, penalties: tuple[Penalty, ...] | None) -> None:
        self._database.execute(
            "UPDATE solve SET is_corrected = ? WHERE id = ?", (penalties is not None, number)
        )
        insert_penalties(self._database, number, penalties or (), corrected=True)

    def _note(self, kind: str, before: dict[str, Any]) -> None:
        self._database.execute(
            "INSERT INTO change (made, kind, before) VALUES (?, ?, ?)",
            (now_text(), kind, json.dumps(before)),
        )

    def undo(self) -> str | None:
        """Undo the last change not undone yet; returns a text about it, None without one."""
        with self.together():
            row = self._database.execute(
                "SELECT id, kind, before FROM change ORDER BY id DESC LIMIT 1"
            ).fetchone()
            if row is None:
                return None
            change, kind, text = row
            self._database.execute("DELETE FROM change WHERE id = ?", (change,))
            return self._undone(kind, json.loads(text))

    def _undone(self, kind: str, before: dict[str, Any]) -> str:
        match kind:
            case "delete":
                self.restore(before["numbers"])
                return f"brought back: {_numbers(before['numbers'])}"
            case "tag":
                self._set_tag(before["numbers"], before["name"], on=not before["on"])
                verb = "taken from" if before["on"] else "given back to"
                return f"tag {before['name']} {verb}: {_numbers(before['numbers'])}"
            case _:
                self._set_corrected(before["number"], _penalties(before["corrected"]))
                now = self.solve(before["number"]).listed
                return f"solve {before['number']} has penalties as before: " + (
                    penalties_text(now.penalties)
                )

    # Imports.

    def is_imported(self, digest: str) -> bool:
        """Whether a file with this digest has been imported whole."""
        row = self._database.execute(
            "SELECT 1 FROM imported WHERE digest = ?", (digest,)
        ).fetchone()
        return row is not None

    def note_imported(self, digest: str, name: str, person: str) -> None:
        """Note that a file with a person's solves has been imported whole."""
        with self.together():
            self._database.execute(
                "INSERT INTO imported (digest, name, imported, person) VALUES (?, ?, ?, ?) "
                "ON CONFLICT (digest) DO NOTHING",
                (digest, name, now_text(), self.person(person)),
            )


def now_text() -> str:
    """The time now, in UTC."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _plain(penalties: tuple[Penalty, ...] | None) -> list[list[str]] | None:
    return None if penalties is None else [[one.kind, one.reason] for one in penalties]


def _penalties(plain: list[list[Any]] | None) -> tuple[Penalty, ...] | None:
    return None if plain is None else tuple(Penalty(kind, reason) for kind, reason in plain)


def _numbers(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers)) or "none"
