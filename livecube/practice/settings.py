"""The settings of practice: the table [practice] of the configuration."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.entries import Entry
from livecube.practice.gestures import BreakRule
from livecube.practice.loop import PracticeRules

if TYPE_CHECKING:
    from collections.abc import Mapping

    from livecube.entries import Value

__all__ = ["PRACTICE_ENTRIES", "rules_of"]

_RULES: Final = PracticeRules()

PRACTICE_ENTRIES: Final = (
    Entry("person", "text", "Whose solves these are, if the cube is not another person's."),
    Entry("by_hand", "flag", "Scramble as you like; no scramble is shown.", _RULES.by_hand),
    Entry("inspection", "flag", "Limit inspection, with calls and penalties.", _RULES.timed),
    Entry(
        "settle",
        "number",
        "Seconds from the last turn of a scramble to inspection.",
        _RULES.settle_s,
        most=600,
    ),
    Entry(
        "break_minutes",
        "number",
        "Remind you of a break after this many minutes without one; 0: never.",
        _RULES.breaks.minutes,
        most=600,
    ),
    Entry(
        "break_turns",
        "number",
        "Or after this many turns; 0: never.",
        _RULES.breaks.turns,
        most=1_000_000,
    ),
)


def rules_of(table: Mapping[str, Value]) -> PracticeRules:
    """The rules in a complete table [practice]."""
    return PracticeRules(
        by_hand=bool(table["by_hand"]),
        timed=bool(table["inspection"]),
        settle_s=float(table["settle"] or 0),
        breaks=BreakRule(float(table["break_minutes"] or 0), int(table["break_turns"] or 0)),
    )
