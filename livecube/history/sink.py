"""The sinks that keep each solve as soon as it is over.

What cannot be kept now, for a full disk or a database that is locked, is owed: it is said, tried
again with the next solve and at the end, and said then if it still is not kept.
"""

from __future__ import annotations

import asyncio
import sqlite3
from contextlib import suppress
from functools import partial
from typing import TYPE_CHECKING

from livecube.errors import KeepingError, LivecubeError
from livecube.events import CubeEvent
from livecube.history.importing import keep_open_log
from livecube.history.logs import OpenLog, open_log_path
from livecube.practice.news import Corrected, Discarded, Judged
from livecube.solves.reading import SolveReader, as_told
from livecube.stages.progress import SolveOver

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from livecube.edges.sinks import Item
    from livecube.history.session import Session
    from livecube.logs.lines import Header
    from livecube.solves.reading import FoundSolve

__all__ = ["FollowedSink", "HistorySink"]


class _Debts:
    """What has to be done in the history, by solves: in order, and again until it is done.

    While the session is not begun that is not said of each solve: it was said for all of them.
    """

    def __init__(self, session: Session, complain: Callable[[str], None]) -> None:
        self._session = session
        self._complain = complain
        self._owed: list[tuple[int, Callable[[], None]]] = []
        self._said: set[int] = set()
        self.why: dict[int, str] = {}
        """Solves for which something is still to be done, and what was in the way."""

    def owe(self, number: int, what: Callable[[], None]) -> None:
        """Something is to be done for a solve, behind what is owed already."""
        self._owed.append((number, what))

    async def settle(self) -> None:
        """Do what can be done now; say what cannot, and what now is after all."""
        before = dict(self.why)
        await asyncio.to_thread(self._settle)
        if self._session.number is None:
            self._said |= self.why.keys()
        for number, why in self.why.items():
            if number not in self._said:
                self._said.add(number)
                self._complain(
                    f"Solve {number} cannot be kept now ({why}); that is tried again with the next."
                )
        for number in before.keys() - self.why.keys():
            self._complain(f"Solve {number} is kept now.")

    def _settle(self) -> None:
        try:
            self._session.begin()
        except (OSError, LivecubeError) as error:
            self.why = {number: str(error) for number, _ in self._owed}
            return
        owed, self._owed, self.why = self._owed, [], {}
        for at, (number, what) in enumerate(owed):
            if number not in self.why:
                try:
                    what()
                    continue
                except (OSError, LivecubeError) as error:
                    self.why[number] = str(error)
                except sqlite3.Error as error:
                    # Waiting for a lock takes seconds, and who is next would wait as long.
                    self.why |= {behind: str(error) for behind, _ in owed[at:]}
                    self._owed += owed[at:]
                    return
            self._owed.append((number, what))


