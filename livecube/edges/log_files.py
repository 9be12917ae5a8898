"""Log files: read with file and line in every error, written so that a crash costs one line."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, BinaryIO

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
    from types import TracebackType
    from typing import Self

    from livecube.events import CubeEvent

__all__ = ["LogReader", "LogWriter"]


class LogReader:
    """A log that is being read: first its header, then its events, one by one.

    Use it as a context manager. ``torn`` is set when the last line turned out to be cut off
    in the middle; everything before it counts.

    Raises :class:`~livecube.errors.LogError` with file, line and reason, on opening for the
    header and while iterating for the events.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.torn = False
        try:
            self._file: BinaryIO = path.open("rb")
        except OSError as error:
            raise LogError(str(path), 0, f"cannot be opened: {error.strerror}") from None
        try:
            self.header = self._read_header()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

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
            return parse_header(_decoded(raw))
        except ValueError as error:
            torn = "" if raw.endswith(b"\n") else "the header is cut off or wrong: "
            raise self._fail(1, torn + str(error)) from None

    def __iter__(self) -> Iterator[CubeEvent]:
        """The events in order."""
        last = float("-inf")
        for number, raw in enumerate(self._file, start=2):
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
    """A log that is being written, flushed a line at a time. Use it as a context manager.

    ``resume`` goes on with a log that exists: a last line that a crash cut off is removed
    first, so that nothing but whole lines stands before what is added.

    Raises :class:`~livecube.errors.UsageError` if a new log would overwrite a file.
    """

    def __init__(self, path: Path, header: Header, *, resume: bool = False) -> None:
        if resume and path.exists():
            _drop_torn_line(path)
            self._file = path.open("ab")
            return
        try:
            self._file = path.open("xb")
        except FileExistsError:
            raise UsageError(f"{path} exists; choose another name or remove it") from None
        except OSError as error:
            raise UsageError(f"{path} cannot be written: {error.strerror}") from None
        self._write(header_line(header))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._file.close()

    def write(self, event: CubeEvent) -> None:
        """Append an event; it is with the operating system when this returns."""
        self._write(event_line(event))

    def _write(self, line: str) -> None:
        self._file.write(line.encode() + b"\n")
        self._file.flush()


def _drop_torn_line(path: Path) -> None:
    """Cut the file behind its last line end."""
    with path.open("rb+") as file:
        size = file.seek(0, os.SEEK_END)
        keep = size
        while keep:
            step = min(4096, keep)
            file.seek(keep - step)
            newline = file.read(step).rfind(b"\n")
            if newline >= 0:
                keep = keep - step + newline + 1
                break
            keep -= step
        if keep < size:
            file.truncate(keep)
