"""The figures of a month from the history, for the dashboard."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest
from test_trends import EVENING

from livecube.composition.dashboard import tell_month
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.solves.records import Chance, Wanted
from livecube.timing.results import Penalty
from livecube.trends.measures import Month

if TYPE_CHECKING:
    from pathlib import Path

    from livecube.dashboard.sink import Told


class Heard:
    """A dashboard that keeps its messages."""

    def __init__(self) -> None:
        self.months: list[Told] = []

    def post(self, item: Told) -> None:
        self.months.append(item)

    async def finish(self) -> None:
        raise AssertionError


async def month(folder: Path, now: datetime, person: str = "me", session: int = 0) -> Month:
    heard = Heard()
    await tell_month(heard, folder, session, person, now)
    (told,) = heard.months
    assert isinstance(told, Month)
    return told


async def test_a_month_is_that_of_the_person_without_this_session(tmp_path: Path) -> None:
    with History(tmp_path) as history:
        import_log(history, EVENING, "me")
        solves = history.list(Wanted())
        assert len(solves) >= 3
        first, second, *_ = solves
        history.correct(first.number, (Penalty("DNF"),))
        history.correct(second.number, (Penalty("+2"),))
        results = [one.result for one in history.list(Wanted())]
        chances = [
            Chance(
                stage=stage,
                technique="keyhole-edge",
                slot="red-green",
                taken=stage < 3,
                saved_ms=400,
            )
            for stage in range(1, 5)
        ]
        history.note_chances(second.number, chances)
    then = datetime.fromisoformat(solves[0].started).astimezone(UTC)
    times = [one / 1000 for one in results if not isinstance(one, str)]
    found = await month(tmp_path, then, session=-9)
    assert found.mean == pytest.approx(sum(times) / len(times))
    assert found == Month(found.mean, len(times), reviewed=1, came=4, taken=2)
    # An imported log has no session; columns number it -1.
    assert await month(tmp_path, then, session=-1) == replace(found, mean=None, times=0)
    assert (await month(tmp_path, then, "somebody else")).times == 0
    assert (await month(tmp_path, then.replace(year=then.year + 1))).times == 0


async def test_a_history_that_cannot_be_read_tells_nothing(tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    heard = Heard()
    await tell_month(heard, tmp_path / "a file", 1, "me", datetime(2026, 3, 1, tzinfo=UTC))
    assert heard.months == []
