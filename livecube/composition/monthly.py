"""The last thirty days in few figures, for the dashboard, out of the history."""

from __future__ import annotations

import asyncio
import sqlite3
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from livecube.edges.history.store import History
from livecube.errors import LivecubeError
from livecube.solves.records import Wanted
from livecube.trends.month import month_of

if TYPE_CHECKING:
    from pathlib import Path

    from livecube.composition.dashboard import Dashboard
    from livecube.trends.values import Month

__all__ = ["tell_month"]

_MONTH: Final = timedelta(days=30)


async def tell_month(dashboard: Dashboard, folder: Path, session: int, person: str) -> None:
    """Tell the dashboard what the month says, times without those of this session.

    Looked up in a thread, by a connection of its own. What cannot be read is not told: it is only
    a figure on a dashboard.
    """
    try:
        month = await asyncio.to_thread(_month, folder, session, person)
    except (sqlite3.Error, OSError, LivecubeError):
        return
    dashboard.post(month)


def _month(folder: Path, session: int, person: str) -> Month:
    since = (datetime.now(UTC) - _MONTH).date().isoformat()
    with History(folder) as history:
        columns, chances = history.columns(Wanted(since=since, person=person))
    return month_of(columns, chances, session)
