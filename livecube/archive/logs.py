"""The logs that come into a data set: which there are, and in what batches they are reviewed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Final

from livecube.history.importing import log_files
from livecube.history.store import DATABASE, History
from livecube.logs.lines import parse_header
from livecube.solves.records import Wanted

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
    from pathlib import Path

    from livecube.timing.results import Penalty

__all__ = ["Batch", "Found", "KeptWith", "Log", "batches_of", "found_logs"]

_MOST_LOGS: Final = 16
_MOST_BYTES: Final = 200_000
"""Some 30 solves. Larger batches would be lost with a worker, smaller ones cost more messages."""


@dataclass(frozen=True, slots=True)
class KeptWith:
    """What a history knows of a log's only solve, beside the log."""

    session: str | None
    """When its session began; ISO 8601 in UTC."""
    penalties: tuple[Penalty, ...]
    """Those that count."""
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Log:
    """A log that is to be reviewed."""

    path: Path
    size: int
    """Bytes."""
    digest: str
    """Of its content and of what a history knows of it."""
    started: str
    """As its header says; empty if that cannot be read."""
    person: str
    kept: KeptWith | None
    """None: it is no history's."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Logs that are reviewed together."""

    logs: tuple[Log, ...]
    key: str
    """Equal for the same logs."""


@dataclass(frozen=True, slots=True)
class Found:
    """What was found for a data set."""

    logs: tuple[Log, ...]
    passed_over: tuple[Path, ...]
    """Named like logs, but not regular files."""


def found_logs(
    paths: Iterable[Path], person: Callable[[Path], str], step: Callable[[int], None]
) -> Found:
    """All logs in files, folders and histories (folders with a database of livecube's).

    Each content is found once, and the order depends on people, times and contents only.
    ``person`` says whose a log is that is not in a history; ``step`` is called with the number of
    logs read.

    Raises :class:`~livecube.errors.UsageError` if a name does not exist.
    """
    found: dict[str, Log] = {}
    passed_over: list[Path] = []
    for path in paths:
        if (path / DATABASE).is_file():
            logs: Iterator[Log] = _kept_logs(path)
        else:
            files = log_files([path])
            passed_over += files.passed_over
            logs = (_log(one, person(one), None) for one in files.logs)
        for log in logs:
            first = min(found.get(log.digest, log), log, key=_order)
            found[log.digest] = first
            step(1)
    return Found(tuple(sorted(found.values(), key=_order)), tuple(passed_over))


def _order(log: Log) -> tuple[str, str, str, str]:
    return log.person, log.started, log.digest, str(log.path)


def _kept_logs(folder: Path) -> Iterator[Log]:
    """The logs of a history's solves that are not deleted."""
    with History(folder, reading=True) as history:
        sessions = dict(history.database.execute("SELECT id, started FROM session"))
        for one in history.solves(Wanted()):
            session = None if one.listed.session is None else sessions[one.listed.session]
            kept = KeptWith(session, one.listed.penalties, one.listed.tags)
            yield _log(folder / one.log, one.listed.person, kept)


def _log(path: Path, person: str, kept: KeptWith | None) -> Log:
    content, started = b"", ""
    try:
        content = path.read_bytes()
        started = parse_header(content.partition(b"\n")[0].decode()).started
    except (OSError, ValueError):  # its review gives the reason
        pass
    known = "" if kept is None else json.dumps(asdict(kept))
    digest = hashlib.sha256(content + known.encode()).hexdigest()
    return Log(path, len(content), digest, started, person, kept)


def batches_of(logs: Iterable[Log], known: Collection[str]) -> Iterator[Batch]:
    """Batches of the logs whose digest is not known, in order."""
    batch: list[Log] = []
    size = 0
    for log in logs:
        if log.digest in known:
            continue
        if batch and (len(batch) == _MOST_LOGS or size + log.size > _MOST_BYTES):
            yield _batch(batch)
            batch, size = [], 0
        batch.append(log)
        size += log.size
    if batch:
        yield _batch(batch)


def _batch(logs: Sequence[Log]) -> Batch:
    key = hashlib.sha256(" ".join(log.digest for log in logs).encode()).hexdigest()[:16]
    return Batch(tuple(logs), key)
