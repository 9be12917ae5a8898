"""From what a user wants and what the configuration says to a dashboard that is published to."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final, cast

from livecube.composition.dashboard import Dashboard
from livecube.composition.sending import Plan
from livecube.composition.sources import CubeSource
from livecube.dashboard.messages import Cube
from livecube.dashboard.settings import parse_address
from livecube.edges.broker import Access, tls_context
from livecube.edges.broker_password import password
from livecube.edges.desk import outbox_path, own_desk
from livecube.edges.outbox import Outbox
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.sources import Source
    from livecube.dashboard.discovery import Form
    from livecube.edges.configuration import Configuration

__all__ = [
    "BrokerWish",
    "cube_of",
    "cube_of_log",
    "open_dashboard",
    "plan_of",
    "time_in_log",
    "time_now",
]

_TABLE: Final = "mqtt"
_ID_DIGITS: Final = 12


@dataclass(frozen=True, slots=True)
class BrokerWish:
    """What the command line says about a broker; the rest is in the configuration."""

    url: str | None
    """None or empty: that of the configuration."""
    desk: str | None = None
    plain: bool = False


def plan_of(wish: BrokerWish, configuration: Configuration) -> Plan:
    """Where and how to publish.

    Raises :class:`~livecube.errors.UsageError` if no broker is named, or if what is wanted is not
    safe: plain text to another machine.
    """
    table = configuration.table(_TABLE)
    url = wish.url or table["url"]
    if not url:
        raise UsageError(
            "no broker is named: give one, like mqtts://user@host/prefix, or put it into"
            f" {configuration.file}, [mqtt] url"
        )
    address = parse_address(str(url))
    if not (address.tls or address.is_local or wish.plain or table["plain_text"]):
        raise UsageError(
            f"mqtt:// to {address.place} can be read by everybody on the way; write mqtts://, or"
            " allow it by --mqtt-plain"
        )
    access = Access(
        address,
        password(
            address,
            configuration.path(_TABLE, "password_file"),
            keyring=table["password_keyring"] is True,
        ),
        configuration.path(_TABLE, "authority"),
        configuration.path(_TABLE, "certificate"),
        configuration.path(_TABLE, "key"),
        keepalive_s=int(cast("float", table["keepalive_s"])),
    )
    if address.tls:
        tls_context(access)  # what is wrong with its files is to be known now
    desk = wish.desk or cast("str | None", table["desk"]) or own_desk()
    form = cast("Form", table["discovery"])
    return Plan(access, desk, form, str(table["discovery_prefix"]))


def open_dashboard(
    plan: Plan,
    cube: Cube,
    clock: Callable[[float], str],
    complain: Callable[[str], None],
    *,
    judged: bool = False,
) -> Dashboard:
    """A dashboard that is published to from now on; ``judged``: in practice, where solves are.

    Raises :class:`~livecube.errors.UsageError` if another livecube publishes for this desk.
    """
    path = outbox_path(plan.access.address, plan.desk)
    dashboard = Dashboard(plan, Outbox(path, complain), cube, clock, complain, judged=judged)
    dashboard.start()
    return dashboard


def cube_of(source: Source) -> Cube:
    """Which cube a source follows. Its address is not in it, nor can it be read off the id."""
    if not isinstance(source, CubeSource):
        return Cube(_hashed(source.title), source.title)
    sighting = source.chosen.sighting
    return Cube(_hashed(f"{sighting.name}\n{sighting.address}"), sighting.name or "unnamed cube")


def cube_of_log(name: str) -> Cube:
    """What stands for the cube of a log that is replayed."""
    return Cube(_hashed(name), "replay")


def time_now(_t: float) -> str:
    """The time of day, for a cube that is followed now."""
    return _written(datetime.now(UTC))


def time_in_log(started: str | None) -> Callable[[float], str]:
    """The time of day by a log's own account; without one, now."""
    try:
        begin = datetime.fromisoformat(started or "")
    except ValueError:
        return time_now
    begin = begin.replace(tzinfo=begin.tzinfo or UTC)

    def at(t: float) -> str:
        try:
            return _written(begin + timedelta(seconds=t))
        except OverflowError:
            return time_now(t)

    return at


def _written(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _hashed(text: str) -> str:
    return "cube-" + hashlib.sha256(f"livecube\n{text}".encode()).hexdigest()[:_ID_DIGITS]
