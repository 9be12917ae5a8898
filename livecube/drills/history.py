"""Drills in the history: each try, and the scheduler's cards."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from livecube.drills.place import MissedPlace
from livecube.drills.scheduling import DrillCard, after_drill
from livecube.errors import KeepingError

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from livecube.drills.judging import DrillJudged
    from livecube.history.store import History

__all__ = ["DrillBook", "Missed"]

_INSERT: Final = (
    "INSERT INTO drill_try (person, tried, technique, case_name, grade, place, done, slots, "
    "how_well, turns, fewest, ms, look_ms, pause_ms, seed) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_OF_PERSON: Final = "person = ?"
_PUT: Final = (
    "INSERT INTO drill_card (person, technique, case_name, due, state) VALUES (?, ?, ?, ?, ?) "
    "ON CONFLICT (person, technique, case_name) DO UPDATE SET due = excluded.due, "
    "state = excluded.state"
)


_PUT_MISSED: Final = (
    "INSERT INTO chance_card (solve, stage, technique, due, state) VALUES (?, ?, ?, ?, ?) "
    "ON CONFLICT (solve, stage, technique) DO UPDATE SET due = excluded.due, "
    "state = excluded.state"
)
_WORTH_MS: Final = 50
"""Chances that would have saved less are not tried again: predictions are not that exact."""


class Missed(NamedTuple):
    """A missed chance of a kept solve."""

    solve: int
    pair: int
    technique: str
    saved_ms: int
    """Predicted."""
    due: datetime | None
    """When it is due again, in UTC; None: it was never tried."""


class DrillBook:
    """The drills of one person, who may be new to the history."""

    def __init__(self, history: History, person: str) -> None:
        self.history = history
        self.database = history.database
        self._name = person
        self._number: int | None = None
        """Stays the same when the person gets another name."""

    def enter(self) -> None:
        """Enter the person into the history. If this succeeds, drills can be kept."""
        with self.history.together():
            number = self.history.person(self._name)
        self._number = number

    def person(self) -> int | None:
        """The person's number; None as long as they are new to the history."""
        if self._number is None:
            self._number = self.history.person_number(self._name)
        return self._number

    def keeper(self) -> int:
        """The person's number, to keep something.

        Raises :class:`~livecube.errors.KeepingError` if they were forgotten meanwhile.
        """
        if self._number is None:
            return self.history.person(self._name)
        row = self.database.execute("SELECT 1 FROM person WHERE id = ?", (self._number,))
        if row.fetchone() is None:
            raise KeepingError(f"{self._name} was forgotten meanwhile")
        return self._number

    def known(self) -> frozenset[str]:
        """Keys of all positions that the person has drilled."""
        rows = self.database.execute(
            f"SELECT DISTINCT place FROM drill_try WHERE {_OF_PERSON}", (self.person(),)
        )
        return frozenset(place for (place,) in rows)

    def keep(self, judged: DrillJudged, seed: int | None, at: datetime) -> DrillJudged:
        """Keep a try and its card in one transaction; returns the try with its ``next_in`` set.

        ``at``: time of the try, in UTC.
        """
        row = judged.place.row
        technique, case = row.technique, str(judged.case)
        with self.history.together():
            person = self.keeper()
            missed = judged.place if isinstance(judged.place, MissedPlace) else None
            card = self.card(technique, case) if missed is None else self._missed_card(missed)
            after = after_drill(card, technique, case, judged.how_well, at)
            self.database.execute(
                _INSERT,
                (person, _text(at), technique, case, judged.place.grade, judged.place.key,
                 " ".join(judged.techniques), " ".join(judged.slots), judged.how_well,
                 judged.turns, row.turns, judged.ms, judged.look_ms, judged.pause_ms, seed),
            )  # fmt: skip
            when = (technique, _text(after.due), after.state)
            if missed is not None:
                self.database.execute(_PUT_MISSED, (missed.solve, missed.pair, *when))
            else:
                self.database.execute(_PUT, (person, technique, case, *when[1:]))
        return replace(judged, next_in=after.due - at)

    def keep_round(self, kind: str, figures: Mapping[str, Any], at: datetime) -> None:
        """Keep the figures of rounds of one kind (*fingers*, *beat*), as JSON."""
        with self.history.together():
            self.database.execute(
                "INSERT INTO drill_round (person, tried, kind, figures) VALUES (?, ?, ?, ?)",
                (self.keeper(), _text(at), kind, json.dumps(figures)),
            )

    def card(self, technique: str, case: str) -> DrillCard | None:
        """The card of a case; None if it was never drilled."""
        return next(iter(self._cards("technique = ? AND case_name = ?", technique, case)), None)

    def due(self, now: datetime) -> Sequence[DrillCard]:
        """The cards that are due by now, the longest due first."""
        return self._cards("due <= ?", _text(now))

    def cards(self) -> Sequence[DrillCard]:
        """All cards, the longest due first."""
        return self._cards("1")

    def missed(self, techniques: Collection[str]) -> Sequence[Missed]:
        """The person's missed chances of these techniques, the dearest first.

        A chance of one technique before one pair counts once, and not if it was taken.
        """
        rows = self.database.execute(
            "SELECT solve, stage, technique, saved, due FROM ("
            "SELECT solve, stage, technique, max(saved_ms) AS saved, max(taken) AS done "
            f"FROM chance WHERE technique IN ({', '.join('?' * len(techniques))}) AND solve IN "
            f"(SELECT id FROM solve WHERE {_OF_PERSON} AND deleted IS NULL) "
            "GROUP BY solve, stage, technique) LEFT JOIN chance_card "
            "USING (solve, stage, technique) WHERE NOT done AND saved >= ? "
            "ORDER BY saved DESC, solve, stage, technique",
            (*sorted(techniques), self.person(), _WORTH_MS),
        )
        return [
            Missed(solve, pair, technique, saved_ms, None if due is None else _time(due))
            for solve, pair, technique, saved_ms, due in rows
        ]

    def _missed_card(self, place: MissedPlace) -> DrillCard | None:
        row = self.database.execute(
            "SELECT due, state FROM chance_card WHERE solve = ? AND stage = ? AND technique = ?",
            (place.solve, place.pair, place.technique),
        ).fetchone()
        if row is None:
            return None
        return DrillCard(place.technique, str(place.case), _time(row[0]), row[1])

    def _cards(self, condition: str, *values: str) -> list[DrillCard]:
        rows = self.database.execute(
            "SELECT technique, case_name, due, state FROM drill_card "
            f"WHERE {_OF_PERSON} AND {condition} ORDER BY due, technique, case_name",
            (self.person(), *values),
        )
        return [DrillCard(name, case, _time(due), state) for name, case, due, state in rows]


def _text(time: datetime) -> str:
    return time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _time(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
