"""Reviews for a data set, by Dask on this machine's cores or on a cluster."""

from __future__ import annotations

import functools
import logging
import os
import platform
import threading
import time
from collections import deque
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from uuid import uuid4

import dask
import pyarrow as pa
from distributed import Client, KilledWorker, LocalCluster
from distributed.client import FutureCancelledError
from distributed.comm import CommClosedError

from livecube.archive.folder import LogNote, read_stream, stream_of, table_of
from livecube.archive.logs import Batch
from livecube.archive.rows import rows_of
from livecube.archive.schema import TABLES
from livecube.composition.reviewing import Reviewer, begun_in, chances_of, prices_of
from livecube.edges.log_files import LogReader
from livecube.errors import KeepingError, LogError, UsageError
from livecube.solves.reading import solves_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from distributed import Future

    from livecube.archive.folder import DataSet
    from livecube.archive.logs import KeptWith, Log
    from livecube.solves.reading import FoundSolve

__all__ = ["Reviewed", "Sent", "add_batches", "cluster", "review_logs", "versions_here"]

# The work of one worker: it knows nothing but what it is sent, and writes nothing.


@dataclass(frozen=True, slots=True)
class Sent:
    """A log on its way to a worker."""

    name: str
    digest: str
    person: str
    content: bytes
    kept: KeptWith | None


@dataclass(frozen=True, slots=True)
class Reviewed:
    """A batch on its way back."""

    tables: dict[str, bytes]
    """Arrow streams by the name of the table."""
    notes: tuple[LogNote, ...]


_reviewer: Final = functools.cache(Reviewer)
"""Loaded once in a worker, which finds tables and compiled code in its machine's cache."""


def review_logs(logs: Sequence[Sent], level: str) -> Reviewed:
    """Review the solves of logs. A log that cannot be read, or not be reviewed, is set aside."""
    rows: dict[str, list[dict[str, Any]]] = {name: [] for name in TABLES}
    notes = []
    seen: set[int] = set()
    for log in logs:
        found, broken = [], None
        try:
            found = _rows_of_log(log, level)
        except LogError as error:
            broken = error.reason
        except Exception as error:  # a fault of ours must not stop a thousand other logs
            broken = f"cannot be reviewed: {type(error).__name__}: {error}"
        notes.append(LogNote(log.name, log.digest, log.person, len(found), broken))
        for one in found:
            number = one["solves"][0]["solve"]
            if number not in seen:
                seen.add(number)
                for name, its in one.items():
                    rows[name] += its
    return Reviewed({name: stream_of(table_of(name, its)) for name, its in rows.items()}, (*notes,))


def _rows_of_log(log: Sent, level: str) -> list[dict[str, list[dict[str, Any]]]]:
    reviewer = _reviewer(level)
    with LogReader(Path(log.name), log.content) as reader:
        solves = solves_in(reader.header, reader, reviewer.holdings.hindsight())
        return [*_reviewed(solves if log.kept is None else [*solves][-1:], log, reviewer)]


def _reviewed(
    solves: Iterable[FoundSolve], log: Sent, reviewer: Reviewer
) -> Iterator[dict[str, list[dict[str, Any]]]]:
    """The rows of each solve, one after the other: then the inference of holdings reads it once."""
    for one in solves:
        listed = replace(one.kept.listed, person=log.person)
        if log.kept is not None:
            listed = replace(listed, corrected=log.kept.penalties, tags=log.kept.tags)
        review = reviewer.review(begun_in(one.header, one.events)[-1])
        yield rows_of(
            replace(one.kept, listed=listed),
            None if log.kept is None else log.kept.session,
            review,
            chances_of(review),
            prices_of(review),
        )


# Handing out work and taking it back.

_AHEAD: Final = 4
"""Batches on their way for each thread of a worker, so that none waits for its next one."""
_MERGED: Final = 100
"""Batches that are merged at once: each merge writes the parts of all their months anew."""
_ANSWERS_S: Final = 10
"""Seconds that a scheduler has to answer."""


_LOCAL: Final = {
    # A worker may be killed often, by a system that is short of memory or by a person. That says
    # nothing about the batch that it had.
    "distributed.scheduler.allowed-failures": 20,
    # Nobody looks at it, and it takes a tenth of a worker's time.
    "distributed.worker.profile.enabled": False,
}


@contextmanager
def cluster(scheduler: str | None, workers: int | None) -> Iterator[Client]:
    """A client of the cluster at an address, or of workers on this machine's cores.

    Raises :class:`~livecube.errors.UsageError` if Dask is missing, and
    :class:`~livecube.errors.KeepingError` if no scheduler answers.
    """
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # errors are said in a sentence
    if scheduler is None:
        with (
            dask.config.set(_LOCAL),
            LocalCluster(
                n_workers=workers or os.cpu_count() or 1,
                threads_per_worker=1,
                host="127.0.0.1",
                dashboard_address=None,
                silence_logs=logging.CRITICAL,
            ) as local,
            Client(local) as client,
            _replacing(local, client),
        ):
            yield client
        return
    try:
        client = Client(scheduler, timeout=_ANSWERS_S, name="livecube")
    except (OSError, ValueError, TypeError) as error:
        raise KeepingError(
            f"no scheduler answers at {scheduler}: {error}; see livecube guide archive"
        ) from None
    with client:
        _compare_versions(client)
        yield client


