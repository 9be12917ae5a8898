"""The connection to an MQTT broker, by aiomqtt.

Each connection has a client object of its own: an object that is used again would send its unsent
messages a second time. aiomqtt is imported when a connection is made: a start without a dashboard
must not wait for it.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import socket
import ssl
import stat
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from livecube.errors import BrokerError, UsageError

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Sequence
    from pathlib import Path

    from livecube.dashboard.settings import Address
    from livecube.errors import BrokerTrouble

__all__ = [
    "MOST_AT_ONCE",
    "PASSWORD_VARIABLE",
    "Access",
    "Connection",
    "Parcel",
    "connected",
    "explain",
    "open_to_others",
    "password",
    "tls_context",
]

# Errors of a broker in words, with what to do. Pure: an exception in, one out.
#
# The texts never repeat the contents of messages, above all no password.


_REASONS: Final[dict[int, BrokerTrouble]] = {
    1: "protocol",
    4: "bad password",
    5: "bad password",
    132: "protocol",
    134: "bad password",
    135: "bad password",
    138: "not allowed",
}
"""Codes with which a broker refuses a connection: MQTT 3.1.1, table 3.1, and MQTT 5, 3.2.2.2."""
_EXPIRED: Final = 10
"""OpenSSL's X509_V_ERR_CERT_HAS_EXPIRED."""
_WRONG_NAME: Final = (62, 64)
"""X509_V_ERR_HOSTNAME_MISMATCH, X509_V_ERR_IP_ADDRESS_MISMATCH."""
_TEXTS: Final[dict[BrokerTrouble, str]] = {
    "name not found": "the name {host} is not known; check its spelling and the network",
    "refused": "no program listens on {place}; check that the broker runs, and its port",
    "no answer": "{place} does not answer; check that the broker runs, and that no firewall is "
    "between",
    "closed": "{place} closed the connection before it answered{hint}",
    "lost": "the connection to {place} broke",
    "no tls": "{place} does not speak TLS; give the port on which it does (mostly 8883)",
    "protocol": "{place} speaks neither MQTT 5 nor 3.1.1",
    "not allowed": "{place} does not allow this",
}

_PLAIN_HINT: Final = "; if it speaks TLS there, write mqtts://"


def explain(error: BaseException, address: Address) -> BrokerError:
    """An exception of the connection to ``address`` as an error in words, with what to do."""
    cause = error.__cause__ or error.__context__
    certificate = next((e for e in (error, cause) if isinstance(e, ssl.SSLError)), None)
    if certificate is not None:
        return _tls_trouble(certificate, address)
    trouble = _trouble(error, cause)
    if trouble == "bad password":
        who = (
            f"the user {address.user!r} with the password given"
            if address.user
            else (
                "us without a user and password; put the user into the address: mqtts://user@host"
            )
        )
        return BrokerError(trouble, f"{address.place} does not accept {who}")
    if trouble == "other":
        return BrokerError(trouble, f"{address.place} answers: {str(error).strip().rstrip('.;')}")
    hint = "; it may want a certificate from you" if address.tls else _PLAIN_HINT
    text = _TEXTS[trouble].format(host=address.host, place=address.place, hint=hint)
    return BrokerError(trouble, text)


def _trouble(error: BaseException, cause: BaseException | None) -> BrokerTrouble:
    reason = getattr(error, "rc", None)
    code = getattr(reason, "value", reason)
    if type(error).__name__ == "MqttConnectError" and isinstance(code, int):
        return _REASONS.get(code, "other")
    for one in (error, cause):
        if isinstance(one, socket.gaierror):
            return "name not found"
        if isinstance(one, ConnectionRefusedError):
            return "refused"
        if isinstance(one, TimeoutError):
            return "no answer"
        if isinstance(one, ConnectionError):
            return "closed"
        if isinstance(one, OSError):
            return "no answer"
    said = str(error)
    if "timed out" in said:
        return "no answer"
    if "isconnect" in said:  # aiomqtt's text for a connection that was up
        return "lost"
    return "closed" if "closed" in said else "other"


