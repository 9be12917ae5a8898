"""Sends the messages in an outbox to a broker: one connection after the other, and the greeting.

This module decides in which order a consumer sees messages. After connecting, messages that the
broker forgot are sent again, oldest first; then its states; then the waiting messages. No message
overtakes another.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import random
import secrets
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube import __version__
from livecube.dashboard.broker import MOST_AT_ONCE, Parcel, connected
from livecube.dashboard.discovery import (
    FORMS,
    birth_topic,
    configurations,
    discovery_topics,
    is_birth,
    is_death,
    is_known,
)
from livecube.dashboard.offers import Flood, offers_topic
from livecube.dashboard.payloads import availability, seq_of
from livecube.dashboard.topics import AVAILABILITY, MARK, Tree, desk_part
from livecube.errors import BrokerError, LivecubeError

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Iterator, Sequence

    from livecube.dashboard.broker import Access, Connection
    from livecube.dashboard.discovery import Form
    from livecube.dashboard.outbox import Outbox
    from livecube.dashboard.told import Letter

__all__ = ["FAREWELL_S", "Plan", "Sender", "delays"]

FAREWELL_S: Final = 1.0
_FIRST_DELAY_S: Final = 0.2
_LONGEST_DELAY_S: Final = 30.0
_STEADY_S: Final = 2.0
"""A connection that lasts this long was good: the next try comes soon."""
_BATCH: Final = MOST_AT_ONCE - 1
"""Letters sent together, with a mark after them."""
_RETAINED_S: Final = 1.0
"""Seconds to wait for a retained message; reading it may not be allowed."""
_HOME_BACK_S: Final = 30.0
"""Seconds for which messages wait for a home that was there and has gone, or was lost with the
broker. Home Assistant connects again every 10 s."""
_TOO_MANY_S: Final = 60.0
"""Seconds for which no offers are heard after too many of them: then the broker keeps them away,
and they cost this machine nothing."""
_BIRTHS_APART_S: Final = 2.0
"""Fewest seconds between two introductions, even if they are requested more often."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Where and how a desk publishes."""

    access: Access
    desk: str
    """Displayed name."""
    form: Form = "device"
    discovery_prefix: str = "homeassistant"
    remark: str | None = None
    """A warning about the credentials for their owner, or None."""
    coach: str | None = None
    """Whose offers are heard; None: nobody's."""
    positions: bool = False
    """Whether the cube's position is published."""

    @property
    def tree(self) -> Tree:
        """Its topics."""
        return Tree(self.access.address.prefix, desk_part(self.desk))

    @property
    def offers(self) -> str | None:
        """The topic of the coach's offers to this desk, if they are heard."""
        if self.coach is None:
            return None
        return offers_topic(self.access.address.prefix, self.coach, self.tree.desk)


def delays(chance: Callable[[], float] = random.random) -> Iterator[float]:
    """Seconds before the next try: doubling, with jitter, so that desks do not try together."""
    delay = _FIRST_DELAY_S
    while True:
        yield delay * (0.5 + chance())
        delay = min(2 * delay, _LONGEST_DELAY_S)


