"""Logs come into the history: imported from anywhere, or found open after a crash."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.edges.log_files import LogReader, regular
from livecube.errors import LogError, UsageError
from livecube.history.logs import forsaken_logs, session_of, unfinished_folder
from livecube.solves.reading import SolveReader, as_told

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from livecube.history.store import History
    from livecube.solves.reading import Told

__all__ = [
    "Imported",
    "Kept",
    "LogFiles",
    "Recovered",
    "import_log",
    "keep_open_log",
    "log_files",
    "recover",
]


@dataclass(frozen=True, slots=True)
class Imported:
    """The result of importing one log."""

    added: tuple[int, ...] = ()
    """Numbers of the new solves."""
    known: int = 0
    """How many of its solves were kept before."""
    torn: bool = False
    """Whether its last line was cut off, and left out."""
    timeless: int = 0
    """Number of finished solves without a time; they have no result and are left out."""


@dataclass(frozen=True, slots=True)
class Recovered:
    """The solves and logs found after a crash."""

    solves: tuple[int, ...]
    """Numbers of finished solves that had not been kept yet."""
    unfinished: tuple[Path, ...]
    """Logs, set aside, of attempts that were under way."""

    @property
    def sentence(self) -> str:
        """The message about it; empty if nothing was found."""
        told = []
        if self.solves:
            numbers = ", ".join(map(str, self.solves))
            told.append(f"kept now, since livecube ended before it could: solve {numbers}")
        if self.unfinished:
            told.append(
                f"an attempt was under way when livecube ended; its turns are in "
                f"{', '.join(map(str, self.unfinished))}"
            )
        return "; ".join(told)


@dataclass(frozen=True, slots=True)
class LogFiles:
    """The files to import."""

    logs: tuple[Path, ...]
    passed_over: tuple[Path, ...]
    """Named like logs, but not regular files: pipes, devices, links to nothing."""


def log_files(paths: Iterable[Path]) -> LogFiles:
    """The named logs, and all ``*.jsonl`` in the named folders, in order.

    Raises :class:`~livecube.errors.UsageError` if a name does not exist, or is not a file.
    """
    found: dict[Path, bool] = {}
    for path in paths:
        if path.is_dir():
            inside = [one for one in sorted(path.rglob("*.jsonl")) if not one.is_dir()]
            found |= {one: _is_regular(one) for one in inside}
        elif path.exists():
            found[regular(path)] = True
        else:
            raise UsageError(f"{path} does not exist; name logs, or folders with logs")
    return LogFiles(
        tuple(path for path, is_regular in found.items() if is_regular),
        tuple(path for path, is_regular in found.items() if not is_regular),
    )


def _is_regular(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a link to itself
        return False


def import_log(history: History, path: Path, person: str) -> Imported | None:
    """Import a log, all of it or nothing; None if this very file was imported before.

    Raises :class:`~livecube.errors.LogError` if it cannot be read.
    """
    with LogReader(path) as reader:
        digest = _digest(path)
        if history.is_imported(digest):
            return None
        solves = SolveReader(reader.header, _told(history))
        found = [solve for event in reader if (solve := solves.feed(event)) is not None]
        torn = reader.torn
    with history.together():
        numbers = [history.keep(solve, person) for solve in found]
        name = os.fsencode(path).decode("utf-8", "backslashreplace")
        history.note_imported(digest, name, person)
    added = tuple(number for number in numbers if number is not None)
    return Imported(added, len(numbers) - len(added), torn, solves.timeless)


def _digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise LogError(str(path), 0, f"cannot be read: {error.strerror}") from None


def _told(history: History) -> Told:
    return history.hindsight() if history.hindsight else as_told


@dataclass(frozen=True, slots=True)
class Kept:
    """A solve of an open log."""

    number: int
    is_new: bool
    """Whether it was not kept before."""


def keep_open_log(history: History, path: Path) -> Sequence[Kept]:
    """Keep the solves in a finished log, and delete the log unless a solve was under way."""
    session = session_of(path)
    person = None if session is None else history.session_person(session)
    kept = []
    with LogReader(path) as reader:
        solves = SolveReader(reader.header, _told(history))
        for event in reader:
            if (found := solves.feed(event)) is not None:
                number = history.keep(
                    found, person or history.unnamed(), session if person else None
                )
                known = number or history.number_of(found.kept.listed.identity) or 0
                kept.append(Kept(known, number is not None))
    if kept and not solves.is_under_way:
        path.unlink()
    return kept


def recover(history: History) -> Recovered:
    """Keep finished solves that a crash left behind, and set logs of unfinished ones aside."""
    solves: list[int] = []
    unfinished: list[Path] = []
    for path in forsaken_logs(history.folder):
        try:
            solves += [kept.number for kept in keep_open_log(history, path) if kept.is_new]
        except LogError:
            if not path.stat().st_size:  # it ended before the header was written
                path.unlink()
        if path.exists():
            unfinished.append(_set_aside(unfinished_folder(history.folder), path))
    return Recovered(tuple(solves), tuple(unfinished))


def _set_aside(folder: Path, path: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    place = next(place for place in _names(folder, path.stem) if not place.exists())
    path.rename(place)
    return place


def _names(folder: Path, stem: str) -> Iterator[Path]:
    yield folder / f"{stem}.jsonl"
    number = 2
    while True:
        yield folder / f"{stem}-{number}.jsonl"
        number += 1
