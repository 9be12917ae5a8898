"""A data set on disk: which logs it has, what waits to be merged, and its tables.

Reviewed batches wait in ``waiting/`` until they are merged in order, so the files do not depend
on how many workers there were. A batch and a table's part appear whole or not at all.
"""

from __future__ import annotations

import json
import shutil
from collections import defaultdict
from dataclasses import asdict, dataclass
from glob import escape as glob_escape
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote, unquote

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from livecube.archive.schema import FOLDERS, TABLES, VERSION
from livecube.errors import KeepingError, UsageError
from livecube.history.logs import LOCKS, locked

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path
    from typing import Self

__all__ = [
    "MAKING",
    "DataSet",
    "LogNote",
    "Making",
    "opened",
    "people_of",
    "read_making",
    "read_rows",
    "read_stream",
    "stream_of",
    "table_of",
    "write_making",
    "write_parts",
]

MAKING: Final = "archive.json"
_LOGS: Final = "logs.jsonl"
_WAITING: Final = "waiting"
_PART: Final = "part.parquet"
_NEW: Final = ".new-"
"""Begins the name of what is being written; such files are never read."""
_WITH_FOLDERS: Final = {name: pa.unify_schemas([its, FOLDERS]) for name, its in TABLES.items()}


@dataclass(frozen=True, slots=True)
class Making:
    """How the solves of a data set were reviewed; it is the same for all of them."""

    level: str
    hands: str
    """Fingerprint of the hands whose seconds are predicted."""
    livecube: str
    """Version of livecube."""
    names: bool = True
    """False: people are numbers, and days are weeks."""


@dataclass(frozen=True, slots=True)
class LogNote:
    """A log that was reviewed, or set aside."""

    log: str
    digest: str
    person: str
    solves: int
    broken: str | None
    """Why it was set aside."""


def opened(folder: Path, making: Making) -> DataSet:
    """The data set in a folder, for adding to it; it is made if the folder is missing or empty.

    Raises :class:`~livecube.errors.UsageError` if the folder holds something else, or solves that
    were reviewed otherwise.
    """
    if not (folder / MAKING).exists():
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise UsageError(f"{folder} holds no data set; name a new or an empty folder")
        folder.mkdir(parents=True, exist_ok=True)
        write_making(folder, making)
    found = read_making(folder)
    if not found.names:
        raise UsageError(f"{folder} was published without names; add to the data set itself")
    for what in ("level", "hands", "livecube"):
        had, now = getattr(found, what), getattr(making, what)
        if had != now:
            raise UsageError(
                f"{folder} was reviewed with {what} {had}, and this is {now}; figures of both "
                "cannot be compared: make a new data set"
            )
    return DataSet(folder)


def write_making(folder: Path, making: Making) -> None:
    """Say in a folder how its data set is made."""
    told = {"livecube_archive": VERSION, **asdict(making)}
    _write(folder / MAKING, (json.dumps(told, indent=1) + "\n").encode())


def read_making(folder: Path) -> Making:
    """How a data set was made.

    Raises :class:`~livecube.errors.UsageError` if the folder holds none, or one of another version.
    """
    path = folder / MAKING
    try:
        told = json.loads(path.read_bytes())
        version = told.pop("livecube_archive")
        if version != VERSION:
            raise UsageError(f"{path} has version {version}; this livecube reads version {VERSION}")
        return Making(**told)
    except OSError:
        raise UsageError(f"{folder} holds no data set; livecube archive review makes one") from None
    except (ValueError, KeyError, TypeError, AttributeError):
        raise UsageError(f"{path} cannot be read; make the data set anew") from None


def table_of(name: str, rows: Sequence[dict[str, Any]]) -> pa.Table:
    """Rows as a table; solves have two columns more, person and month."""
    return pa.Table.from_pylist(
        rows, schema=_WITH_FOLDERS[name] if name == "solves" else TABLES[name]
    )


