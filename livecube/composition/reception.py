"""Between link and pipeline: the items of a link, decoded and on the cube's clock.

The same object serves a cube and a capture whose packets are decoded again.
"""

from __future__ import annotations

import asyncio
from contextlib import aclosing
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from livecube.clock import CubeClock
from livecube.edges.link import CubeFacts, LinkDown, LinkUp, Notification
from livecube.events import (
    Battery,
    ClueAsked,
    DeviceInfo,
    HeldAs,
    LinkChange,
    Packet,
    Reset,
    SolveMark,
)
from livecube.mending.mender import Mender

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Iterable, Iterator

    from livecube.decoding import Decoder, Write
    from livecube.edges.link import Link, LinkItem
    from livecube.events import CubeEvent

_PATIENCE_S: Final = 2.0
"""Seconds for which a silent cube may delay its position after lost turns."""

__all__ = ["Reception", "decoded", "decoded_again"]


class Reception:
    """One cube's way from the items of its link to events.

    ``capture``: whether each notification also becomes a ``Packet`` event. Such events, and
    others without a time from the cube, get the time of the latest event. ``speed``: how many of
    the cube's seconds pass in one real second. At speeds other than 1 its clock is not compared
    with the host's.
    """

    def __init__(self, decoder: Decoder, *, capture: bool = False, speed: float = 1.0) -> None:
        self._decoder = decoder
        self._capture = capture
        self._is_comparable = speed == 1.0
        self._clock = CubeClock(decoder.clock_wrap_ms)
        self._mender = Mender()
        self._t = 0.0
        self._was_down = False
        self._percent: int | None = None
        """The last reported charge: two services may report it."""

    @property
    def waits(self) -> bool:
        """Whether events are held back until the cube reports its position."""
        return self._mender.waits

    def give_up(self) -> list[CubeEvent]:
        """Stop waiting for the position."""
        return self._mender.give_up()

    def finish(self) -> list[CubeEvent]:
        """End: no more items follow."""
        return [*self._mender.give_up(), *self._account()]

    def _account(self) -> list[CubeEvent]:
        """The account of the connection that ends now."""
        account = self._clock.account() if self._is_comparable else None
        self._clock.reconnected()
        return [] if account is None else [account]

    def take(self, item: LinkItem) -> tuple[list[CubeEvent], tuple[Write, ...]]:
        """Take in the next item; returns its events, and the writes to send."""
        events, writes = self._read(item)
        return [mended for event in events for mended in self._mender.feed(event)], writes

    def _read(self, item: LinkItem) -> tuple[list[CubeEvent], tuple[Write, ...]]:
        match item:
            case Notification():
                return self._notification(item)
            case LinkUp():
                events: list[CubeEvent] = [LinkChange(self._t, up=True)] if self._was_down else []
                self._was_down = False
                return events, self._decoder.connected()
            case LinkDown():
                self._was_down = True
                return [*self._account(), LinkChange(self._t, up=False)], ()
            case CubeFacts():
                return self._facts(item), ()

    def _notification(self, item: Notification) -> tuple[list[CubeEvent], tuple[Write, ...]]:
        packet = Packet(self._t, item.characteristic, item.data, item.host_s)
        result = self._decoder.received(item.characteristic, item.data)
        events = self._clock.events(result.reports, item.host_s)
        if events:
            self._t = events[-1].t
        events = [event for event in events if not self._known(event)]
        return [packet, *events] if self._capture else events, result.writes

    def _known(self, event: CubeEvent) -> bool:
        """Whether an event repeats a known charge."""
        if not isinstance(event, Battery):
            return False
        known = event.percent == self._percent
        self._percent = event.percent
        return known

    def _facts(self, facts: CubeFacts) -> list[CubeEvent]:
        events: list[CubeEvent] = []
        if facts.percent is not None:
            battery = Battery(self._t, facts.percent)
            events += [] if self._known(battery) else [battery]
        if facts.device:
            events.append(DeviceInfo(self._t, facts.device))
        return events


async def decoded(
    link: Link, decoder: Decoder, *, capture: bool = False, speed: float = 1.0
) -> AsyncGenerator[CubeEvent, None]:
    """The events of a link; ``capture`` and ``speed`` as for :class:`Reception`."""
    reception = Reception(decoder, capture=capture, speed=speed)
    async with aclosing(link.items()) as items:
        waiting: asyncio.Future[LinkItem | None] | None = None
        try:
            while True:
                if reception.waits:
                    waiting = asyncio.ensure_future(anext(items, None))
                    done, _ = await asyncio.wait({waiting}, timeout=_PATIENCE_S)
                    for event in () if done else reception.give_up():
                        yield event
                    item = await waiting
                else:
                    item = await anext(items, None)
                if item is None:
                    break
                events, writes = reception.take(item)
                for write in writes:
                    link.write(write)
                for event in events:
                    yield event
        finally:
            if waiting is not None:
                waiting.cancel()
                await asyncio.wait({waiting})
        for event in reception.finish():
            yield event


def decoded_again(events: Iterable[CubeEvent], decoder: Decoder) -> Iterator[CubeEvent]:
    """The events of a capture, from its packets; the events decoded at the time are left out."""
    reception = Reception(decoder)
    reception.take(LinkUp(0.0))
    last = 0.0
    for event in events:
        for again in _once_more(event, reception, last):
            last = again.t
            yield again
    yield from reception.finish()


def _once_more(event: CubeEvent, reception: Reception, last: float) -> list[CubeEvent]:
    match event:
        case Packet():
            host_s = event.t if event.host is None else event.host
            return reception.take(Notification(host_s, event.char, event.data))[0]
        case LinkChange():
            return reception.take(LinkUp(event.t) if event.up else LinkDown(event.t))[0]
        case Battery():  # a charge from a packet is known already
            return reception.take(CubeFacts(event.t, percent=event.percent))[0]
        case DeviceInfo():
            return reception.take(CubeFacts(event.t, device=event.told))[0]
        case SolveMark() | HeldAs() | Reset() | ClueAsked():
            return [replace(event, t=last)]
        case _:
            return []
