"""Advisors for tests: what takes long to load is loaded once a process."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from livecube.advice.advisor import Advisor
from livecube.composition.assembly import load_advisor
from livecube.techniques.base import Level
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.techniques.base import Technique

__all__ = ["advisor_at"]


@cache
def _loaded() -> Advisor:
    return load_advisor()


def advisor_at(level: Level = Level.CALM, techniques: Sequence[Technique] = TECHNIQUES) -> Advisor:
    """An advisor of its own for the usual hands, over tables that all share."""
    loaded = _loaded()
    return Advisor(loaded.answers.twin(), techniques, level, loaded.engine.twin())
