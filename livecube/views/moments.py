"""When something was, as people here say it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import tzinfo

__all__ = ["day_and_time"]


def day_and_time(moment: str, zone: tzinfo | None = None) -> str:
    """Day and time in a zone, ``2026-03-01 19:20``; empty if the moment is.

    ``moment`` is ISO 8601 with its zone. ``zone``: None is that of this system.
    """
    if not moment:
        return ""
    try:
        return datetime.fromisoformat(moment).astimezone(zone).strftime("%Y-%m-%d %H:%M")
    except (ValueError, OverflowError):  # the very first or last day that there is
        return moment
