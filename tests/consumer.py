"""A consumer of a dashboard's messages that remembers ids, as the README of the topics advises."""

from __future__ import annotations

import asyncio
import contextlib
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import aiomqtt

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Consumer", "Heard"]


@dataclass(frozen=True)
class Heard:
    topic: str
    payload: bytes
    retained: bool

    @property
    def body(self) -> dict[str, Any]:
        body: dict[str, Any] = json.loads(self.payload)
        return body


@dataclass
class Consumer:
    """Follows ``pattern`` with a session that the broker keeps, through every interruption."""

    port: int
    pattern: str = "livecube/+/#"
    name: str = "consumer"
    user: str | None = None
    password: str | None = None
    heard: list[Heard] = field(default_factory=list)
    solves: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    """By desk: each solve once, from solve and solve/recent, in the order of arrival."""
    repeated: int = 0
    again: int = 0
    """Connections after the first."""
    _ids: set[str] = field(default_factory=set)
    _news: asyncio.Condition = field(default_factory=asyncio.Condition)
    _task: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Consumer:
        ready = asyncio.Event()
        self._task = asyncio.create_task(self._follow(ready))
        await ready.wait()
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._task is not None
        self._task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self._task

    async def until(self, wanted: Callable[[], bool], limit_s: float = 60.0) -> None:
        """Wait for messages until ``wanted`` is true."""
        async with asyncio.timeout(limit_s), self._news:
            await self._news.wait_for(wanted)

    def bodies(self, name: str) -> list[dict[str, Any]]:
        """The messages on topics that end with ``name``."""
        return [one.body for one in self.heard if one.topic.endswith(f"/{name}") and one.payload]

    async def _follow(self, ready: asyncio.Event) -> None:
        while True:
            with contextlib.suppress(aiomqtt.MqttError, OSError):
                async with aiomqtt.Client(
                    "127.0.0.1",
                    self.port,
                    identifier=self.name,
                    clean_session=False,
                    username=self.user,
                    password=self.password,
                    timeout=3,
                ) as client:
                    await client.subscribe(self.pattern, qos=1)
                    self.again += ready.is_set()
                    ready.set()
                    async for message in client.messages:
                        assert isinstance(message.payload, bytes)
                        heard = Heard(str(message.topic), message.payload, bool(message.retain))
                        await self._take(heard)
            await asyncio.sleep(0.05)

    async def _take(self, heard: Heard) -> None:
        self.heard.append(heard)
        parts = heard.topic.split("/")
        if parts[0] == "livecube" and heard.payload:
            if parts[2:] == ["solve"]:
                self._solve(parts[1], heard.body)
            elif parts[2:] == ["solve", "recent"]:
                for body in heard.body["solves"]:
                    self._solve(parts[1], body)
        async with self._news:
            self._news.notify_all()

    def _solve(self, desk: str, body: dict[str, Any]) -> None:
        if body["id"] in self._ids:
            self.repeated += 1
            return
        self._ids.add(body["id"])
        self.solves.setdefault(desk, []).append(body)
