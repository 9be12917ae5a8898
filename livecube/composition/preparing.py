"""Slow preparations in a thread for which the end of the program does not wait."""

from __future__ import annotations

import asyncio
import threading
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING, Final, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["is_preparing", "prepared"]

_NAME: Final = "preparing"

_T = TypeVar("_T")


async def prepared(prepare: Callable[[], _T]) -> _T:
    """The result of ``prepare``, which runs in a thread of its own.

    A compiler cannot be interrupted, and :func:`asyncio.to_thread` would make the end of the
    program wait for it. Raises what ``prepare`` raises.
    """
    loop = asyncio.get_running_loop()
    result: asyncio.Future[_T] = loop.create_future()

    def tell(settle: Callable[[], None]) -> None:
        with suppress(RuntimeError):  # the run has ended meanwhile
            loop.call_soon_threadsafe(lambda: None if result.done() else settle())

    def work() -> None:
        try:
            found = prepare()
        except Exception as error:  # it is raised where the result is awaited
            tell(partial(result.set_exception, error))
        else:
            tell(partial(result.set_result, found))

    threading.Thread(target=work, name=_NAME, daemon=True).start()
    return await result


def is_preparing() -> bool:
    """Whether such a thread is still at work."""
    return any(thread.name == _NAME for thread in threading.enumerate())