def _tls_trouble(error: ssl.SSLError, address: Address) -> BrokerError:
    place = address.place
    if isinstance(error, ssl.SSLCertVerificationError):
        if error.verify_code == _EXPIRED:
            what = "has expired; the broker needs a new one"
        elif error.verify_code in _WRONG_NAME:
            what = f"is not for {address.host}; write the host as the certificate names it"
        else:
            what = (
                f"is not trusted ({error.verify_message}); if its authority is a private one, name"
                " it: authority = FILE"
            )
        return BrokerError("certificate", f"the certificate of {place} {what}")
    said = str(error.reason or error)
    if "CERTIFICATE" in said or "UNKNOWN_CA" in said:
        return BrokerError("certificate", f"{place} does not accept this machine's certificate")
    if "WRONG_VERSION_NUMBER" in said or "HTTP_REQUEST" in said or "RECORD_LAYER" in said:
        return BrokerError("no tls", _TEXTS["no tls"].format(place=place))
    return BrokerError("closed", f"no TLS connection to {place} came about ({said})")


# The password for a broker: from the environment, a file, or the system's keyring.
#
# It is never an argument of a command: all users of the machine could read it there.


PASSWORD_VARIABLE: Final = "LIVECUBE_MQTT_PASSWORD"
_SERVICE: Final = "livecube"
"""The service name in the keyring; the user's name there is ``user@host``."""
_MOST_BYTES: Final = 4096


def password(address: Address, file: Path | None, *, keyring: bool) -> str | None:
    """The password, from the first place that has one; None without a user.

    Raises :class:`~livecube.errors.UsageError` if a named place does not have one.
    """
    if address.user is None:
        return None
    if given := os.environ.get(PASSWORD_VARIABLE):
        return given
    if file is not None:
        return _from_file(file)
    return _from_keyring(address) if keyring else None


def _from_file(file: Path) -> str:
    try:
        with file.open("rb") as opened:
            first = opened.read(_MOST_BYTES).decode().split("\n")[0].rstrip("\r")
    except (OSError, UnicodeDecodeError):
        raise UsageError(f"the password file {file} cannot be read as UTF-8 text") from None
    if not first:
        raise UsageError(f"the first line of the password file {file} is empty")
    return first


def open_to_others(file: Path | None) -> str | None:
    """A warning about a password file that others on this machine can read, or None."""
    if os.name != "posix" or file is None or os.environ.get(PASSWORD_VARIABLE):
        return None
    if not file.stat().st_mode & (stat.S_IRGRP | stat.S_IROTH):
        return None
    return f"others on this machine can read the password file {file}; chmod 600 keeps it yours"


def _from_keyring(address: Address) -> str:
    try:
        import keyring
    except ImportError:
        raise UsageError(
            "the keyring needs a package; install it: pip install 'livecube[keyring]'"
        ) from None
    who = f"{address.user}@{address.host}"
    try:
        found = keyring.get_password(_SERVICE, who)
    except Exception as error:  # each system's keyring fails in its own way
        raise UsageError(f"the keyring does not answer: {type(error).__name__}") from None
    if not found:
        raise UsageError(f"the keyring has no password; put it in: keyring set {_SERVICE} '{who}'")
    return str(found)


MOST_AT_ONCE: Final = 10
"""Messages on their way at the same time; aiomqtt warns of more."""
_FAREWELL_S: Final = 1.0
_TIMEOUT_S: Final = 8.0
"""Seconds for a broker's answer."""
_MOST_WAITING: Final = 20_000
"""Most arrived messages that wait; more are left out."""
_SMALL: Final = 64 * 1024
_FAILED: Final = 128
"""Reason codes of MQTT 5 from here on mean failure."""
_UNHEARD: Final = 16
"""Reason code of MQTT 5 by which a broker may say that a topic has no subscribers."""

_logger = logging.getLogger("livecube.mqtt")
_logger.addHandler(logging.NullHandler())
_logger.propagate = False


