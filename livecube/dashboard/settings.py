"""The settings of the dashboard: a broker's address, and the table [mqtt]."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from typing import Final, NoReturn
from urllib.parse import SplitResult, unquote, urlsplit

from livecube.dashboard.discovery import FORMS
from livecube.dashboard.topics import check_prefix, desk_part
from livecube.entries import Entry
from livecube.errors import UsageError

__all__ = ["GROUP_ENTRIES", "MQTT_ENTRIES", "OFFER_ENTRIES", "Address", "parse_address"]

_PORTS: Final = {"mqtt": 1883, "mqtts": 8883}
_DEFAULT_PREFIX: Final = "livecube"
_FORM: Final = "write it as mqtts://user@host/prefix; user, :port and /prefix may be left out"


@dataclass(frozen=True, slots=True)
class Address:
    """The address of a broker, and the topic below which a desk publishes there."""

    host: str
    port: int
    tls: bool
    user: str | None
    prefix: str

    @property
    def is_local(self) -> bool:
        """Whether it is this machine, so that plain text cannot be read on the way."""
        if self.host == "localhost":
            return True
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False

    @property
    def place(self) -> str:
        """Host and port as text."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}"


def parse_address(url: str) -> Address:
    """Read ``mqtt[s]://user@host:port/prefix``.

    Raises :class:`~livecube.errors.UsageError`; its message never repeats the text, which may hold
    a password.
    """
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        _refuse("a broker's address cannot be read")
    if parts.password is not None or parts.username == "":
        _refuse(
            "a broker's address must not hold a password, since others could read it there; put it"
            " into LIVECUBE_MQTT_PASSWORD, a file or the keyring"
        )
    if parts.scheme not in _PORTS or not parts.hostname:
        _refuse("a broker's address begins with mqtt:// or mqtts:// and the host")
    if parts.query or parts.fragment or port == 0:
        _refuse("a broker's address has a port above 0 and nothing after the prefix")
    return _address(parts, parts.hostname, port or _PORTS[parts.scheme])


def _address(parts: SplitResult, host: str, port: int) -> Address:
    prefix = unquote(parts.path).strip("/") or _DEFAULT_PREFIX
    user = None if parts.username is None else unquote(parts.username)
    if user is not None and not user.isprintable():
        _refuse("the user in a broker's address holds a character that cannot be shown")
    return Address(host, port, parts.scheme == "mqtts", user, check_prefix(prefix))


def _refuse(what: str) -> NoReturn:
    raise UsageError(f"{what}; {_FORM}")


MQTT_ENTRIES: Final = (
    Entry(
        "url",
        "text",
        "The broker: mqtts://user@host/prefix. With it, livecube live publishes.",
        check=parse_address,
    ),
    Entry(
        "desk",
        "text",
        "The name of this livecube on the dashboard; if left out, one is made up.",
        check=desk_part,
    ),
    Entry(
        "plain_text",
        "flag",
        "Allow mqtt:// to another machine; others on the way can read it.",
        default=False,
    ),
    Entry("authority", "file", "Certificate of a private authority, instead of the system's."),
    Entry("certificate", "file", "This machine's certificate, if the broker wants one."),
    Entry("key", "file", "The key of that certificate, without a passphrase."),
    Entry("password_file", "file", "A file whose first line is the password."),
    Entry(
        "password_keyring",
        "flag",
        "Take the password from the system's keyring (needs livecube[keyring]).",
        default=False,
    ),
    Entry(
        "discovery",
        "choice",
        "How to introduce the desk: as one device, entity by entity (for instances before late"
        " 2024), or not at all.",
        default="device",
        choices=FORMS,
    ),
    Entry(
        "discovery_prefix",
        "text",
        "The topic prefix on which the home listens for it.",
        default="homeassistant",
        check=check_prefix,
    ),
    Entry(
        "positions",
        "flag",
        "Publish the cube's position too, at most once a second.",
        default=False,
    ),
    Entry(
        "keepalive_s",
        "number",
        "Seconds; one and a half times as long after a cut the desk is shown as offline.",
        default=30,
        least=1,
        most=3600,
    ),
)
"""The entries of the table [mqtt]."""

GROUP_ENTRIES: Final = (
    Entry(
        "desks",
        "text",
        "The desks of livecube group: ada=Ice cube, bo=Fire cube. Commands name others.",
    ),
)
"""The entries of the table [group]."""

OFFER_ENTRIES: Final = (
    Entry(
        "coach",
        "text",
        "The coach whose offers are shown, by the name of their user at the broker; none: nobody.",
        check=desk_part,
    ),
)
"""The entries of the table [offers]."""
