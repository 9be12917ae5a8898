"""Drills in the history: each try, and the scheduler's cards."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from livecube.drills.scheduling import DrillCard, after_drill

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from livecube.drills.judging import DrillJudged
    from livecube.edges.history.store import History

__all__ = ["DrillBook"]

_INSERT: Final = (
    "INSERT INTO drill_try (person, tried, technique, case_name, grade, place, done, slots, "
    "how_well, turns, fewest, ms, look_ms, pause_ms, seed) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_PUT: Final = (
    "INSERT INTO drill_card (person, technique, case_name, due, state) VALUES (?, ?, ?, ?, ?) "
    "ON CONFLICT (person, technique, case_name) DO UPDATE SET due = excluded.due, "
    "state = excluded.state"
)


class DrillBook:
    """The drills of one person. ``now`` gives the time with its zone, UTC."""

    def __init__(
        self,
        history: History,
        person: str,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._database = history.database
        self._together = history.together
        self._now = now
        with history.together():
            self._person = history.person(person)

    def known(self) -> frozenset[str]:
        """Keys of all positions that were drilled."""
        rows = self._database.execute(
            "SELECT DISTINCT place FROM drill_try WHERE person = ?", (self._person,)
        )
        return frozenset(place for (place,) in rows)

    def keep(self, judged: DrillJudged, seed: int | None = None) -> DrillJudged:
        """Keep a try and its card, both or none; the same with when the case comes again."""
        now, row = self._now(), judged.place.row
        technique, case = row.technique, str(judged.case)
        with self._together():
            after = after_drill(self.card(technique, case), technique, case, judged.how_well, now)
            self._database.execute(
                _INSERT,
                (self._person, _text(now), technique, case, judged.place.grade, judged.place.key,
                 " ".join(judged.techniques), " ".join(judged.slots), judged.how_well,
                 judged.turns, row.turns, judged.ms, judged.look_ms, judged.pause_ms, seed),
            )  # fmt: skip
            self._database.execute(
                _PUT, (self._person, technique, case, _text(after.due), after.state)
            )
        return replace(judged, next_in=after.due - now)

    def keep_round(self, kind: str, figures: Mapping[str, Any]) -> None:
        """Keep what rounds of one kind (*fingers*, *beat*) came to; ``figures`` go into JSON."""
        with self._together():
            self._database.execute(
                "INSERT INTO drill_round (person, tried, kind, figures) VALUES (?, ?, ?, ?)",
                (self._person, _text(self._now()), kind, json.dumps(figures)),
            )

    def card(self, technique: str, case: str) -> DrillCard | None:
        """The card of a case; None if it was never drilled."""
        return next(iter(self._cards("technique = ? AND case_name = ?", technique, case)), None)

    def due(self) -> Sequence[DrillCard]:
        """The cards that are due by now, the longest due first."""
        return self._cards("due <= ?", _text(self._now()))

    def cards(self) -> Sequence[DrillCard]:
        """All cards, the longest due first."""
        return self._cards("1")

    def _cards(self, condition: str, *values: str) -> list[DrillCard]:
        rows = self._database.execute(
            "SELECT technique, case_name, due, state FROM drill_card "
            f"WHERE person = ? AND {condition} ORDER BY due, technique, case_name",
            (self._person, *values),
        )
        return [DrillCard(name, case, _time(due), state) for name, case, due, state in rows]


def _text(time: datetime) -> str:
    return time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _time(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
