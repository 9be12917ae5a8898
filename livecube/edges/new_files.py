"""Files that a user names: read if they are regular; new ones written whole or not at all."""

from __future__ import annotations

from contextlib import contextmanager
from typing import IO, TYPE_CHECKING

from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

__all__ = ["new_file", "new_place", "regular"]


def regular(path: Path) -> Path:
    """The path, if what is there can be read to its end: no pipe, device or folder.

    What is not there at all is for whoever opens it. Raises
    :class:`~livecube.errors.UsageError`.
    """
    if path.exists() and not path.is_file():
        raise UsageError(f"{path} is no regular file; name one")
    return path


@contextmanager
def new_place(path: Path) -> Iterator[Path]:
    """Where something may make a new file; if that fails half-way, nothing is left behind.

    Raises :class:`~livecube.errors.UsageError` if there is one already, or if it cannot be
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
    """The same as an open file: UTF-8, line ends as they are given."""
    with new_place(path), path.open("w", encoding="utf-8", newline="") as file:
        yield file