def people_of(folder: Path) -> list[str]:
    """Everybody who has solves in a data set, in order."""
    place = folder / "solves"
    parts = [one.name for one in place.glob("person=*")] if place.is_dir() else []
    return sorted(unquote(name.removeprefix("person=")) for name in parts)


def read_rows(
    folder: Path, table: str, columns: Sequence[str], person: str | None = None
) -> pa.Table:
    """Some columns of a table, of one person or of all; person and month may be among them.

    Parts are read one after another: pyarrow's own data sets take twice the memory and the time,
    and so do threads and buffers, since the parts are small.
    """
    schema = pa.schema([_WITH_FOLDERS[table].field(name) for name in columns])
    whose = "*" if person is None else glob_escape(_quoted(person))
    paths = sorted((folder / table).glob(f"person={whose}/month=*/{_PART}"))
    parts = [_read_part(path, columns) for path in paths]
    return pa.concat_tables([schema.empty_table(), *parts]).unify_dictionaries()


def _read_part(path: Path, columns: Sequence[str]) -> pa.Table:
    with pq.ParquetFile(str(path), pre_buffer=False) as file:
        part = file.read([one for one in columns if one not in FOLDERS.names], use_threads=False)
    for name in columns:
        if name not in part.column_names and name not in FOLDERS.names:  # of an older livecube
            field = TABLES[path.parents[2].name].field(name)
            part = part.append_column(field, pa.nulls(len(part), field.type))
    for folder in path.parents[:2]:
        name, _, text = folder.name.partition("=")
        if name in columns:
            part = part.append_column(FOLDERS.field(name), pa.repeat(unquote(text), len(part)))
    return part.select(columns)


