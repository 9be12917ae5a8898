"""Log files: errors name file and line; a crash while writing costs at most one line."""

from __future__ import annotations

import os
from codecs import BOM_UTF8
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from io import BytesIO
from typing import IO, TYPE_CHECKING, BinaryIO, Final

from livecube.errors import LogError, UsageError
from livecube.logs.lines import (
    Header,
    TornLineError,
    event_line,
    header_line,
    parse_event,
    parse_header,
)

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import Self

    from livecube.events import CubeEvent

__all__ = ["LogReader", "LogWriter", "new_file", "new_place", "regular", "started_now"]

# Files that a user names: only regular ones are read; new ones are written whole or not at all.


def regular(path: Path) -> Path:
    """The path, if it can be read to its end: a regular file, not a pipe, device or folder.

    A missing file passes; opening it gives the error. Raises
    :class:`~livecube.errors.UsageError`.
    """
    if path.exists() and not path.is_file():
        raise UsageError(f"{path} is not a regular file; name a regular file")
    return path


@contextmanager
def new_place(path: Path) -> Iterator[Path]:
    """A place for making a new file; if that fails half-way, nothing is left behind.

    Raises :class:`~livecube.errors.UsageError` if the file exists, or if it cannot be
    written.
    """
    try:
        path.open("x").close()
    except FileExistsError:
        raise UsageError(f"{path} exists; choose another name or remove it") from None
    except OSError as error:
        raise UsageError(f"{path} cannot be written: {error.strerror}") from None
    try:
        yield path
    except OSError as error:
        path.unlink(missing_ok=True)
        raise UsageError(f"{path} cannot be written: {error.strerror or error}") from None
    except BaseException:
        path.unlink(missing_ok=True)
        raise


@contextmanager
def new_file(path: Path) -> Iterator[IO[str]]:
    """The same as an open file: UTF-8, line ends unchanged."""
    with new_place(path), path.open("w", encoding="utf-8", newline="") as file:
        yield file


_BEGIN: Final = b'{"livecube_log"'
"""The beginning of every log that livecube writes."""


class LogReader:
    """A log for reading: first its header, then its events, one by one.

    Use it as a context manager. ``torn`` is set if the last line is cut off in the middle;
    everything before it is still read.

    Raises :class:`~livecube.errors.LogError` with file, line and reason, on opening for the
    header and while iterating for the events.
    """

    def __init__(self, path: Path, content: bytes | None = None) -> None:
        """``content``: what the file held elsewhere; the path is only its name then."""
        self.path = path
        self.torn = False
        try:
            if content is not None:
                self._file: BinaryIO = BytesIO(content)
            else:
                self._file = self._opened()
        except OSError as error:
            raise LogError(str(path), 0, f"cannot be opened: {error.strerror}") from None
        try:
            self.header = self._read_header()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def _opened(self) -> BinaryIO:
        if self.path.exists() and not self.path.is_file():  # a pipe may never end, or never begin
            raise self._fail(0, "cannot be opened: this is not a regular file")
        return self.path.open("rb")

    def _fail(self, line: int, reason: str) -> LogError:
        return LogError(str(self.path), line, reason)

    def _read_header(self) -> Header:
        try:
            raw = self._file.readline()
        except OSError as error:
            raise self._fail(0, f"cannot be read: {error.strerror}") from None
        if not raw:
            raise self._fail(0, "the file is empty; a log begins with its header line")
        try:
            return parse_header(_decoded(raw.removeprefix(BOM_UTF8)))
        except ValueError as error:
            torn = "" if raw.endswith(b"\n") else "the header is cut off or wrong: "
            raise self._fail(1, torn + str(error)) from None

    def _lines(self) -> Iterator[bytes]:
        try:
            yield from self._file
        except OSError as error:
            raise self._fail(0, f"cannot be read on: {error.strerror}") from None

    def __iter__(self) -> Iterator[CubeEvent]:
        """The events in order."""
        last = float("-inf")
        for number, raw in enumerate(self._lines(), start=2):
            if not raw.strip():
                continue
            try:
                event = parse_event(_decoded(raw))
            except ValueError as error:
                if isinstance(error, TornLineError) and not raw.endswith(b"\n"):
                    self.torn = True
                    return
                raise self._fail(number, str(error)) from None
            if event is None:
                continue
            if event.t < last:
                raise self._fail(
                    number,
                    f"t = {event.t:g} comes after t = {last:g}; the lines are out of order",
                )
            last = event.t
            yield event


