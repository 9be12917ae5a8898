"""Options shared by commands that publish or talk to a broker."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Any

import click

from livecube.composition.publishing import CONFIGURED, Publishing
from livecube.edges.configuration import read_configuration
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.dashboard.sending import Plan
    from livecube.edges.configuration import Configuration

__all__ = ["broker_options", "group_options", "offering_options", "publishing_options"]

_DESK = click.option("--desk", metavar="NAME", help="Name of this livecube there.")
_PLAIN = click.option(
    "--mqtt-plain", "plain", is_flag=True, help="Allow mqtt:// to another machine."
)


def _broker_at(name: str, help_text: str) -> Callable[..., Any]:
    """An option with a broker's address; without an address it means the configured one."""
    return click.option(
        name,
        metavar="[mqtts://USER@HOST/PREFIX]",
        is_flag=False,
        flag_value=CONFIGURED,
        help=help_text,
    )


def publishing_options(command: Callable[..., None]) -> Callable[..., None]:
    """``--mqtt`` and its options; a command gets them together as ``publishing``."""

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
        click.option("--no-mqtt", is_flag=True, help="Publish nothing, even if it is configured."),
        _broker_at("--mqtt", "Publish on this broker; without an address, on the configured one."),
    ):
        gathered = option(gathered)
    return gathered


def group_options(command: Callable[..., None]) -> Callable[..., None]:
    """``--mqtt`` and ``--listen``; a command gets ``publishing`` and ``listening``.

    The desks of a group publish only if the command line asks for it.
    """

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        url, heard, plain = (options.pop(name) for name in ("mqtt", "listen", "plain"))
        listening = None
        if heard is not None:
            known = None if heard == CONFIGURED else heard
            listening = _plan(read_configuration(), known, None, plain)
        publishing = Publishing(url, None, plain, off=url is None)
        command(publishing=publishing, listening=listening, **options)

    for option in (
        _PLAIN,
        _broker_at(
            "--listen",
            "Show the desks on this broker, too; without an address, on the configured one.",
        ),
        _broker_at(
            "--mqtt", "Publish each desk here under its name. Ask the people at the cubes before."
        ),
    ):
        gathered = option(gathered)
    return gathered


def offering_options(command: Callable[..., None]) -> Callable[..., None]:
    """``--mqtt`` with a broker's address; a command gets it as ``plan``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        url, plain = options.pop("mqtt"), options.pop("plain")
        command(plan=_plan(read_configuration(), url, None, plain), **options)

    known = "The broker; left out: the configured one."
    address = click.option("--mqtt", metavar="mqtts://USER@HOST/PREFIX", help=known)
    return _PLAIN(address(gathered))


def broker_options(command: Callable[..., None]) -> Callable[..., None]:
    """A broker's address and its options; a command gets them as ``plan``."""

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
