"""Publishing to a dashboard: a thread with its own loop makes, keeps and sends messages.

None of it runs where turns are followed: the sink only appends to a queue. The thread's own loop
can be of the kind that aiomqtt needs on every system.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import sqlite3
import threading
import time
import uuid
from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from statistics import fmean
from typing import TYPE_CHECKING, Final, cast

from livecube.composition.sources import CubeSource
from livecube.cube.code import position_code
from livecube.dashboard.broker import Access, open_to_others, password, tls_context
from livecube.dashboard.drilling import BeatDone, DrillDone, FingersDone
from livecube.dashboard.messages import Cube, Messenger
from livecube.dashboard.offers import read_offer
from livecube.dashboard.outbox import Outbox
from livecube.dashboard.own_desk import outbox_path, own_desk
from livecube.dashboard.sending import FAREWELL_S, Plan, Sender
from livecube.dashboard.settings import parse_address
from livecube.drills.beat import BeatJudged
from livecube.drills.fingers import FingersOver
from livecube.drills.judging import DrillJudged
from livecube.errors import LivecubeError, UsageError
from livecube.events import LinkChange
from livecube.history.store import History
from livecube.lessons.shipped import shipped_texts
from livecube.review.trying import SetUpGuided
from livecube.solves.records import Wanted
from livecube.trends.making import month_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from livecube.composition.sources import Source
    from livecube.dashboard.discovery import Form
    from livecube.dashboard.messages import Message
    from livecube.dashboard.offers import Offer
    from livecube.dashboard.sink import Publisher, Told
    from livecube.edges.configuration import Configuration
    from livecube.edges.sinks import Item
    from livecube.trends.measures import Month

__all__ = [
    "BrokerWish",
    "Dashboard",
    "cube_of",
    "cube_of_log",
    "drill_told",
    "open_dashboard",
    "plan_of",
    "tell_month",
    "time_in_log",
    "time_now",
]

_LATER_S: Final = 0.02
"""Delay in waking the thread after an item, so that it does not slow the turn's own work."""
_LAST_CHANCE_S: Final = 2.0
"""Seconds for sending the waiting messages at the end."""
_POSITIONS_APART_S: Final = 1.0
_MOST_POSTED: Final = 10_000
"""Most items that wait for the thread, which takes microseconds for each."""


