"""What was taken from solves and learned of hands, in the history."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any, Final

from livecube.edges.cache import forget_search
from livecube.edges.log_files import LogReader
from livecube.errors import LogError
from livecube.hands.kinship import kinship_of
from livecube.history.people import HANDS, People
from livecube.own.table import table_from, table_state
from livecube.solves.people import named

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from livecube.edges.habits_file import Habits
    from livecube.events import CubeEvent
    from livecube.hands.automaton import Automaton
    from livecube.hands.kinship import Kinship
    from livecube.history.store import History
    from livecube.logs.lines import Header
    from livecube.own.learning import OwnLearned
    from livecube.own.table import LearnedTable
    from livecube.own.taking import Taken
    from livecube.solves.people import Person
    from livecube.solves.reading import FoundSolve

__all__ = [
    "LEARNING_STEPS",
    "Learner",
    "Taker",
    "is_changed",
    "keep",
    "kept_stages",
    "last_learned",
    "learn_anew",
    "learned_now",
    "missing",
    "take_missing",
    "used_table",
]

LEARNING_STEPS: Final = 2
"""Number of calls of ``step`` by :func:`learned_now`."""
_NOTHING: Final = "[]"
"""Kept of a solve that says nothing about hands."""


class Taker:
    """Reads solves of one person for what they say about their hands, one after the other.

    Making one loads the inference of holdings. ``own``: the person's habits.
    """

    def __init__(self, own: Habits | None = None) -> None:
        from livecube.edges.holding_file import holding_model
        from livecube.holding.acquaintance import Acquaintance

        self._solver = Acquaintance(holding_model(own))

    def take(self, found: FoundSolve) -> str:
        """What is kept of a solve that was just found."""
        return self.taken(found.header, found.events)

    def taken(self, header: Header, events: Iterable[CubeEvent]) -> str:
        """What is kept of the last solve of a log, as text.

        Times of arrival are no times of turns: a log on the host's clock says nothing.
        """
        from livecube.holding.observations import Solves
        from livecube.own.taking import stages_taken, taken_text
        from livecube.stages.progress import Resynced, Turned
        from livecube.stages.tracker import Tracker

        if header.clock != "cube":
            return _NOTHING
        tracker, solves, text = Tracker(header.position), Solves(), _NOTHING
        before = {1: tracker.position}
        for event in events:
            for progress in tracker.feed(event):
                if isinstance(progress, Turned | Resynced):
                    before[tracker.line + 1] = progress.position
                if (over := solves.take(progress)) is not None and over.part.turns:
                    reading = self._solver.read(over.part)
                    text = taken_text(stages_taken(over, before[over.first_line], reading))
        return text


def take_missing(
    history: History, person: Person, taker: Taker, step: Callable[[int], None]
) -> None:
    """Read the logs of a person's solves that were kept without it; ``step`` counts them."""
    for number, log in missing(history, person):
        try:
            with LogReader(history.folder / log) as reader:
                text = taker.taken(reader.header, reader)
        except LogError:  # its log is lost: there is nothing to take
            text = _NOTHING
        history.note_taken(number, text)
        step(1)


def missing(history: History, person: Person) -> list[tuple[int, str]]:
    """Numbers and logs of a person's solves of which nothing was taken yet."""
    return history.database.execute(
        "SELECT id, log FROM solve WHERE person = ? AND deleted IS NULL AND solved "
        "AND id NOT IN (SELECT solve FROM taken) ORDER BY started, id",
        (person.number,),
    ).fetchall()


def _taken(history: History, person: Person) -> list[tuple[int, str]]:
    """Numbers and texts of the solves to learn from, in the order in which they were made."""
    return history.database.execute(
        "SELECT solve, content FROM taken JOIN solve ON solve.id = taken.solve "
        "WHERE person = ? AND deleted IS NULL AND content <> ? ORDER BY started, id",
        (person.number, _NOTHING),
    ).fetchall()


def kept_stages(history: History, person: Person) -> list[list[Taken]]:
    """The stages of each solve to learn from, in the order in which they were made."""
    from livecube.own.taking import taken_from

    return [taken_from(text) for _, text in _taken(history, person)]


def _mark(numbers: Iterable[int]) -> str:
    """A text that is equal for the same solves."""
    return hashlib.sha256(",".join(map(str, sorted(numbers))).encode()).hexdigest()[:16]


def _numbers(history: History, person: Person) -> list[int]:
    rows = history.database.execute(
        "SELECT solve FROM taken JOIN solve ON solve.id = taken.solve "
        "WHERE person = ? AND deleted IS NULL AND content <> ?",
        (person.number, _NOTHING),
    )
    return [number for (number,) in rows]


def _state(history: History, person: Person) -> dict[str, Any] | None:
    text = People(history).learned(person, HANDS)
    state = None if text is None else json.loads(text)
    return state if isinstance(state, dict) else None


