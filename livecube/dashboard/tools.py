"""The commands of ``livecube mqtt``: check a broker, listen to it, delete everything."""

from __future__ import annotations

import asyncio
import secrets
import time
import uuid
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from livecube.dashboard.broker import Parcel, connected
from livecube.dashboard.desks import MOST_BYTES, Desks
from livecube.dashboard.discovery import discovery_topics
from livecube.dashboard.offers import offers_topic
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.own_desk import outbox_path
from livecube.dashboard.sending import delays
from livecube.dashboard.topics import CHECK, desk_part
from livecube.errors import BrokerError

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Iterator

    from livecube.dashboard.broker import Connection
    from livecube.dashboard.desks import Arrived
    from livecube.dashboard.sending import Plan

__all__ = [
    "check_broker",
    "forget_desk",
    "listen_to_desks",
    "send_offer",
    "waiting_messages",
]

_BACK_S: Final = 5.0
"""Seconds for our own message to come back."""
_HOME_S: Final = 1.0
"""Seconds for a home to lose entities before their states are deleted."""
_QUIET_S: Final = 0.7
"""Retained messages come at once; after this time without any there are none."""


async def check_broker(plan: Plan) -> float:
    """Connect, publish, and read it back; returns the seconds for the way there and back.

    Raises :class:`~livecube.errors.BrokerError`, which gives the reason in words.
    """
    topic = f"{plan.tree.topic(CHECK)}/{secrets.token_hex(4)}"
    word = str(uuid.uuid4())
    async with connected(plan.access, _identifier("check")) as connection:
        await connection.subscribe(topic)
        began = time.perf_counter()
        await connection.publish([Parcel(topic, word)])
        try:
            async with asyncio.timeout(_BACK_S):
                async for _, payload, _ in connection.arriving():
                    if payload.decode(errors="replace") == word:
                        return time.perf_counter() - began
        except TimeoutError:
            raise BrokerError(
                "not allowed",
                f"the message on {topic} does not come back: {plan.access.address.place} may"
                " not allow this user to publish there, or to read it",
            ) from None
    raise AssertionError("a connection that breaks says so")


def waiting_messages(plan: Plan) -> int:
    """How many messages wait in this desk's outbox.

    Raises :class:`~livecube.errors.UsageError` while a livecube publishes for it.
    """
    path = outbox_path(plan.access.address, plan.desk)
    if not path.exists():
        return 0
    outbox = Outbox(path, lambda _: None)
    try:
        return outbox.waiting
    finally:
        outbox.close()


async def listen_to_desks(
    plan: Plan,
    heard: Callable[[Desks, Arrived | None], None],
    complain: Callable[[str], None],
    *,
    patient: bool = False,
) -> None:
    """Listen to all desks below the prefix, for ever; ``heard`` is called with each message.

    Raises :class:`~livecube.errors.BrokerError` only if the first connection fails; ``patient``:
    not even then.
    """
    desks = Desks(plan.access.address.prefix)
    waits, first = delays(), not patient
    while True:
        try:
            async with connected(
                plan.access, _identifier("listen"), most_bytes=MOST_BYTES + 1024
            ) as connection:
                await connection.subscribe(f"{plan.access.address.prefix}/+/#")
                heard(desks, None)
                if not first:
                    complain("connected again")
                waits, first = delays(), False
                async for topic, payload, _ in connection.arriving():
                    heard(desks, desks.take(topic, payload))
        except BrokerError as error:
            if first:
                raise
            complain(str(error))
        await asyncio.sleep(next(waits))


async def send_offer(plan: Plan, coach: str, desk: str, payload: str) -> bool:
    """Offer something to a desk; returns whether it may have been heard.

    Raises :class:`~livecube.errors.BrokerError`, also if the broker does not allow it, and
    :class:`~livecube.errors.UsageError` if a name cannot be one.
    """
    topic = offers_topic(plan.access.address.prefix, coach, desk_part(desk))
    async with connected(plan.access, _identifier("offer")) as connection:
        return await connection.publish([Parcel(topic, payload)])


async def forget_desk(plan: Plan) -> int:
    """Delete all messages of this desk on the broker, and its outbox; returns how many messages.

    First a home loses the entities, and has time for that. Their states are deleted afterwards;
    otherwise the entities would read empty states. The outbox goes last, if all went well.

    Raises :class:`~livecube.errors.UsageError` while a livecube publishes for the desk, and
    :class:`~livecube.errors.BrokerError` if a message could not be deleted.
    """
    introductions = discovery_topics(plan.tree, plan.discovery_prefix)
    with _outbox_to_throw_away(plan):
        async with connected(
            plan.access, _identifier("forget"), most_bytes=MOST_BYTES + 1024
        ) as connection:
            for pattern in (plan.tree.topic("#"), *introductions):
                await connection.subscribe(pattern)
            found = await _retained(connection)
            first = [topic for topic in introductions if topic in found]
            await connection.publish([Parcel(topic, "", retain=True) for topic in first])
            if first:
                await asyncio.sleep(_HOME_S)
            rest = sorted(found.difference(first))
            await connection.publish([Parcel(topic, "", retain=True) for topic in rest])
    return len(found)


@contextmanager
def _outbox_to_throw_away(plan: Plan) -> Iterator[None]:
    """Hold the outbox, so that nothing is sent meanwhile; delete it if all goes well."""
    path = outbox_path(plan.access.address, plan.desk)
    if not path.exists():
        yield
        return
    outbox = Outbox(path, lambda _: None)  # refused while another process holds it
    try:
        yield
    finally:
        outbox.close()
    for rest in ("", "-wal", "-shm"):
        path.with_name(path.name + rest).unlink(missing_ok=True)


async def _retained(connection: Connection) -> set[str]:
    found: set[str] = set()
    arriving: AsyncIterator[tuple[str, bytes, bool]] = connection.arriving()
    while True:
        try:
            topic, payload, retained = await asyncio.wait_for(anext(arriving), _QUIET_S)
        except TimeoutError:
            return found
        if retained and payload:
            found.add(topic)


def _identifier(what: str) -> str:
    return f"livecube-{what}-{secrets.token_hex(4)}"