@dataclass(frozen=True, slots=True)
class Access:
    """A broker, with the credentials for it."""

    address: Address
    password: str | None = field(default=None, repr=False)
    authority: Path | None = None
    certificate: Path | None = None
    key: Path | None = None
    keepalive_s: int = 30


@dataclass(frozen=True, slots=True)
class Parcel:
    """A message with its full topic."""

    topic: str
    payload: str
    retain: bool = False


class Connection:
    """A connection that is up. Each method raises :class:`~livecube.errors.BrokerError`."""

    def __init__(self, client: Any, address: Address) -> None:
        self._client = client
        self._address = address
        self._one_by_one = asyncio.Lock()

    async def publish(self, parcels: Sequence[Parcel]) -> bool:
        """Publish in order, at least once; returns when the broker has them all.

        False: the broker said for all of them that there are no subscribers. Not every broker does.
        """
        is_heard = False
        for at in range(0, len(parcels), MOST_AT_ONCE):
            async with self._one_by_one:
                is_heard |= await self._publish(parcels[at : at + MOST_AT_ONCE])
        return is_heard

    async def _publish(self, parcels: Sequence[Parcel]) -> bool:
        self._client.denied = self._client.unheard = 0
        with self._explained():
            sending = [
                self._client.publish(one.topic, one.payload, qos=1, retain=one.retain)
                for one in parcels
            ]
            await asyncio.gather(*sending)
        if self._client.denied:
            raise BrokerError(
                "not allowed",
                f"{self._address.place} does not allow {self._who} to publish on"
                f" {parcels[0].topic}; the broker's owner can allow it",
            )
        return bool(self._client.unheard < len(parcels))

    async def subscribe(self, topic: str) -> None:
        """Subscribe to a topic."""
        with self._explained():
            codes = await self._client.subscribe(topic, qos=1)
        if any(getattr(code, "value", code) >= _FAILED for code in codes):
            raise BrokerError(
                "not allowed",
                f"{self._address.place} does not allow {self._who} to subscribe to {topic}",
            )

    async def retained(self, topic: str, limit_s: float) -> bytes | None:
        """The retained message of a topic; None if none comes in time.

        Call it before :meth:`arriving`, which would miss messages otherwise.
        """
        await self.subscribe(topic)
        found = None
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(limit_s), contextlib.aclosing(self.arriving()) as arriving:
                _, found, _ = await anext(arriving)
        await self.unsubscribe(topic)
        return found

    async def unsubscribe(self, topic: str) -> None:
        """Hear a topic no longer."""
        with self._explained():
            await self._client.unsubscribe(topic)

    async def arriving(self) -> AsyncGenerator[tuple[str, bytes, bool], None]:
        """Topic, payload, and whether it was retained, of each message until it breaks."""
        with self._explained():
            async for message in self._client.messages:
                payload = message.payload
                data = payload if isinstance(payload, bytes) else b""
                yield str(message.topic), data, bool(message.retain)

    @property
    def _who(self) -> str:
        return f"the user {self._address.user!r}" if self._address.user else "strangers"

    @contextlib.contextmanager
    def _explained(self) -> Any:
        from aiomqtt import MqttError

        try:
            yield
        except (MqttError, OSError, ValueError) as error:
            raise explain(error, self._address) from None


@asynccontextmanager
async def connected(
    access: Access, identifier: str, will: Parcel | None = None, most_bytes: int = _SMALL
) -> AsyncGenerator[Connection, None]:
    """Connect, and disconnect at the end; the broker publishes ``will`` if the connection is lost.

    ``most_bytes``: the broker should not send larger messages. Raises
    :class:`~livecube.errors.BrokerError` in words, :class:`~livecube.errors.UsageError` for
    unreadable files.
    """
    from aiomqtt import MqttError

    client = await _entered(access, identifier, will, most_bytes)
    try:
        yield Connection(client, access.address)
    finally:
        with contextlib.suppress(MqttError, OSError, TimeoutError):
            await asyncio.wait_for(client.__aexit__(None, None, None), _FAREWELL_S)
        client.settle()