def used_table(history: History, person: Person, usual: Automaton) -> LearnedTable | None:
    """The table in use for a person; None: the usual one.

    It costs no learning: solves that were deleted or moved count until :func:`learned_now`.
    """
    state = _state(history, person)
    return None if state is None else table_from(state["table"], usual)


def is_changed(history: History, person: Person, usual: Automaton) -> bool:
    """Whether what was learned is no longer what the kept solves of a person say."""
    state, numbers = _state(history, person), _numbers(history, person)
    if state is None:
        return bool(numbers)
    learned = state["mark"], state["learned"]["hands"]["usual"]
    return learned != (_mark(numbers), usual.fingerprint)


def learned_now(
    history: History,
    person: Person,
    usual: Automaton,
    step: Callable[[int], None] = lambda parts: None,
) -> OwnLearned | None:
    """What is known of a person, learned anew if their solves have changed; None: no solves.

    What is learned anew is kept.
    """
    numbers, state = _numbers(history, person), _state(history, person)
    if not numbers:
        return None
    if state is not None and state["mark"] == _mark(numbers):
        own = _known(state, usual)
        if own is not None and not own.is_stale:
            return own
    return learn_anew(history, person, kinship_of(usual), step)


def last_learned(history: History, person: Person, usual: Automaton) -> OwnLearned | None:
    """What was known of a person when it was learned last; None: nothing, or not against ``usual``.

    It learns and keeps nothing.
    """
    state = _state(history, person)
    return None if state is None else _known(state, usual)


def _known(state: dict[str, Any], usual: Automaton) -> OwnLearned | None:
    """What is kept; None if it was learned against other usual prices."""
    from livecube.own.learning import learned_from

    try:
        table = table_from(state["table"], usual)
        return learned_from(state["learned"], kinship_of(usual), table)
    except ValueError:
        return None


def learn_anew(
    history: History,
    person: Person,
    kin: Kinship,
    step: Callable[[int], None] = lambda parts: None,
) -> OwnLearned:
    """Learn everything from the kept solves of a person, and keep it."""
    from livecube.own.learning import learn
    from livecube.own.taking import taken_from

    rows, state = _taken(history, person), _state(history, person)
    used = None if state is None else table_from(state["table"], kin.usual)
    own = learn(kin, [taken_from(text) for _, text in rows], used, step)
    keep(history, person, own, _mark(number for number, _ in rows), used)
    return own


def keep(
    history: History, person: Person, own: OwnLearned, mark: str, before: LearnedTable | None
) -> None:
    """Keep what is known of a person; ``mark``: of the solves it was learned from.

    ``before``: the table in use until now. If its prices are replaced, what the search kept for
    them (91 MB) is deleted.
    """
    from livecube.own.learning import learned_state

    usual = own.hands.kin.usual
    state = {"mark": mark, "learned": learned_state(own), "table": table_state(own.used, usual)}
    People(history).note_learned(person.name, HANDS, json.dumps(state), own.solves)
    if before is not None:
        now = usual if own.used is None else own.used.automaton
        if before.automaton.fingerprint not in (now.fingerprint, usual.fingerprint):
            forget_search(before.automaton.fingerprint)


class Learner:
    """Learns on after each kept solve of a session, in the thread that keeps it."""

    def __init__(self, usual: Automaton) -> None:
        self._usual = usual
        self._own: OwnLearned | None = None
        self._mark = ""

    def kept_in(self, name: str) -> Callable[[History, Sequence[int]], None]:
        """:meth:`kept` for the solves of a person."""
        return lambda history, numbers: self.kept(history, name, numbers)

    def kept(self, history: History, name: str, numbers: Sequence[int]) -> None:
        """Learn from solves that were just kept.

        If other solves have come or gone meanwhile, everything is learned anew.
        """
        person = named(history.roster(), name)
        now = [] if person is None else _numbers(history, person)
        if person is None or not now:
            return
        before = _mark({*now} - {*numbers})
        if self._own is None or self._mark != before:
            self._own = self._known(history, person, before)
        if self._own is None or self._own.is_stale:
            self._own = learn_anew(history, person, kinship_of(self._usual))
        else:
            used = self._own.used
            for number in sorted({*numbers} & {*now}):
                self._own = self._own.after(_stages(history, number))
            keep(history, person, self._own, _mark(now), used)
        self._mark = _mark(now)

    def _known(self, history: History, person: Person, mark: str) -> OwnLearned | None:
        state = _state(history, person)
        return None if state is None or state["mark"] != mark else _known(state, self._usual)


def _stages(history: History, number: int) -> list[Taken]:
    from livecube.own.taking import taken_from

    row = history.database.execute("SELECT content FROM taken WHERE solve = ?", (number,))
    (text,) = row.fetchone()
    return taken_from(text)
