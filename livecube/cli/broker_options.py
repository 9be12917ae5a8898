"""What commands that publish, or speak with a broker, share."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click

from livecube.edges.configuration import read_configuration
from livecube.errors import LivecubeError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.dashboard import BrokerWish, Dashboard
    from livecube.composition.sending import Plan
    from livecube.dashboard.messages import Cube
    from livecube.edges.configuration import Configuration

__all__ = ["Publishing", "broker_options", "publishing_options"]

_CONFIGURED: Final = "configured"
"""What ``--mqtt`` without an address stands for."""

_DESK = click.option("--desk", metavar="NAME", help="What this livecube is called there.")
_PLAIN = click.option(
    "--mqtt-plain", "plain", is_flag=True, help="Allow mqtt:// to another machine."
)


@dataclass(frozen=True, slots=True)
class Publishing:
    """Whether and where a run publishes, as the command line says it."""

    url: str | None
    """None: as the configuration has it."""
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
        """The dashboard, if one is wanted; ``unasked``: also if only the configuration says so.

        ``judged``: solves are practised, and somebody says what they count. ``clock``: None for a
        cube that is followed now. Raises :class:`~livecube.errors.LivecubeError` if it was asked
        for and cannot be had; what only the configuration says must not keep anybody from turning a
        cube.
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

        return BrokerWish(None if self.url == _CONFIGURED else self.url, self.desk, self.plain)


def publishing_options(command: Callable[..., None]) -> Callable[..., None]:
    """``--mqtt`` and what belongs to it, which reach a command together as ``publishing``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        url, off = options.pop("mqtt"), options.pop("no_mqtt")
        if off and url is not None:
            raise UsageError("--mqtt and --no-mqtt contradict each other")
        publishing = Publishing(url, options.pop("desk"), options.pop("plain"), off)
        command(publishing=publishing, **options)

    for option in (
        _PLAIN,
        _DESK,
        click.option("--no-mqtt", is_flag=True, help="Publish nothing, whatever is configured."),
        click.option(
            "--mqtt",
            metavar="[mqtts://USER@HOST/PREFIX]",
            is_flag=False,
            flag_value=_CONFIGURED,
            help="Publish on this broker; without an address, on the configured one.",
        ),
    ):
        gathered = option(gathered)
    return gathered


def broker_options(command: Callable[..., None]) -> Callable[..., None]:
    """A broker's address and what belongs to it, which reach a command as ``plan``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        command(plan=_plan(read_configuration(), **_popped(options)), **options)

    for option in (
        _PLAIN,
        _DESK,
        click.argument("url", required=False, metavar="[mqtts://USER@HOST/PREFIX]"),
    ):
        gathered = option(gathered)
    return gathered


def _popped(options: dict[str, Any]) -> dict[str, Any]:
    return {name: options.pop(name) for name in ("url", "desk", "plain")}


def _plan(configuration: Configuration, url: str | None, desk: str | None, plain: bool) -> Plan:
    from livecube.composition.dashboard import BrokerWish, plan_of

    return plan_of(BrokerWish(url, desk, plain), configuration)
