"""The counts of how people hold the cube: those that come with livecube, or the user's own."""

from __future__ import annotations

import os
from functools import cache, lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

import platformdirs

from livecube.errors import UsageError
from livecube.holding.counts import GRIPS, counts_text, parse_counts
from livecube.holding.inference import HoldingModel

if TYPE_CHECKING:
    from livecube.holding.counts import Counts

__all__ = [
    "forget_own_counts",
    "holding_model",
    "keep_own_counts",
    "own_counts_file",
    "shipped_counts",
]

_OWN: Final = "holding.json"


def own_counts_file() -> Path:
    """In ``LIVECUBE_STATE``, or the system's folder for this user's program state."""
    named = os.environ.get("LIVECUBE_STATE")
    folder = Path(named) if named else Path(platformdirs.user_state_dir("livecube"))
    return folder / _OWN


@cache
def shipped_counts() -> tuple[Counts, ...]:
    """The counts that come with livecube: hands that plan their grip, and hands that do not."""
    folder = files("livecube.holding")
    files_by_grip = (folder / f"counts_{grip}.json" for grip in GRIPS)
    return tuple(parse_counts(file.read_text(encoding="utf-8")) for file in files_by_grip)


def holding_model() -> HoldingModel:
    """The model: of the user's own counts, if there are any.

    Raises :class:`~livecube.errors.UsageError` if the user's file makes no sense.
    """
    file = own_counts_file()
    try:
        text = file.read_text(encoding="utf-8")
    except OSError:
        return _model(None)
    try:
        return _model(text)
    except UsageError as error:
        raise UsageError(f"{file}: {error}; livecube adapt --forget removes it") from None


@lru_cache(maxsize=2)
def _model(own: str | None) -> HoldingModel:
    """The model of own counts, or of those that come with livecube; cached, since it is slow."""
    if own is None:
        return HoldingModel.of(shipped_counts())
    return HoldingModel.own(parse_counts(own))


def keep_own_counts(counts: Counts, about: str) -> Path:
    """Keep a user's own counts; returns the file.

    Raises :class:`~livecube.errors.UsageError` if it cannot be written.
    """
    file = own_counts_file()
    partial = file.with_suffix(".new")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        partial.write_text(counts_text(counts, about), encoding="utf-8")
        partial.replace(file)
    except OSError as error:
        raise UsageError(f"{file} cannot be written: {error.strerror}") from None
    return file


def forget_own_counts() -> bool:
    """Go back to the counts of livecube; returns whether there were own counts."""
    file = own_counts_file()
    try:
        file.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise UsageError(f"{file} cannot be removed: {error.strerror}") from None
    return True
