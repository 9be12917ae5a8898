"""The sinks that keep each solve as soon as it is over.

Work that cannot be done now, because of a full disk or a locked database, waits. The sink says so,
tries again with the next solve and at the end, and then says which solves are not kept.
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
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from livecube.edges.sinks import Item
    from livecube.history.kept_session import Session
    from livecube.logs.lines import Header
    from livecube.solves.reading import FoundSolve

__all__ = ["FollowedSink", "HistorySink"]


class _WaitingWork:
    """Work to be done in the history, by solves: in order, and repeated until it is done.

    While the session is not begun, single solves are not reported: one message covered them all.
    """

    def __init__(self, session: Session, complain: Callable[[str], None]) -> None:
        self._session = session
        self._complain = complain
        self._waiting: list[tuple[int, Callable[[], None]]] = []
        self._said: set[int] = set()
        self.why: dict[int, str] = {}
        """Solves with work still to do, and the error that stopped it."""

    def add(self, number: int, what: Callable[[], None]) -> None:
        """Add work for a solve, after the work that waits already."""
        self._waiting.append((number, what))

    async def do(self) -> None:
        """Do the work that can be done now; report solves that cannot be kept, or are kept late."""
        before = dict(self.why)
        await asyncio.to_thread(self._settle)
        if self._session.number is None:
            self._said |= self.why.keys()
        for number, why in self.why.items():
            if number not in self._said:
                self._said.add(number)
                self._complain(
                    f"Solve {number} cannot be kept now ({why}); the next solve brings another try."
                )
        for number in before.keys() - self.why.keys():
            self._complain(f"Solve {number} is kept now.")

    def _settle(self) -> None:
        try:
            self._session.begin()
        except (OSError, LivecubeError) as error:
            self.why = {number: str(error) for number, _ in self._waiting}
            return
        waiting, self._waiting, self.why = self._waiting, [], {}
        for at, (number, what) in enumerate(waiting):
            if number not in self.why:
                try:
                    what()
                    continue
                except (OSError, LivecubeError) as error:
                    self.why[number] = str(error)
                except sqlite3.Error as error:
                    # Waiting for a lock takes seconds, and the next solve would wait as long.
                    self.why |= {later: str(error) for later, _ in waiting[at:]}
                    self._waiting += waiting[at:]
                    return
            self._waiting.append((number, what))


class HistorySink:
    """Keeps the solves of one session, whose logs are open and whole when they are judged.

    ``complain`` gets a sentence about each solve that cannot be kept; practice goes on. ``kept``
    gets the number of each kept solve, in this session and in the history. ``write_logs`` tries
    again to write logs that could not be written when their solve was over.
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
        self._work = _WaitingWork(session, complain)
        self._kept = kept
        self._write_logs = write_logs
        self._numbers: dict[int, int] = {}
        """Numbers in the history, by the number in this session."""
        self._told: set[int] = set()

    async def take(self, item: Item) -> None:
        """Keep, correct or delete a solve; other items are ignored."""
        if isinstance(item, Judged | Corrected | Discarded):
            self._work.add(item.number, partial(self._do, item))
            await self._settle()

    async def _settle(self) -> None:
        await self._work.do()
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
        self._session.learn_from([one.number for one in kept if one.is_new])

    def _log(self, number: int) -> Path | None:
        """The log of a solve, if there is one."""
        if self._session.number is None:
            return None
        path = open_log_path(self._session.folder, self._session.number, number)
        return path if path.exists() else None

    @property
    def last_words(self) -> list[str]:
        """A sentence for each solve that is not kept at the end."""
        told = []
        for number, why in self._work.why.items():
            log = self._log(number)
            left = "" if log is None else f"; the next start keeps what its log has, in {log}"
            told.append(f"Solve {number} is not kept ({why}){left}")
        return told

    async def close(self) -> None:
        """Try the waiting work once more, and close the database."""
        if self._work.why:
            await self._settle()
        self._session.close()


class FollowedSink:
    """Keeps the finished solves of a cube that is followed, with or without marks.

    All events of the run are also written to one log, from which the next start keeps solves after
    a crash. If this log fails, solves are still kept, and no other log is begun. The caller passes
    each event through :meth:`lead` first: keeping a solve may take time, and an event must be
    written before it is shown.
    """

    name = "history"

    def __init__(
        self,
        session: Session,
        header: Header,
        complain: Callable[[str], None],
        reading: asyncio.Lock | None = None,
    ) -> None:
        """``reading``: held while a solve is read; sinks that share one read one after the other.

        Reading takes 20 MB for a moment.
        """
        self._reading = reading or asyncio.Lock()
        self._session = session
        self._header = header
        self._complain = complain
        self._work = _WaitingWork(session, complain)
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
        """Collect events; when a solve is over, keep it."""
        if isinstance(item, CubeEvent):
            self._unread.append(item)
        elif isinstance(item, SolveOver):
            await self._read()

    def lead(self, event: CubeEvent) -> tuple[CubeEvent]:
        """Write an event, before it is shown."""
        if self._log is not None:
            try:
                self._log.write(event)
            except OSError as error:
                self._without_log(error)
        return (event,)

    def _without_log(self, error: Exception) -> None:
        self._discard_log()
        self._complain(
            f"The turns cannot be written to a log now ({error}): if livecube is killed "
            "now, the solve under way is lost."
        )

    def _discard_log(self) -> None:
        if self._log is not None:
            with suppress(OSError):
                self._log.discard()
            self._log = None

    async def _read(self) -> None:
        unread, self._unread = self._unread, []
        # Reading how the cube was held takes a while: no other cube's turn must wait for it.
        async with self._reading:
            solves = await asyncio.to_thread(self._solves_in, unread)
        for found in solves:
            self._found += 1
            self._work.add(self._found, partial(self._keep, found))
        await self._work.do()

    def _solves_in(self, events: Iterable[CubeEvent]) -> list[FoundSolve]:
        """The solves that end in the next events."""
        if self._reader is None:
            add = self._session.hindsight
            self._reader = SolveReader(self._header, add() if add else as_told)
        found = map(self._reader.feed, events)
        return [one for one in found if one is not None]

    def _keep(self, found: FoundSolve) -> None:
        number = self._session.history.keep(found, self._session.person, self._session.number)
        self._session.learn_from([] if number is None else [number])

    @property
    def last_words(self) -> list[str]:
        """A sentence for each solve that is not kept at the end."""
        left = "" if self._log is None else f"; its turns are in {self._log.path}"
        return [
            f"Solve {number} is not kept ({why}){left}" for number, why in self._work.why.items()
        ]

    async def close(self) -> None:
        """Try the waiting work once more, and close log and database."""
        await self._read()
        if not self._work.why:
            self._discard_log()
        elif self._log is not None:
            with suppress(OSError):
                self._log.close()
        self._session.close()