class DataSet:
    """A data set that is added to. Use it as a context manager: one program at a time adds."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._waiting = folder / _WAITING

    def __enter__(self) -> Self:
        self._lock = locked(self.folder / MAKING)
        if LOCKS and self._lock is None:
            raise KeepingError(f"another livecube adds to {self.folder}; wait until it has ended")
        self.logs = {note.digest: note for note in self._read_logs()}
        self._solves = set(read_rows(self.folder, "solves", ["solve"])["solve"].to_pylist())
        return self

    def __exit__(self, *_: object) -> None:
        if self._lock is not None:
            self._lock.close()

    def _read_logs(self) -> list[LogNote]:
        path = self.folder / _LOGS
        if not path.exists():
            return []
        whole, newline, torn = path.read_bytes().rpartition(b"\n")
        if torn:  # a crash cut it off: its batch still waits, and is merged again
            _write(path, whole + newline)
        return [LogNote(**json.loads(line)) for line in whole.splitlines()]

    def has_waiting(self, batch: str) -> bool:
        """Whether a reviewed batch waits to be merged."""
        return (self._waiting / batch).is_dir()

    def forget_waiting(self, wanted: Iterable[str]) -> None:
        """Delete waiting batches other than these: another choice of logs left them."""
        if self._waiting.is_dir():
            for one in self._waiting.iterdir():
                if one.name not in wanted:
                    shutil.rmtree(one)

    def keep_waiting(self, batch: str, tables: dict[str, bytes], notes: Sequence[LogNote]) -> None:
        """Keep a reviewed batch: its tables as Arrow streams, and what is said of its logs."""
        new = self._waiting / (_NEW + batch)
        shutil.rmtree(new, ignore_errors=True)
        new.mkdir(parents=True)
        for name, content in tables.items():
            (new / name).write_bytes(content)
        (new / _LOGS).write_text(_lines(notes), encoding="utf-8")
        new.rename(self._waiting / batch)

    def merge(self, batches: Sequence[str]) -> tuple[int, int]:
        """Merge waiting batches, in this order; a solve that is known already stays as it is.

        Returns how many solves are new, and how many were known. If it breaks off, it can be
        repeated.
        """
        if not batches:
            return 0, 0
        notes: list[LogNote] = []
        parts: dict[str, list[pa.Table]] = {name: [] for name in TABLES}
        for batch in batches:
            place = self._waiting / batch
            notes += [
                LogNote(**json.loads(line))
                for line in (place / _LOGS).read_text(encoding="utf-8").splitlines()
            ]
            tables = {name: read_stream((place / name).read_bytes()) for name in TABLES}
            came = tables["solves"]["solve"].to_pylist()
            new = [solve for solve in came if solve not in self._solves]
            self._solves.update(new)
            only = pa.array(new, pa.int64())
            for name, table in tables.items():
                parts[name].append(table.filter(pc.is_in(table["solve"], only)))
        merged = {name: pa.concat_tables(tables) for name, tables in parts.items()}
        write_parts(self.folder, merged)
        with (self.folder / _LOGS).open("a", encoding="utf-8") as file:
            file.write(_lines([note for note in notes if note.digest not in self.logs]))
        self.logs |= {note.digest: note for note in notes}
        for batch in batches:
            shutil.rmtree(self._waiting / batch)
        new_solves = len(merged["solves"])
        return new_solves, sum(note.solves for note in notes) - new_solves


def write_parts(folder: Path, tables: dict[str, pa.Table]) -> None:
    """Add rows to the parts of a data set, and replace rows of solves that are there already.

    Person and month are columns of the solves.
    """
    places: dict[tuple[str, str], list[int]] = defaultdict(list)
    columns = [tables["solves"][name].to_pylist() for name in ("person", "month", "solve")]
    for person, month, solve in zip(*columns, strict=True):
        places[person, month].append(solve)
    for (person, month), numbers in places.items():
        its = pa.array(numbers, pa.int64())
        # Solves come last: a solve that can be read has all its other rows.
        for name in reversed(TABLES):
            part = tables[name].filter(pc.is_in(tables[name]["solve"], its))
            place = folder / name / f"person={_quoted(person)}" / f"month={month}"
            _write_part(name, place, part.select(TABLES[name].names).cast(TABLES[name]))


def _quoted(person: str) -> str:
    return quote(person, safe="")


def _write_part(name: str, place: Path, part: pa.Table) -> None:
    path = place / _PART
    if path.exists():
        had = pq.read_table(path, schema=TABLES[name], partitioning=None)
        others = had.filter(pc.invert(pc.is_in(had["solve"], part["solve"])))
        part = pa.concat_tables([others, part])
    place.mkdir(parents=True, exist_ok=True)
    new = path.with_name(_NEW + path.name)
    pq.write_table(_ordered(name, part), new, compression="zstd")
    new.replace(path)


def _ordered(name: str, part: pa.Table) -> pa.Table:
    """A part in an order that depends on its rows only."""
    if name == "solves":
        order = pc.sort_indices(part, [("started", "ascending"), ("solve", "ascending")])
    else:  # rows of one solve stay in their order
        order = pa.array(np.argsort(part["solve"].to_numpy(), kind="stable"))
    part = part.take(order).combine_chunks()
    # Dictionaries list their words in the order of rows, whatever came first.
    plain = pa.schema([_plain(field) for field in part.schema])
    return part.cast(plain).cast(TABLES[name])


def _plain(field: pa.Field) -> pa.Field:
    is_name = pa.types.is_dictionary(field.type)
    return field.with_type(field.type.value_type) if is_name else field


def stream_of(table: pa.Table) -> bytes:
    """A table as an Arrow stream."""
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return sink.getvalue().to_pybytes()  # type: ignore[no-any-return]


def read_stream(content: bytes) -> pa.Table:
    """The table in an Arrow stream."""
    with pa.ipc.open_stream(content) as reader:
        return reader.read_all()


def _lines(notes: Iterable[LogNote]) -> str:
    return "".join(json.dumps(asdict(note), ensure_ascii=False) + "\n" for note in notes)


def _write(path: Path, content: bytes) -> None:
    new = path.with_name(_NEW + path.name)
    new.write_bytes(content)
    new.replace(path)