class Dashboard:
    """One run's publishing. Call ``start``, ``post`` items, call ``finish``.

    ``clock``: the time of day for a time of the cube, as text. ``complain`` gets a sentence, from
    another thread, when an error begins and when it is over. ``judged``: whether each solve gets
    a result from a person, as in practice.
    """

    def __init__(
        self,
        plan: Plan,
        outbox: Outbox,
        cube: Cube,
        clock: Callable[[float], str],
        complain: Callable[[str], None],
        *,
        judged: bool = False,
    ) -> None:
        self._outbox = outbox
        self._plan = plan
        self._complain = complain
        self._sender = Sender(plan, outbox, _new_id, complain, self._offered)
        self._hears: Callable[[Offer], None] | None = None
        self._has_complained = False
        last = dict(outbox.all_states())
        self._messenger = Messenger(
            plan.desk, cube, clock, _new_id, outbox.seq, last, judged=judged
        )
        self._posted: deque[Told | None] = deque()
        self._missed = 0
        self._over = threading.Event()
        self._news = asyncio.Event()
        self._thread_loop: asyncio.AbstractEventLoop
        self._waking = False
        self._told_dropped = outbox.dropped
        self.last_words: list[str] = []
        """Sentences to show at the end."""

    def start(self) -> None:
        """Begin to publish."""
        self._thread_loop = asyncio.SelectorEventLoop()
        threading.Thread(target=self._run, name="dashboard", daemon=True).start()

    def post(self, item: Told | None) -> None:
        """Queue an item; returns at once. None: no more items. Needs a running loop."""
        if len(self._posted) >= _MOST_POSTED and item is not None:
            self._missed += 1
            return
        self._posted.append(item)
        if not self._waking:
            self._waking = True
            asyncio.get_running_loop().call_later(_LATER_S, self._wake)

    def _wake(self) -> None:
        self._waking = False
        with contextlib.suppress(RuntimeError):  # the thread has ended by an error
            self._thread_loop.call_soon_threadsafe(self._news.set)

    @property
    def hears_offers(self) -> bool:
        """Whether a coach is named whose offers are heard."""
        return self._plan.coach is not None

    @property
    def positions(self) -> bool:
        """Whether the cube's position is published."""
        return self._plan.positions

    def hear_offers(self, hears: Callable[[Offer], None]) -> None:
        """From now on, pass offers to ``hears``, in the running loop."""
        loop = asyncio.get_running_loop()

        def told(offer: Offer) -> None:
            with contextlib.suppress(RuntimeError):  # the run has ended meanwhile
                loop.call_soon_threadsafe(hears, offer)

        self._hears = told

    async def finish(self) -> None:
        """Send the waiting messages and sign off; after some seconds give up the rest."""
        self.post(None)
        self._wake()
        await asyncio.to_thread(self._over.wait, _LAST_CHANCE_S + 2 * FAREWELL_S)

    # The methods below run in the thread.

    def _run(self) -> None:
        try:
            self._thread_loop.run_until_complete(self._serve())
        except Exception as error:
            self.last_words.append(f"the dashboard stopped: {type(error).__name__}: {error}")
        finally:
            self._outbox.close()
            self._over.set()
            _close(self._thread_loop)

    def _offered(self, payload: bytes) -> None:
        """Check an offer, and pass it on."""
        if self._hears is None or self._plan.coach is None:
            return
        offer = read_offer(payload, self._plan.coach, shipped_texts())
        if offer is not None:
            self._hears(offer)
        elif not self._has_complained:
            self._has_complained = True
            self._complain(f"an offer from {self._plan.coach} makes no sense and is left out")

    async def _serve(self) -> None:
        self._add(self._messenger.begin())
        sending = asyncio.create_task(self._sender.run(), name="sender")
        await self._keep_writing()
        self._sender.end()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(sending, _LAST_CHANCE_S)
        if left := self._outbox.waiting:
            will = f"{_messages(left)} for the dashboard will be sent at the next start"
            self.last_words.append(will)
        if self._missed:
            self.last_words.append(f"the dashboard was too slow and missed {self._missed} items")

    async def _keep_writing(self) -> None:
        """Make messages of all posted items and keep them."""
        over, placed = False, 0.0
        while not over:
            # A position that came too soon after the last one is published a little later.
            left = placed + _POSITIONS_APART_S - time.monotonic()
            is_later = self._plan.positions and self._messenger.has_position
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._news.wait(), max(0.0, left) if is_later else None)
            self._news.clear()
            messages: list[Message] = []
            while self._posted and not over:
                item = self._posted.popleft()
                over = item is None
                messages += self._messenger.end() if over else self._messenger.take(item)
            if self._plan.positions and (over or time.monotonic() >= placed + _POSITIONS_APART_S):
                messages += self._messenger.position()
                placed = time.monotonic()
            self._add(messages)

    def _add(self, messages: list[Message]) -> None:
        """Keep messages; report it if older ones were dropped for lack of room."""
        self._outbox.add(messages)
        if self._outbox.dropped != self._told_dropped:
            self._told_dropped = details, solves = self._outbox.dropped
            self._outbox.add([self._messenger.dropped(details, solves)])
            self.last_words.append(
                f"the queue of messages for the dashboard was full: {details} details and"
                f" {solves} solves have been dropped"
            )
        self._sender.wake()


def _close(loop: asyncio.AbstractEventLoop) -> None:
    """End tasks that the connection may have left running."""
    left = asyncio.all_tasks(loop)
    for task in left:
        task.cancel()
    if left:
        loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
    loop.close()


def _new_id() -> str:
    return str(uuid.uuid4())


def _messages(number: int) -> str:
    return "1 message" if number == 1 else f"{number} messages"


# From the command line and the configuration to an open dashboard.


_TABLE: Final = "mqtt"
_ID_DIGITS: Final = 12


@dataclass(frozen=True, slots=True)
class BrokerWish:
    """The broker on the command line; the rest comes from the configuration."""

    url: str | None
    """None or empty: that of the configuration."""
    desk: str | None = None
    plain: bool = False


