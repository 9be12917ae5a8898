"""Whether and where a run publishes; the code for it is loaded only if it does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.edges.configuration import read_configuration
from livecube.errors import LivecubeError

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.dashboard import BrokerWish, Dashboard
    from livecube.dashboard.messages import Cube

__all__ = ["CONFIGURED", "Publishing"]

CONFIGURED: Final = "configured"
"""Value of ``--mqtt`` without an address."""


@dataclass(frozen=True, slots=True)
class Publishing:
    """Whether and where a run publishes, from the command line."""

    url: str | None
    """None: from the configuration."""
    desk: str | None
    plain: bool
    off: bool

    @property
    def asked(self) -> bool:
        """Whether the command line asks for it."""
        return self.url is not None and not self.off

    def open(
        self,
        cube: Callable[[], Cube],
        clock: Callable[[float], str] | None,
        complain: Callable[[str], None],
        *,
        unasked: bool,
        judged: bool = False,
    ) -> Dashboard | None:
        """The dashboard, if one is wanted; ``unasked``: also if only the configuration names one.

        ``judged``: solves are practised and get a result. ``clock``: None for a cube that is
        followed now. Raises :class:`~livecube.errors.LivecubeError` if the command line asks for it
        and it cannot be opened. If only the configuration names it, an error must not stop the run.
        """
        if self.off:
            return None
        configuration = read_configuration()
        if not self.asked and not (unasked and configuration.is_said("mqtt", "url")):
            return None
        from livecube.composition.dashboard import open_dashboard, plan_of, time_now

        try:
            plan = plan_of(self._wish, configuration)
            return open_dashboard(plan, cube(), clock or time_now, complain, judged=judged)
        except LivecubeError as error:
            if self.asked:
                raise
            complain(f"nothing is published: {error}")
            return None

    @property
    def _wish(self) -> BrokerWish:
        from livecube.composition.dashboard import BrokerWish

        return BrokerWish(None if self.url == CONFIGURED else self.url, self.desk, self.plain)