class Sender:
    """Sends the messages in ``outbox``. ``complain`` gets a sentence when an error begins or ends.

    ``new_id`` gives a new unique text. ``offered`` gets the payload of each offer, none too often.
    Use it in one loop only, that of the outbox.
    """

    def __init__(
        self,
        plan: Plan,
        outbox: Outbox,
        new_id: Callable[[], str],
        complain: Callable[[str], None],
        offered: Callable[[bytes], None] = lambda payload: None,
    ) -> None:
        self._offered = offered
        self._flood = Flood()
        self._flooded = asyncio.Event()
        """Set while offers are not heard, because there were too many."""
        self._plan = plan
        self._outbox = outbox
        self._new_id = new_id
        self._complain = complain
        self._fresh, self._ending, self._born = asyncio.Event(), asyncio.Event(), asyncio.Event()
        self._in_order = asyncio.Lock()
        """Held while messages are read from the outbox and sent."""
        self._known: set[str] = set()
        """States published with a value; entities are introduced only for these."""
        self._is_allowed = True
        """Whether the desk may introduce itself."""
        self._had_home = False
        """Whether a home has heard the desk introduce itself."""
        self._home = asyncio.Event()
        """Set while messages need not wait for a home: it is there, or there was none."""
        self._trouble: str | None = None

    def wake(self) -> None:
        """Note that new messages wait."""
        self._fresh.set()

    def end(self) -> None:
        """Note that no more messages come."""
        self._ending.set()
        self._fresh.set()
        self._home.set()

    async def run(self) -> None:
        """Connect and send, again and again; at the end there is one more try."""
        waits = delays()
        while True:
            began, last = asyncio.get_running_loop().time(), self._ending.is_set()
            try:
                await self._send()
                return
            except BrokerError as error:
                self._say(error)
            except LivecubeError as error:  # unreadable files: another try would not help
                self._complain(f"nothing is published: {error}")
                return
            if last:
                return
            if asyncio.get_running_loop().time() - began > _STEADY_S:
                waits = delays()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._ending.wait(), next(waits))

    def _say(self, error: BrokerError) -> None:
        """Report each kind of error once."""
        if error.trouble != self._trouble:
            self._trouble = error.trouble
            self._complain(f"the dashboard gets nothing for now: {error}")

    async def _send(self) -> None:
        """Use one connection, from greeting to farewell."""
        identifier = f"livecube-{self._plan.tree.desk[:40]}-{secrets.token_hex(4)}"
        async with connected(self._plan.access, identifier, self._there("offline")) as connection:
            await self._greet(connection)
            if self._trouble is not None:
                self._trouble = None
                self._complain("the dashboard is connected again")
            await _first_of(
                self._drain(connection),
                self._listen(connection),
                self._return(connection),
                self._hear_again(connection),
            )
            await asyncio.wait_for(connection.publish([self._there("offline")]), FAREWELL_S)

    async def _greet(self, connection: Connection) -> None:
        """Publish that the desk is online, and its states; listen for starts of the home."""
        again = await self._forgotten(connection)
        if self._plan.form != "off":
            await connection.subscribe(birth_topic(self._plan.discovery_prefix))
        await self._hear_offers(connection)
        self._known = {name for name, body in self._outbox.all_states() if is_known(name, body)}
        async with self._in_order:
            await self._take_back(connection)
            self._look_for_home(await self._introduce(connection))
            for at in range(0, len(again), _BATCH):
                await self._publish(connection, again[at : at + _BATCH])
            await self._publish(connection, self._outbox.states())
            # Only now: a consumer that waits for the desk to be online must not see old states.
            await connection.publish([self._there("online")])

    async def _hear_offers(self, connection: Connection) -> None:
        """Subscribe to the coach's offers, if one is named and there were not too many."""
        topic = self._plan.offers
        if topic is None or self._flooded.is_set():
            return
        try:
            await connection.subscribe(topic)
        except BrokerError as error:
            if error.trouble != "not allowed":
                raise
            self._complain(f"no offers can be heard: {error}")

    async def _hear_again(self, connection: Connection) -> None:
        """Hear offers again some time after there were too many; never returns."""
        while True:
            await self._flooded.wait()
            if self._plan.offers is not None:
                await connection.unsubscribe(self._plan.offers)
            await asyncio.sleep(_TOO_MANY_S)
            self._flooded.clear()
            await self._hear_offers(connection)

    def _take_offer(self, payload: bytes) -> None:
        if self._flooded.is_set():
            return
        if self._flood.is_too_much(asyncio.get_running_loop().time()):
            self._flooded.set()
            self._complain(
                f"too many offers come from {self._plan.coach}; none are heard for a minute"
            )
            return
        self._offered(payload)

    async def _forgotten(self, connection: Connection) -> list[Letter]:
        """The messages that the broker had and has lost, as its retained mark shows.

        A broker loses messages from some moment on. Without a mark: all that it may have lost.
        """
        again = self._outbox.again()
        if not again:
            return []
        try:
            mark = await connection.retained(self._plan.tree.topic(MARK), _RETAINED_S)
        except BrokerError as error:
            if error.trouble != "not allowed":
                raise
            mark = None
        remembered = seq_of(mark or b"")
        if remembered > self._outbox.seq:
            remembered = 0  # not of this outbox
        return [letter for letter in again if letter.seq > remembered]

    def _look_for_home(self, is_heard: bool) -> None:
        """Let events wait if a home that was there has gone: it would miss them."""
        if is_heard or not self._had_home:
            self._home.set()
        elif not self._ending.is_set():
            self._home.clear()
        self._had_home |= is_heard

    async def _introduce(self, connection: Connection) -> bool:
        """Introduce the entities to the home; returns whether it may have received them."""
        plan = self._plan
        if not self._is_allowed:
            return False
        made = configurations(
            plan.tree, plan.desk, __version__, plan.form, plan.discovery_prefix, self._known
        )
        try:
            return await connection.publish([Parcel(*one, retain=True) for one in made])
        except BrokerError as error:
            if error.trouble != "not allowed":
                raise
            self._is_allowed = False  # publishing the rest may be allowed
            self._complain(f"the dashboard is not introduced: {error}")
            return False

    async def _take_back(self, connection: Connection) -> None:
        """Delete the messages with which the desk introduced itself in another form.

        At home two forms of one entity exclude one another: the newer one is ignored.
        """
        plan, number = self._plan, 1 + FORMS.index(self._plan.form)
        before = self._outbox.form
        if before == number:
            return
        # An older outbox does not hold the form: then all other forms are deleted.
        others = [FORMS[before - 1]] if before else [one for one in FORMS if one != plan.form]
        left = [
            topic
            for form in others
            for topic in discovery_topics(plan.tree, plan.discovery_prefix, form)
        ]
        try:
            await connection.publish([Parcel(topic, "", retain=True) for topic in left])
        except BrokerError as error:
            if error.trouble != "not allowed":
                raise
        self._outbox.form = number

    async def _listen(self, connection: Connection) -> None:
        """Listen for offers, starts and ends of Home Assistant; ends with the connection."""
        async for topic, payload, retained in connection.arriving():
            # A retained message is older than this connection.
            if topic == self._plan.offers and not retained:
                self._take_offer(payload)
                continue
            if topic != birth_topic(self._plan.discovery_prefix) or retained:
                continue
            if is_birth(payload):
                self._born.set()
            elif is_death(payload) and self._had_home and not self._ending.is_set():
                self._home.clear()

    async def _return(self, connection: Connection) -> None:
        """Introduce the desk again after each start of a home."""
        while True:
            await self._born.wait()
            self._born.clear()
            async with self._in_order:
                await self._introduce(connection)
                await self._publish(connection, self._outbox.states())
                await connection.publish([self._there("online")])
            self._had_home = True
            self._home.set()
            await asyncio.sleep(_BIRTHS_APART_S)

    async def _drain(self, connection: Connection) -> None:
        """Send waiting messages as they come; returns at the end, when none is left."""
        while True:
            await self._home_back()
            self._fresh.clear()
            async with self._in_order:
                letters = self._outbox.oldest(_BATCH)
                if letters:
                    await self._publish(connection, letters)
                    self._outbox.sent(letters)
                    await self._introduce_new(connection, letters)
            if letters:
                continue
            if self._ending.is_set():
                return
            await self._fresh.wait()

    async def _home_back(self) -> None:
        """Wait until the home is back: events sent while it is away are lost to it."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._home.wait(), _HOME_BACK_S)
        self._home.set()

    async def _introduce_new(self, connection: Connection, letters: Sequence[Letter]) -> None:
        """Introduce entities that have their first value in these letters."""
        new = {one.name for one in letters if one.retain} - self._known
        if new := {name for name in new if is_known(name, self._outbox.state(name) or {})}:
            self._known |= new
            await self._introduce(connection)

    async def _publish(self, connection: Connection, letters: Sequence[Letter]) -> None:
        """Publish in order; after solves and whole batches comes a mark with the last ``seq``.

        States that are sent again have no number in the order.
        """
        topic = self._plan.tree.topic
        parcels = [Parcel(topic(one.name), one.payload, one.retain) for one in letters]
        upto = max((one.seq for one in letters), default=0)
        is_worth_it = len(letters) == _BATCH or not all(one.retain or one.detail for one in letters)
        if upto and is_worth_it:
            parcels.append(Parcel(topic(MARK), json.dumps({"seq": upto}), retain=True))
        await connection.publish(parcels)

    def _there(self, state: str) -> Parcel:
        body = availability(self._plan.desk, state, self._new_id())
        return Parcel(self._plan.tree.topic(AVAILABILITY), json.dumps(body), retain=True)


async def _first_of(*works: Coroutine[Any, Any, None]) -> None:
    """Run them until one has ended; the others are stopped. Raises its exception."""
    tasks = [asyncio.create_task(work) for work in works]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()
