"""The lessons that ship, and lessons in files."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from livecube.edges.log_files import regular
from livecube.errors import LessonError, UsageError
from livecube.lessons.reading import NAME, parse_lesson

if TYPE_CHECKING:
    from collections.abc import Collection

    from livecube.lessons.lesson import Lesson

__all__ = [
    "SHIPPED",
    "read_lesson",
    "read_text",
    "shipped_lesson",
    "shipped_text",
    "shipped_texts",
]

SHIPPED: Final = (
    "free-slot-cross",
    "keyhole-corners",
    "keyhole-edges",
    "flipped-edges",
    "corner-up",
    "quiet-layer",
    "keyhole-x-cross",
    "pseudo-pairs",
)
"""The names of the lessons that ship, in the order in which they build on one another."""


def shipped_lesson(name: str, techniques: Collection[str]) -> Lesson:
    """One of the lessons that ship."""
    return parse_lesson(shipped_text(name), f"{name}.md", techniques)


def shipped_text(name: str) -> str:
    """The text of one of the lessons that ship."""
    return files("livecube.lessons").joinpath("texts", f"{name}.md").read_text("utf-8")


def shipped_texts() -> dict[str, str]:
    """The texts of all lessons that ship, by name."""
    return {name: shipped_text(name) for name in SHIPPED}


def read_lesson(named: str, techniques: Collection[str]) -> tuple[Lesson, str]:
    """A lesson by its name or its file, and what it is called in messages.

    Raises :class:`~livecube.errors.LessonError` if the file is no lesson, and
    :class:`~livecube.errors.UsageError` if there is neither.
    """
    if named in SHIPPED:
        return shipped_lesson(named, techniques), f"{named}.md"
    path = Path(named)
    if not path.exists() and NAME.fullmatch(named):
        raise UsageError(
            f"no lesson and no file is called {named!r}; the lessons: {', '.join(SHIPPED)}"
        )
    return parse_lesson(read_text(named), named, techniques), named


def read_text(named: str) -> str:
    """The text of a file: a lesson, or a task.

    Raises :class:`~livecube.errors.LessonError` if it cannot be read.
    """
    try:
        return regular(Path(named)).read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise LessonError(named, 0, f"byte {error.start + 1} is not UTF-8") from None
    except OSError as error:
        raise LessonError(named, 0, f"cannot be read: {error.strerror}") from None
