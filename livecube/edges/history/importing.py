"""Logs come into the history: imported from anywhere, or found open after a crash."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.edges.history.logs import forsaken_logs, session_of
from livecube.edges.log_files import LogReader
from livecube.errors import LogError, UsageError
from livecube.solves.reading import as_told, solves_in
from livecube.solves.records import NOBODY

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from livecube.edges.history.store import History
    from livecube.solves.reading import Told

__all__ = ["Imported", "Recovered", "import_log", "keep_open_log", "log_files", "recover"]

_UNFINISHED: Final = "unfinished"


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of one log."""

    added: tuple[int, ...] = ()
    """Numbers of the solves that are new."""
    known: int = 0
    """How many solves in it were kept before."""
    torn: bool = False
    """Its last line was cut off, and left out."""


@dataclass(frozen=True, slots=True)
class Recovered:
    """What was found after a crash."""

    solves: tuple[int, ...]
    """Numbers of finished solves that had not been kept yet."""
    unfinished: tuple[Path, ...]
    """Logs of attempts that were under way, set aside."""

    @property
    def sentence(self) -> str:
        """What to tell; empty if there is nothing."""
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


def log_files(paths: Iterable[Path]) -> list[Path]:
    """The logs that are named, and all ``*.jsonl`` in the folders that are, in order.

    Raises :class:`~livecube.errors.UsageError` if something is not there.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            found += sorted(path.rglob("*.jsonl"))
        elif path.exists():
            found.append(path)
        else:
            raise UsageError(f"{path} is not there; name logs or folders that hold some")
    return list(dict.fromkeys(found))


def import_log(history: History, path: Path, person: str) -> Imported | None:
    """Import a log, all of it or nothing; None if this very file was imported before.

    Raises :class:`~livecube.errors.LogError` if it cannot be read.
    """
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        raise LogError(str(path), 0, f"cannot be read: {error.strerror}") from None
    if history.is_imported(digest):
        return None
    with LogReader(path) as reader:
        found = list(solves_in(reader.header, reader, _told(history)))
        torn = reader.torn
    with history.together():
        numbers = [history.keep(solve, person) for solve in found]
        history.note_imported(digest, str(path))
    added = tuple(number for number in numbers if number is not None)
    return Imported(added, len(numbers) - len(added), torn)


def _told(history: History) -> Told:
    return history.hindsight() if history.hindsight else as_told


def keep_open_log(history: History, path: Path) -> Sequence[int]:
    """Keep the solve in the log of an attempt that is over, and let the log go; its number."""
    session = session_of(path)
    person = None if session is None else history.session_person(session)
    kept = []
    with LogReader(path) as reader:
        for found in solves_in(reader.header, reader, _told(history)):
            number = history.keep(found, person or NOBODY, session if person else None)
            kept.append(number or history.number_of(found.kept.listed.identity) or 0)
    if kept:
        path.unlink()
    return kept


def recover(history: History) -> Recovered:
    """Keep what a crash left behind: finished solves, and what was under way."""
    solves: list[int] = []
    unfinished: list[Path] = []
    for path in forsaken_logs(history.folder):
        kept: Sequence[int] = ()
        try:
            kept = keep_open_log(history, path)
        except LogError:
            if not path.stat().st_size:  # it ended before it began
                path.unlink()
                continue
        if kept:
            solves += kept
        else:
            unfinished.append(_set_aside(history.folder / _UNFINISHED, path))
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
