"""The connection to an MQTT broker, by aiomqtt.

Each connection is a client object of its own: one that is used again would send what it could not
send before, a second time. aiomqtt is imported when a connection is made, since a start without a
dashboard must not wait for it.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import ssl
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from livecube.edges.broker_troubles import explain
from livecube.errors import BrokerError, UsageError

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Sequence
    from pathlib import Path

    from livecube.dashboard.settings import Address

__all__ = ["MOST_AT_ONCE", "Access", "Connection", "Parcel", "connected", "tls_context"]

MOST_AT_ONCE: Final = 10
"""Messages on their way at the same time; aiomqtt warns of more."""
_FAREWELL_S: Final = 1.0
_TIMEOUT_S: Final = 8.0
"""How long a broker may take to answer anything."""
_MOST_WAITING: Final = 20_000
"""Messages that have arrived and not been looked at; more are left out."""
_SMALL: Final = 64 * 1024
_FAILED: Final = 128
"""From this on a reason code of MQTT 5 says that something failed."""

_logger = logging.getLogger("livecube.mqtt")
_logger.addHandler(logging.NullHandler())
_logger.propagate = False


@dataclass(frozen=True, slots=True)
class Access:
    """A broker, and how to get in."""

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

    async def publish(self, parcels: Sequence[Parcel]) -> None:
        """Publish in order, at least once; returns when the broker has them all."""
        for at in range(0, len(parcels), MOST_AT_ONCE):
            async with self._one_by_one:
                await self._publish(parcels[at : at + MOST_AT_ONCE])

    async def _publish(self, parcels: Sequence[Parcel]) -> None:
        self._client.denied = 0
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
                f" {parcels[0].topic}; whoever runs the broker can allow it",
            )

    async def subscribe(self, topic: str) -> None:
        """Have messages of a topic sent."""
        with self._explained():
            codes = await self._client.subscribe(topic, qos=1)
        if any(getattr(code, "value", code) >= _FAILED for code in codes):
            raise BrokerError(
                "not allowed",
                f"{self._address.place} does not allow {self._who} to subscribe to {topic}",
            )

    async def retained(self, topic: str, limit_s: float) -> bytes | None:
        """What the broker has retained on a topic; None if nothing comes in time.

        Use it before :meth:`arriving`, or that misses something.
        """
        await self.subscribe(topic)
        found = None
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(limit_s), contextlib.aclosing(self.arriving()) as arriving:
                _, found, _ = await anext(arriving)
        with self._explained():
            await self._client.unsubscribe(topic)
        return found

    async def arriving(self) -> AsyncGenerator[tuple[str, bytes, bool], None]:
        """Topic, payload, and whether it was retained; until the connection breaks."""
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
    """Connect, and disconnect in the end; ``will`` is published if we vanish.

    ``most_bytes``: larger messages shall not be sent to us. Raises
    :class:`~livecube.errors.BrokerError` in words, :class:`~livecube.errors.UsageError` for files
    that cannot be read.
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
    """A client that is connected: by MQTT 5, or by 3.1.1 if the broker does not know that."""
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
    """The client of aiomqtt, which keeps two things more that it would let go.

    Whether the broker refused a message (with QoS 1 it acknowledges that, too), and that it closed
    the connection before it answered, which would be waited for until time is up.
    """
    import aiomqtt

    class Client(aiomqtt.Client):
        denied = 0
        abandoned = False

        def abandon(self) -> None:
            """Let go of a connection that did not come about; it would be kept alive for ever."""
            self.abandoned = True
            self._client.disconnect()
            self.settle()

        def settle(self) -> None:
            """Take note of how it ended, which asyncio otherwise complains of."""
            for outcome in (self._connected, self._disconnected):
                if outcome.done() and not outcome.cancelled():
                    outcome.exception()

        def _on_publish(
            self, client: Any, userdata: Any, mid: int, reason_code: Any, properties: Any
        ) -> None:
            self.denied += reason_code.value >= _FAILED
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
    """What makes TLS connections as ``access`` says.

    Raises :class:`~livecube.errors.UsageError` for files that cannot be read.
    """

    def passphrase() -> bytes:
        raise UsageError(f"{access.key or access.certificate} needs a passphrase; give one without")

    for path in (access.authority, access.certificate, access.key):
        if path is not None and not path.is_file():
            raise UsageError(f"{path} is no file; look at [mqtt] in the configuration")
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