class HistorySink:
    """Keeps the solves of one session, whose logs are open and whole when they are judged.

    ``complain`` is told in a sentence what cannot be kept; practice goes on. ``kept`` is told of
    each solve that is, by its number in this session and in the history. ``write_logs`` tries
    again to write those that could not be written when their solve was over.
    """

    name = "history"

    def __init__(
        self,
        session: Session,
        complain: Callable[[str], None],
        kept: Callable[[int, int], None] = lambda number, in_history: None,
        write_logs: Callable[[], None] = lambda: None,
    ) -> None:
        self._session = session
        self._debts = _Debts(session, complain)
        self._kept = kept
        self._write_logs = write_logs
        self._numbers: dict[int, int] = {}
        """In the history, by the number in this session."""
        self._told: set[int] = set()

    async def take(self, item: Item) -> None:
        """Keep, correct or delete a solve; the rest is not its business."""
        if isinstance(item, Judged | Corrected | Discarded):
            self._debts.owe(item.number, partial(self._do, item))
            await self._settle()

    async def _settle(self) -> None:
        await self._debts.settle()
        for number in self._numbers.keys() - self._told:
            self._told.add(number)
            self._kept(number, self._numbers[number])

    def _do(self, item: Judged | Corrected | Discarded) -> None:
        match item:
            case Judged():
                self._keep(item.number)
            case Corrected():
                self._session.history.correct(self._numbers[item.number], item.penalties)
            case Discarded():
                history = self._session.history
                change = history.delete if item.away else history.restore
                change([self._numbers[item.number]])

    def _keep(self, number: int) -> None:
        path = self._log(number)
        if path is None:
            self._write_logs()
            path = self._log(number)
        kept = () if path is None else keep_open_log(self._session.history, path)
        if not kept:
            raise KeepingError("its log could not be written whole yet")
        self._numbers[number] = kept[-1].number

    def _log(self, number: int) -> Path | None:
        """The log of a solve, if there is one."""
        if self._session.number is None:
            return None
        path = open_log_path(self._session.folder, self._session.number, number)
        return path if path.exists() else None

    @property
    def last_words(self) -> list[str]:
        """What is not kept in the end, a sentence for each solve."""
        told = []
        for number, why in self._debts.why.items():
            log = self._log(number)
            left = "" if log is None else f"; the next start keeps what its log has, in {log}"
            told.append(f"Solve {number} is not kept ({why}){left}")
        return told

    async def close(self) -> None:
        """Try once more what is owed, and close the database."""
        if self._debts.why:
            await self._settle()
        self._session.close()


class FollowedSink:
    """Keeps the finished solves of a cube that is followed, whether marks say so or not.

    All that is followed grows in one log meanwhile, from which the next start keeps what a crash
    has left; without it solves are kept all the same, and it is not begun later. Whoever follows
    lets each event pass through :meth:`lead` first: keeping a solve may take its time, and what is
    told is written by then.
    """

    name = "history"

    def __init__(
        self,
        session: Session,
        header: Header,
        complain: Callable[[str], None],
    ) -> None:
        self._session = session
        self._header = header
        self._complain = complain
        self._debts = _Debts(session, complain)
        self._unread: list[CubeEvent] = []
        self._reader: SolveReader | None = None
        self._found = 0
        self._log: OpenLog | None = None
        if session.number is not None:
            try:
                self._log = OpenLog(session.folder, session.number, 0, header)
            except (OSError, LivecubeError) as error:
                self._without_log(error)

    async def take(self, item: Item) -> None:
        """When a solve is over, look whether it is one to be kept."""
        if isinstance(item, CubeEvent):
            self._unread.append(item)
        elif isinstance(item, SolveOver):
            await self._read()

    def lead(self, event: CubeEvent) -> tuple[CubeEvent]:
        """Write an event, before anybody is told of it."""
        if self._log is not None:
            try:
                self._log.write(event)
            except OSError as error:
                self._without_log(error)
        return (event,)

    def _without_log(self, error: Exception) -> None:
        self._discard_log()
        self._complain(
            f"What is followed cannot be written down meanwhile ({error}): if livecube is killed "
            "now, the solve under way is lost."
        )

    def _discard_log(self) -> None:
        if self._log is not None:
            with suppress(OSError):
                self._log.discard()
            self._log = None

    async def _read(self) -> None:
        if self._reader is None:
            add = self._session.hindsight
            self._reader = SolveReader(self._header, add() if add else as_told)
        unread, self._unread = self._unread, []
        for event in unread:
            if (found := self._reader.feed(event)) is not None:
                self._found += 1
                self._debts.owe(self._found, partial(self._keep, found))
        await self._debts.settle()

    def _keep(self, found: FoundSolve) -> None:
        self._session.history.keep(found, self._session.person, self._session.number)

    @property
    def last_words(self) -> list[str]:
        """What is not kept in the end, a sentence for each solve."""
        left = "" if self._log is None else f"; its turns are in {self._log.path}"
        return [
            f"Solve {number} is not kept ({why}){left}" for number, why in self._debts.why.items()
        ]

    async def close(self) -> None:
        """Try once more what is owed, and close log and database."""
        await self._read()
        if not self._debts.why:
            self._discard_log()
        elif self._log is not None:
            with suppress(OSError):
                self._log.close()
        self._session.close()
