"""The logs beside the database: one of each solve, and one of each attempt under way.

A log under way grows in the folder ``open``, a line at a time, so that nothing is lost whenever
this program ends. It is deleted once its solve is in the database. Logs found there at a start were
left by a crash.
"""

from __future__ import annotations

import os
from contextlib import suppress
from typing import IO, TYPE_CHECKING, Final

from livecube.edges.log_files import LogWriter
from livecube.errors import KeepingError
from livecube.logs.lines import event_line, header_line

try:
    import fcntl
except ImportError:  # a system that cannot remove open files: no locks needed
    LOCKS = False
else:
    LOCKS = True

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from pathlib import Path

    from livecube.events import CubeEvent
    from livecube.logs.lines import Header
    from livecube.solves.records import Listed

__all__ = [
    "LOCKS",
    "OpenLog",
    "forsaken_logs",
    "locked",
    "log_place",
    "logs_of_sessions",
    "logs_of_solves",
    "open_log_path",
    "session_of",
    "unfinished_folder",
    "write_log",
]

_OPEN: Final = "open"
_UNFINISHED: Final = "unfinished"


def log_place(solve: Listed) -> str:
    """The path of a solve's log, below the history's folder."""
    return f"solves/{solve.started[:7] or 'undated'}/{solve.identity}.jsonl"


def write_log(path: Path, header: Header, events: Iterable[CubeEvent]) -> None:
    """Write a whole log, or nothing: it is written beside its place and moved there."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.stem}.{os.getpid()}.part")
    lines = [header_line(header), *map(event_line, events)]
    try:
        with part.open("w", encoding="utf-8") as file:
            file.write("\n".join(lines) + "\n")
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def open_log_path(folder: Path, session: int, number: int) -> Path:
    """The path of the log of an attempt under way; ``number`` counts those of a session."""
    return folder / _OPEN / f"{session}-{number}.jsonl"


class OpenLog:
    """The log of an attempt under way."""

    def __init__(self, folder: Path, session: int, number: int, header: Header) -> None:
        self.path = open_log_path(folder, session, number)
        self.path.parent.mkdir(parents=True, exist_ok=True)
        # Made under another name first: without its lock another start would take it for a log
        # that a crash has left.
        hidden = self.path.with_suffix(".new")
        hidden.unlink(missing_ok=True)
        self._writer = LogWriter(hidden, header)
        self._lock = locked(hidden)
        hidden.rename(self.path)

    def write(self, event: CubeEvent) -> None:
        """Append an event; as :meth:`.LogWriter.write`."""
        self._writer.write(event)

    def close(self) -> None:
        """Close the log at the end of the attempt; it stays in the folder."""
        try:
            self._writer.close()
        finally:
            if self._lock is not None:
                self._lock.close()

    def discard(self) -> None:
        """Close and delete the log."""
        self.path.unlink(missing_ok=True)
        with suppress(OSError):  # unwritten lines are not needed any more
            self.close()


def locked(path: Path) -> IO[bytes] | None:
    """A lock on a file that ends with this process; None if another process holds it."""
    if not LOCKS:
        return None
    file = path.open("rb")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        file.close()
        return None
    return file


def forsaken_logs(folder: Path) -> list[Path]:
    """The open logs of programs that have ended, oldest first."""
    found = sorted((folder / _OPEN).glob("*.jsonl"), key=_age)
    return [path for path in found if not _is_held(path)]


def _age(path: Path) -> float:
    with suppress(OSError):
        return path.stat().st_mtime
    return 0.0


def _is_held(path: Path) -> bool:
    if not LOCKS:
        return False
    try:
        lock = locked(path)
    except OSError:  # deleted meanwhile
        return True
    if lock is None:
        return True
    lock.close()
    return False


def session_of(path: Path) -> int | None:
    """The session to which an open log belongs."""
    number = path.stem.partition("-")[0]
    return int(number) if number.isdecimal() else None


def unfinished_folder(folder: Path) -> Path:
    """Where logs of attempts are set aside that a crash broke off."""
    return folder / _UNFINISHED


def logs_of_sessions(folder: Path, sessions: Collection[int]) -> list[Path]:
    """Logs of attempts in these sessions: left by a crash, or set aside.

    Raises :class:`~livecube.errors.KeepingError` if an attempt is under way.
    """
    places = (folder / _OPEN, unfinished_folder(folder))
    found = [
        path
        for place in places
        for path in sorted(place.glob("*.*"))
        if session_of(path) in sessions
    ]
    for path in found:
        if path.parent == places[0] and _is_held(path):
            raise KeepingError(f"a session is under way ({path}); end it first")
    return found


def logs_of_solves(folder: Path, places: Iterable[str]) -> list[Path]:
    """The logs of solves, and what a crash left beside them; ``places`` as of :func:`log_place`."""
    logs = [folder / place for place in places]
    parts: dict[str, list[Path]] = {}
    for part in folder.glob("solves/*/*.part"):
        parts.setdefault(part.name.split(".")[0], []).append(part)
    return [*logs, *(part for log in logs for part in parts.get(log.stem, ()))]
