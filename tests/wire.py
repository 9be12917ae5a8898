"""A connection between a client and a broker that can be cut, be silent, or be slow."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from dataclasses import dataclass, field

__all__ = ["Wire"]


@dataclass
class Wire:
    """Passes bytes on between its own ``port`` and the broker's."""

    to: int
    slow_s: float = 0.0
    """Delay of the broker's bytes in seconds."""
    silent: bool = False
    """Whether nothing gets through, without an error."""
    port: int = 0
    connections: int = 0
    """Number of connections so far."""
    _server: asyncio.Server | None = None
    _writers: set[asyncio.StreamWriter] = field(default_factory=set)
    _serving: set[asyncio.Task[None]] = field(default_factory=set)

    async def __aenter__(self) -> Wire:
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._server is not None
        self._server.close()
        while self._serving:  # one may have been about to connect
            self.cut()
            await asyncio.wait(self._serving, timeout=0.1)

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def cut(self) -> None:
        """Break what is connected now."""
        for writer in list(self._writers):
            writer.transport.abort()

    async def _serve(self, near: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        self.connections += 1
        task = asyncio.current_task()
        assert task is not None
        self._serving.add(task)
        task.add_done_callback(self._serving.discard)
        try:
            far, forth = await asyncio.open_connection("127.0.0.1", self.to)
        except OSError:
            back.transport.abort()
            return
        self._writers |= {back, forth}
        try:
            await asyncio.gather(self._pass(near, forth, 0.0), self._pass(far, back, None))
        finally:
            for writer in (back, forth):
                self._writers.discard(writer)
                writer.transport.abort()

    async def _pass(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, slow_s: float | None
    ) -> None:
        loop = asyncio.get_running_loop()
        with contextlib.suppress(OSError):
            while data := await reader.read(65536):
                if self.silent:
                    continue
                delay = self.slow_s if slow_s is None else slow_s
                if delay:
                    loop.call_later(delay, _write, writer, data)
                else:
                    writer.write(data)
                    await writer.drain()
        writer.transport.abort()


def _write(writer: asyncio.StreamWriter, data: bytes) -> None:
    if not writer.is_closing():
        writer.write(data)


async def _main(to: int, slow_s: float, silent: bool) -> None:
    async with Wire(to, slow_s, silent) as wire:
        print(wire.port, flush=True)
        await asyncio.Event().wait()


if __name__ == "__main__":  # a process of its own: python wire.py PORT SECONDS [silent]
    asyncio.run(_main(int(sys.argv[1]), float(sys.argv[2]), "silent" in sys.argv))
