"""The exceptions that livecube raises on purpose.

Exceptions are for a caller's or a user's mistake; bad bytes from a cube are data
(:class:`livecube.events.BadPacket`), not exceptions. ::

    LivecubeError
    ├── NotationError      a sequence of moves cannot be read (column, reason)
    ├── PositionError      facelets or pieces that no cube can show (which check fails)
    ├── LogError           a log cannot be read (file, line, reason)
    ├── ProfileError       a profile cannot be read (file, line, reason)
    ├── LessonError        a lesson or a task cannot be read (file, line, reason)
    ├── RadioError         a cube cannot be found, connected or kept (trouble)
    ├── BrokerError        a broker cannot be reached, or refuses livecube (trouble)
    ├── DrawingError       the screen cannot be drawn: a bug in livecube (exit status 1)
    ├── KeepingError       a file cannot be written now (disk, rights, a lock)
    └── UsageError         a command or call asks for something that makes no sense

Each message says what was wrong, where, and what to do.
"""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

__all__ = [
    "RADIO_TROUBLES",
    "BrokerError",
    "BrokerTrouble",
    "DrawingError",
    "KeepingError",
    "LessonError",
    "LivecubeError",
    "LogError",
    "NotationError",
    "PositionError",
    "ProfileError",
    "RadioError",
    "RadioTrouble",
    "UsageError",
]

RadioTrouble: TypeAlias = Literal[
    "no adapter",
    "no service",
    "switched off",
    "no permission",
    "not found",
    "no answer",
    "held",
    "unclaimed",
    "refused",
    "other",
]
RADIO_TROUBLES: tuple[RadioTrouble, ...] = get_args(RadioTrouble)
"""Causes of a radio error; *refused*: the cube lacks a characteristic of its decoder."""

BrokerTrouble: TypeAlias = Literal[
    "name not found",
    "refused",
    "no answer",
    "closed",
    "lost",
    "certificate",
    "no tls",
    "bad password",
    "not allowed",
    "protocol",
    "other",
]
"""Causes of a broker error; *not allowed*: it accepts the login, but not this action."""


class LivecubeError(Exception):
    """Base of all errors that livecube raises on purpose."""


class NotationError(LivecubeError):
    """A sequence of moves cannot be read.

    ``column`` counts characters of the given text from 1; ``reason`` is the sentence
    without the place.
    """

    def __init__(self, text: str, column: int, reason: str) -> None:
        super().__init__(f"column {column}: {reason}")
        self.text = text
        self.column = column
        self.reason = reason


class PositionError(LivecubeError):
    """Facelets or pieces that no assembled cube can show.

    ``law`` names the failed check: ``length``, ``letter``, ``centre``, ``colour count``,
    ``piece``, ``twisted corner``, ``flipped edge`` or ``swapped pieces``.
    """

    def __init__(self, law: str, message: str) -> None:
        super().__init__(message)
        self.law = law


class LogError(LivecubeError):
    """A log cannot be read. ``line`` counts from 1; 0 means the file as a whole."""

    def __init__(self, file: str, line: int, reason: str) -> None:
        super().__init__(f"{file}, line {line}: {reason}" if line else f"{file}: {reason}")
        self.file = file
        self.line = line
        self.reason = reason


class RadioError(LivecubeError):
    """A cube cannot be found, connected or kept; ``trouble`` names the kind of cause."""

    def __init__(self, trouble: RadioTrouble, message: str) -> None:
        super().__init__(message)
        self.trouble = trouble


class BrokerError(LivecubeError):
    """A broker cannot be reached, or refuses livecube; ``trouble`` names the kind of cause."""

    def __init__(self, trouble: BrokerTrouble, message: str) -> None:
        super().__init__(message)
        self.trouble = trouble


class ProfileError(LivecubeError):
    """A profile cannot be read. ``line`` counts from 1; 0 means the file as a whole."""

    def __init__(self, file: str, line: int, reason: str) -> None:
        super().__init__(f"{file}, line {line}: {reason}" if line else f"{file}: {reason}")
        self.file = file
        self.line = line
        self.reason = reason


class LessonError(LivecubeError):
    """A lesson or task cannot be read. ``line`` counts from 1; 0 means the file as a whole."""

    def __init__(self, file: str, line: int, reason: str) -> None:
        super().__init__(f"{file}, line {line}: {reason}" if line else f"{file}: {reason}")
        self.file = file
        self.line = line
        self.reason = reason


class DrawingError(LivecubeError):
    """The screen cannot be drawn: a bug in livecube, not a mistake of the user."""


class KeepingError(LivecubeError):
    """A file or the history cannot be written now; a later try may succeed."""


class UsageError(LivecubeError):
    """A command or call asks for something that makes no sense."""