def plan_of(wish: BrokerWish, configuration: Configuration) -> Plan:
    """Where and how to publish.

    Raises :class:`~livecube.errors.UsageError` if no broker is named, or if the choice is not
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
            f"mqtt:// to {address.place} sends plain text that others can read; write mqtts://, or"
            " allow it by --mqtt-plain"
        )
    secret = configuration.path(_TABLE, "password_file")
    access = Access(
        address,
        password(address, secret, keyring=table["password_keyring"] is True),
        configuration.path(_TABLE, "authority"),
        configuration.path(_TABLE, "certificate"),
        configuration.path(_TABLE, "key"),
        keepalive_s=int(cast("float", table["keepalive_s"])),
    )
    if address.tls:
        tls_context(access)  # so that errors in its files show now
    desk = wish.desk or cast("str | None", table["desk"]) or own_desk()
    form = cast("Form", table["discovery"])
    remark = open_to_others(secret) if address.user else None
    coach = cast("str | None", configuration.table("offers")["coach"])
    positions = table["positions"] is True
    return Plan(access, desk, form, str(table["discovery_prefix"]), remark, coach, positions)


def open_dashboard(
    plan: Plan,
    cube: Cube,
    clock: Callable[[float], str],
    complain: Callable[[str], None],
    *,
    judged: bool = False,
) -> Dashboard:
    """An open dashboard; ``judged``: whether solves get results, as in practice.

    Raises :class:`~livecube.errors.UsageError` if another livecube publishes for this desk.
    """
    if plan.remark:
        complain(plan.remark)
    path = outbox_path(plan.access.address, plan.desk)
    dashboard = Dashboard(plan, Outbox(path, complain), cube, clock, complain, judged=judged)
    dashboard.start()
    return dashboard


def cube_of(source: Source) -> Cube:
    """The cube of a source. It holds no address, and the id does not reveal one."""
    if not isinstance(source, CubeSource):
        return Cube(_hashed(source.title), source.title)
    sighting = source.chosen.sighting
    return Cube(_hashed(f"{sighting.name}\n{sighting.address}"), sighting.name or "unnamed cube")


def cube_of_log(name: str) -> Cube:
    """A stand-in for the cube of a replayed log."""
    return Cube(_hashed(name), "replay")


def time_now(_t: float) -> str:
    """The time of day, for a cube that is followed now."""
    return _written(datetime.now(UTC))


def time_in_log(started: str | None) -> Callable[[float], str]:
    """The time of day from a log's ``started``; without one, now."""
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


# The last thirty days in a few figures from the history, for the dashboard.


_MONTH: Final = timedelta(days=30)


async def tell_month(
    publisher: Publisher, folder: Path, session: int, person: str, now: datetime
) -> None:
    """Tell the dashboard the figures of a person's month, without the times of this session.

    A thread reads them through its own connection. Read errors are ignored: this is only a figure
    on a dashboard. ``now`` is in UTC.
    """
    try:
        month = await asyncio.to_thread(_month, folder, session, person, now)
    except (sqlite3.Error, OSError, LivecubeError):
        return
    publisher.post(month)


def _month(folder: Path, session: int, person: str, now: datetime) -> Month:
    since = (now - _MONTH).date().isoformat()
    with History(folder, reading=True) as history:
        person = history.session_person(session) or person  # they may have another name now
        columns, chances = history.columns(Wanted(since=since, person=person))
    return month_of(columns, chances, session)


# Drills for the dashboard: each try and all rounds, in values that it knows.


def drill_told(item: Item) -> Told:
    """For :class:`~livecube.dashboard.sink.DashboardSink`.

    A person who follows a set-up has the cube in the hands.
    """
    match item:
        case DrillJudged():
            return DrillDone(
                t=item.t,
                number=item.number,
                technique=item.place.row.technique,
                case=str(item.case),
                grade=item.place.grade,
                how_well=item.how_well,
                as_asked=item.as_asked,
                ms=item.ms,
                look_ms=item.look_ms,
                turns=item.turns,
                fewest=item.place.row.turns,
                code=position_code(item.began),
            )
        case FingersOver():
            return _fingers(item)
        case BeatJudged(t, result, solved):
            return BeatDone(t, result.tempo, len(result.turns), result.missed, result.empty, solved)
        case SetUpGuided():
            return LinkChange(item.t, up=True)
    return item


def _fingers(over: FingersOver) -> FingersDone:
    seconds = [second for one in over.rounds for second in one.seconds]
    variations = [one.evenness for one in over.rounds if one.evenness is not None]
    return FingersDone(
        t=over.t,
        rounds=len(over.rounds),
        turns=len(seconds),
        turns_per_second=_per_second(seconds),
        variation=fmean(variations) if variations else None,
        left_per_second=_per_second(_of(over, "left")),
        right_per_second=_per_second(_of(over, "right")),
        slips=sum(one.slips for one in over.rounds),
    )


def _of(over: FingersOver, name: str) -> list[float]:
    return [second for one in over.rounds if one.pattern.name == name for second in one.seconds]


def _per_second(seconds: list[float]) -> float | None:
    return 1 / mean if seconds and (mean := fmean(seconds)) > 0 else None
