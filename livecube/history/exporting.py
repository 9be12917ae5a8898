"""The history as a table for other programs: CSV, JSON lines, Parquet; all of a person's as ZIP."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from typing import IO, TYPE_CHECKING, Any, Final

from livecube.errors import UsageError
from livecube.history.people import People
from livecube.history.text import kept_json, person_json
from livecube.solves.records import Wanted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from livecube.history.store import History
    from livecube.solves.records import KeptSolve

__all__ = [
    "COLUMNS",
    "as_read",
    "flat_row",
    "harmless",
    "read_csv",
    "write_csv",
    "write_json",
    "write_parquet",
    "write_person",
]

_PLAIN: Final = (
    "number", "person", "started", "session", "cross", "ms", "result_ms", "no_time", "turns",
    "solved", "gap", "scramble", "inspection_ms",
)  # fmt: skip
_STAGES: Final = ("cross", "pair1", "pair2", "pair3", "pair4", "orient", "permute", "auf")
_FIGURES: Final = ("ms", "pause_ms", "turns", "technique", "case")
COLUMNS: Final = (
    *_PLAIN,
    "penalties",
    "corrected",
    "tags",
    *(f"{stage}_{figure}" for stage in _STAGES for figure in _FIGURES),
    "identity",
    "log",
)
"""Columns of a row; several values in a cell are separated by blanks."""
_BATCH: Final = 5_000
_WHOLE: Final = ("ms", "_ms", "turns", "number", "session")


def flat_row(solve: KeptSolve) -> dict[str, Any]:
    """A solve as one row."""
    told = kept_json(solve)
    row = {name: told[name] for name in (*_PLAIN, "identity", "log")}
    row["penalties"] = _kinds(told["penalties"])
    row["corrected"] = None if told["corrected"] is None else _kinds(told["corrected"])
    row["tags"] = " ".join(told["tags"])
    for name, stage in zip(_STAGES, told["stages"], strict=True):
        for figure in _FIGURES:
            row[f"{name}_{figure}"] = stage[figure]
    return {name: row[name] for name in COLUMNS}


def _kinds(penalties: list[dict[str, str]]) -> str:
    return " ".join(penalty["kind"] for penalty in penalties)


_A_FORMULA: Final = re.compile(r"'*[=+\-@\t\r]")
"""First characters of cells that a spreadsheet might run, and of cells made harmless already."""


def harmless(cell: Any) -> Any:
    """A cell that a spreadsheet does not take for a formula: an apostrophe makes it text.

    As OWASP advises on *CSV Injection* (owasp.org/www-community/attacks/CSV_Injection): cells
    that begin with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return get an apostrophe.
    """
    return f"'{cell}" if isinstance(cell, str) and _A_FORMULA.match(cell) else cell


def as_read(cell: str) -> str:
    """The inverse of :func:`harmless`."""
    return cell[1:] if cell.startswith("'") and _A_FORMULA.match(cell) else cell


def write_csv(solves: Iterable[KeptSolve], out: IO[str]) -> None:
    """One row a solve under a row of names (RFC 4180, except for the line ends).

    Cells are :func:`harmless`.
    """
    writer = csv.DictWriter(_UnixLines(out), COLUMNS)
    writer.writeheader()
    for solve in solves:
        writer.writerow({name: harmless(cell) for name, cell in flat_row(solve).items()})


class _UnixLines:
    """Changes a writer's line ends; the writer must use its own to quote a lone carriage return."""

    def __init__(self, out: IO[str]) -> None:
        self._out = out

    def write(self, row: str) -> None:
        self._out.write(row.removesuffix("\r\n") + "\n")


def read_csv(table: Iterable[str]) -> list[dict[str, str]]:
    """The rows of a table that :func:`write_csv` wrote, with the original cells."""
    return [{name: as_read(cell) for name, cell in row.items()} for row in csv.DictReader(table)]


def write_json(solves: Iterable[KeptSolve], out: IO[str]) -> None:
    """One object a line, with all stages."""
    for solve in solves:
        out.write(json.dumps(kept_json(solve)) + "\n")


def write_person(history: History, name: str, path: Path) -> int:
    """Everything that is kept of a person as one ZIP file; returns the number of solves.

    ``person.json``; ``solves.csv`` and ``solves.jsonl`` as the other exports; ``drills.jsonl`` and
    ``lessons.jsonl``; ``learned/KIND.json``; and in ``logs/`` the log of each solve, which can be
    imported.
    """
    people = People(history)
    kept = people.one(name)
    solves = history.solves(Wanted(person=kept.person.name))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as whole:
        whole.writestr("person.json", json.dumps(person_json(kept)) + "\n")
        for name, write in (("solves.csv", write_csv), ("solves.jsonl", write_json)):
            text = io.StringIO()
            write(solves, text)
            whole.writestr(name, text.getvalue())
        for file, rows in (("drills.jsonl", people.drills), ("lessons.jsonl", people.lessons)):
            lines = (json.dumps(one) + "\n" for one in rows(kept.person.name))
            whole.writestr(file, "".join(lines))
        for one in kept.learned:
            content = people.learned(kept.person, one.kind) or ""
            whole.writestr(f"learned/{one.kind}.json", content)
        for solve in solves:
            if (log := history.folder / solve.log).is_file():
                whole.write(log, f"logs/{log.name}")
    return len(solves)


def write_parquet(solves: Iterable[KeptSolve], path: Path) -> None:
    """One row a solve.

    Raises :class:`~livecube.errors.UsageError` if pyarrow is not installed.
    """
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UsageError(
            "Parquet needs pyarrow; install it: pip install 'livecube[parquet]'"
        ) from None
    kinds = {"number": pyarrow.int64(), "solved": pyarrow.bool_(), "gap": pyarrow.bool_()}
    schema = pyarrow.schema(
        [
            (name, kinds.get(name, pyarrow.int64() if _is_whole(name) else pyarrow.string()))
            for name in COLUMNS
        ]
    )
    with pyarrow.parquet.ParquetWriter(path, schema) as writer:
        for batch in _batches(map(flat_row, solves)):
            writer.write_table(pyarrow.Table.from_pylist(batch, schema=schema))


def _is_whole(name: str) -> bool:
    return name.endswith(_WHOLE)


def _batches(rows: Iterable[dict[str, Any]]) -> Iterator[list[dict[str, Any]]]:
    batch: list[dict[str, Any]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == _BATCH:
            yield batch
            batch = []
    yield batch