async def _entered(access: Access, identifier: str, will: Parcel | None, most_bytes: int) -> Any:
    """A connected client: by MQTT 5, or by 3.1.1 if the broker does not know MQTT 5."""
    from aiomqtt import MqttError, ProtocolVersion

    tls = tls_context(access) if access.address.tls else None
    for protocol in (ProtocolVersion.V5, ProtocolVersion.V311):
        client = _client(access, identifier, will, most_bytes, tls, protocol)
        try:
            return await client.__aenter__()
        except (MqttError, OSError, ValueError) as error:
            client.abandon()
            told = explain(error, access.address)
            if told.trouble != "protocol" or protocol == ProtocolVersion.V311:
                raise told from None
        except BaseException:
            client.abandon()
            raise
    raise AssertionError


def _client(
    access: Access,
    identifier: str,
    will: Parcel | None,
    most_bytes: int,
    tls: ssl.SSLContext | None,
    protocol: Any,
) -> Any:
    from aiomqtt import ProtocolVersion, Will
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    properties = None
    if protocol == ProtocolVersion.V5:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.MaximumPacketSize = most_bytes
    return _client_class()(
        access.address.host,
        access.address.port,
        identifier=identifier,
        username=access.address.user,
        password=access.password,
        will=will and Will(will.topic, will.payload, qos=1, retain=will.retain),
        keepalive=access.keepalive_s,
        timeout=_TIMEOUT_S,
        protocol=protocol,
        properties=properties,
        tls_context=tls,
        max_queued_incoming_messages=_MOST_WAITING,
        logger=_logger,
    )


def _client_class() -> Any:
    """The client of aiomqtt, extended by three things that it drops.

    It notes whether the broker refused a message (with QoS 1 a refused message is acknowledged
    too), and whether it said that there are no subscribers. It notices at once that the broker
    closed the connection before answering; aiomqtt waits for its time limit.
    """
    import aiomqtt

    class Client(aiomqtt.Client):
        denied = unheard = 0
        abandoned = False

        def abandon(self) -> None:
            """Drop a connection that failed to open; it would be kept alive for ever."""
            self.abandoned = True
            self._client.disconnect()
            self.settle()

        def settle(self) -> None:
            """Read the results of its futures, since asyncio complains of unread ones."""
            for outcome in (self._connected, self._disconnected):
                if outcome.done() and not outcome.cancelled():
                    outcome.exception()

        def _on_publish(
            self, client: Any, userdata: Any, mid: int, reason_code: Any, properties: Any
        ) -> None:
            self.denied += reason_code.value >= _FAILED
            self.unheard += reason_code.value == _UNHEARD
            super()._on_publish(client, userdata, mid, reason_code, properties)

        def _on_disconnect(
            self, client: Any, userdata: Any, flags: Any, reason_code: Any, properties: Any = None
        ) -> None:
            if self.abandoned:
                return
            if not self._connected.done():
                self._connected.set_exception(aiomqtt.MqttError("closed before an answer"))
                return
            super()._on_disconnect(client, userdata, flags, reason_code, properties)

    return Client


def tls_context(access: Access) -> ssl.SSLContext:
    """The TLS settings of ``access``.

    Raises :class:`~livecube.errors.UsageError` for unreadable files.
    """

    def passphrase() -> bytes:
        raise UsageError(f"{access.key or access.certificate} needs a passphrase; give one without")

    for path in (access.authority, access.certificate, access.key):
        if path is not None and not path.is_file():
            raise UsageError(f"{path} is not a file; check [mqtt] in the configuration")
    try:
        context = ssl.create_default_context(cafile=access.authority)
        if access.certificate is not None:
            context.load_cert_chain(access.certificate, access.key, passphrase)
    except (OSError, ssl.SSLError) as error:
        raise UsageError(
            f"certificates cannot be read: {error}; they have to be PEM files, and the key that of"
            " the certificate"
        ) from None
    return context
