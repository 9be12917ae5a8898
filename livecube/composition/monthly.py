"""The last thirty days in few figures, for the dashboard, out of the history."""

from __future__ import annotations

import asyncio
import sqlite3
from datetime import timedelta
from typing import TYPE_CHECKING, Final

from livecube.edges.history.store import History
from livecube.errors import LivecubeError
from livecube.solves.records import Wanted
from livecube.trends.month import month_of

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from livecube.edges.dashboard_sink import Publisher
    from livecube.trends.values import Month

__all__ = ["tell_month"]

_MONTH: Final = timedelta(days=30)


async def tell_month(
    publisher: Publisher, folder: Path, session: int, person: str, now: datetime
) -> None:
    """Tell the dashboard what a person's month says, times without those of this session.

    Looked up in a thread, by a connection of its own. What cannot be read is not told: it is only
    a figure on a dashboard. ``now`` is in UTC.
    """
    try:
        month = await asyncio.to_thread(_month, folder, session, person, now)
    except (sqlite3.Error, OSError, LivecubeError):
        return
    publisher.post(month)


def _month(folder: Path, session: int, person: str, now: datetime) -> Month:
    since = (now - _MONTH).date().isoformat()
    with History(folder, reading=True) as history:
        columns, chances = history.columns(Wanted(since=since, person=person))
    return month_of(columns, chances, session)