_LOST_S: Final = 8.0
"""Seconds without a worker until another one is started. Dask starts most of them again itself."""
_LOOK_S: Final = 1.0


@contextmanager
def _replacing(local: LocalCluster, client: Client) -> Iterator[None]:
    """Start other workers for those that are lost for good.

    Dask gives up a worker that is killed while it starts; without any, the work would never end.
    """
    wanted, over = len(local.worker_spec), threading.Event()

    def look() -> None:
        since = time.monotonic()
        while not over.wait(_LOOK_S):
            try:
                missing = wanted - len(client.nthreads())
            except OSError:  # the work is just ending
                return
            if missing <= 0:
                since = time.monotonic()
            elif time.monotonic() - since > _LOST_S:
                local.scale(len(local.worker_spec) + missing)  # the lost ones still count there
                since = time.monotonic()

    looking = threading.Thread(target=look, name="workers", daemon=True)
    looking.start()
    try:
        yield
    finally:
        over.set()
        looking.join()


def versions_here() -> dict[str, str]:
    """The versions that must be the same everywhere, for the same results."""
    packages = ("livecube", "numpy", "numba", "pyarrow", "dask", "distributed")
    return {"python": platform.python_version()} | {name: version(name) for name in packages}


def _compare_versions(client: Client) -> None:
    """Raises :class:`~livecube.errors.UsageError` if a worker has other versions."""
    here = versions_here()
    try:
        there = client.run(versions_here)
    except ModuleNotFoundError as error:
        raise UsageError(
            f"the workers lack {error.name}: install livecube[archive] there"
        ) from None
    if not there:
        raise UsageError("the scheduler has no workers; start some (livecube guide archive)")
    for worker, its in sorted(there.items()):
        other = [
            f"{name} {its[name]}, here {here[name]}" for name in here if its[name] != here[name]
        ]
        if other:
            raise UsageError(f"worker {worker} has {'; '.join(other)}: install the same versions")


def add_batches(
    data: DataSet,
    batches: Iterable[Batch],
    client: Client,
    level: str,
    step: Callable[[Sequence[Log]], None],
) -> tuple[int, int]:
    """Review batches and merge them in their order, whichever is done first.

    ``step`` is called with the logs of each batch that is done. Returns how many solves are new,
    and how many were known.
    """
    ahead = _AHEAD * max(1, sum(client.nthreads().values()))
    under_way: deque[tuple[Batch, Future | None]] = deque()
    done: list[str] = []
    new = known = 0

    def merge() -> None:
        nonlocal new, known
        counts = data.merge(done)
        new, known = new + counts[0], known + counts[1]
        done.clear()

    def finish() -> None:
        batch, future = under_way.popleft()
        if future is not None:
            reviewed = _result(client, batch, future, level)
            data.keep_waiting(batch.key, reviewed.tables, reviewed.notes)
        step(batch.logs)
        done.append(batch.key)
        if len(done) == _MERGED:
            merge()

    try:
        for batch in batches:
            waits = data.has_waiting(batch.key)
            under_way.append((batch, None if waits else _sent(client, batch, level)))
            if len(under_way) > ahead:
                finish()
        while under_way:
            finish()
    except (CommClosedError, FutureCancelledError):
        raise KeepingError(
            "the scheduler was lost; what is reviewed is kept: run it again to go on"
        ) from None
    finally:
        client.cancel([future for _, future in under_way if future is not None])
    merge()
    return new, known


def _sent(client: Client, batch: Batch, level: str) -> Future:
    # The names of tasks are never used again: a scheduler must not take one for another's result.
    logs = [_read(log) for log in batch.logs]
    return client.submit(review_logs, logs, level, key=f"review-{batch.key}-{uuid4().hex}")


def _read(log: Log) -> Sent:
    try:
        content = log.path.read_bytes()
    except OSError:  # an empty log is set aside
        content = b""
    return Sent(str(log.path), log.digest, log.person, content, log.kept)


def _result(client: Client, batch: Batch, future: Future, level: str) -> Reviewed:
    """The result of a batch. If workers died of it, each of its logs is tried alone."""
    try:
        reviewed: Reviewed = future.result()
        return reviewed
    except KilledWorker:
        parts = [_alone(client, log, level) for log in batch.logs]
    tables = {
        name: stream_of(pa.concat_tables([read_stream(part.tables[name]) for part in parts]))
        for name in TABLES
    }
    return Reviewed(tables, tuple(note for part in parts for note in part.notes))


def _alone(client: Client, log: Log, level: str) -> Reviewed:
    try:
        reviewed: Reviewed = _sent(client, Batch((log,), log.digest), level).result()
        return reviewed
    except KilledWorker:
        note = LogNote(str(log.path), log.digest, log.person, 0, "its review ended every worker")
        return Reviewed({name: stream_of(table_of(name, [])) for name in TABLES}, (note,))
