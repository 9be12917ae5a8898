"""The dashboard of one run that leads somebody: practice, drills."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.cli.broker_options import Publishing
    from livecube.composition.dashboard import Dashboard
    from livecube.composition.sources import Source
    from livecube.edges.dashboard_sink import Told
    from livecube.edges.history.session import Session
    from livecube.edges.sink import Item, Sink

__all__ = ["Published"]


class Published:
    """None, or one, as the command line and the configuration want it."""

    def __init__(self, publishing: Publishing) -> None:
        self._publishing = publishing
        self._dashboard: Dashboard | None = None

    def sinks(
        self,
        source: Source,
        complain: Callable[[str], None],
        told_as: Callable[[Item], Told] = lambda item: item,
        *,
        judged: bool = False,
    ) -> list[Sink]:
        """Begin to publish what a source brings, once it is found; no sink, or one."""
        from livecube.composition.dashboard import cube_of
        from livecube.edges.dashboard_sink import DashboardSink

        self._dashboard = self._publishing.open(
            lambda: cube_of(source), None, complain, unasked=True, judged=judged
        )
        return [] if self._dashboard is None else [DashboardSink(self._dashboard, told_as)]

    async def tell_month(self, session: Session) -> None:
        """How things went lately; for the beginning of a session, and again for its end."""
        if self._dashboard is not None and session.number is not None:
            from livecube.composition.dashboard import tell_month

            now = datetime.now(UTC)
            await tell_month(self._dashboard, session.folder, session.number, session.person, now)

    @property
    def last_words(self) -> list[str]:
        """What is to be said when all is over, a sentence each."""
        return [] if self._dashboard is None else self._dashboard.last_words