def _decoded(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise TornLineError(f"byte {error.start + 1} of this line is not UTF-8") from None


class LogWriter:
    """A log for writing, flushed after each line. Use it as a context manager.

    ``resume`` continues an existing log. A last line that a crash cut off is removed first (one
    that lacks only its line end gets it), so that only whole lines stand before the new ones.
    If nothing is left, the header is written again.

    Raises :class:`~livecube.errors.UsageError` if a new log would overwrite a file, or if it
    cannot be written; :class:`~livecube.errors.LogError` if the file to resume is not a log.
    """

    def __init__(self, path: Path, header: Header, *, resume: bool = False) -> None:
        resume = resume and path.exists()
        try:
            begun = resume and _mend(path)
            self._file = path.open("ab" if resume else "xb", buffering=0)
        except FileExistsError:
            raise UsageError(f"{path} exists; choose another name or remove it") from None
        except OSError as error:
            raise UsageError(f"{path} cannot be written: {error.strerror}") from None
        self._unwritten = bytearray()
        if not begun:
            try:
                self._write(header_line(header))
            except OSError as error:
                self._file.close()
                with suppress(OSError):
                    path.unlink()
                raise UsageError(f"{path} cannot be written: {error.strerror}") from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file with every line in it; raises ``OSError`` if a line cannot be written."""
        try:
            self._settle()
        finally:
            self._file.close()

    def write(self, event: CubeEvent) -> None:
        """Append an event; the operating system has it when this returns.

        Raises ``OSError`` if it cannot be written now, most likely because the disk is full. The
        next call writes it first.
        """
        self._write(event_line(event))

    def _write(self, line: str) -> None:
        self._unwritten += line.encode() + b"\n"
        self._settle()

    def _settle(self) -> None:
        while self._unwritten:  # a full disk may accept a part
            del self._unwritten[: self._file.write(self._unwritten)]


def _mend(path: Path) -> bool:
    """Cut a log after its last whole line; returns whether it has its header."""
    with path.open("rb+") as file:
        first = file.readline().removeprefix(BOM_UTF8)
        if first.endswith(b"\n"):
            try:
                parse_header(_decoded(first))
            except ValueError as error:
                raise LogError(str(path), 1, str(error)) from None
        elif not (first.startswith(_BEGIN) or _BEGIN.startswith(first)):
            raise LogError(str(path), 1, "this is not a livecube log; choose another name")
        end = _end_of_lines(file)
        tail = file.read()
        if tail and _is_whole(tail):
            file.write(b"\n")
            return True
        file.truncate(end)
        return end > 0


def _end_of_lines(file: BinaryIO) -> int:
    """Position after the last line end, 0 if there is none; the file is moved there."""
    at = file.seek(0, os.SEEK_END)
    while at:
        step = min(4096, at)
        file.seek(at - step)
        newline = file.read(step).rfind(b"\n")
        at -= step
        if newline >= 0:
            return file.seek(at + newline + 1)
    return file.seek(0)


def _is_whole(raw: bytes) -> bool:
    """Whether a last line lacks only its line end."""
    try:
        parse_event(_decoded(raw))
    except TornLineError:
        return False
    except ValueError:
        pass  # the line is wrong, which the reader reports
    return True


def started_now() -> str:
    """The present time, in the form of a log's ``started``."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
