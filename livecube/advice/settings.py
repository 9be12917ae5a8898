"""The table [hints] of the configuration.

It applies to all commands that follow a cube or a log with hints. An option overrides it.
"""

from __future__ import annotations

from math import inf, nan
from typing import Final

from livecube.advice.speaker import WHEN
from livecube.cube.holding import COLOURS
from livecube.entries import Entry
from livecube.errors import UsageError
from livecube.techniques.base import Level

__all__ = [
    "ANY_CROSS",
    "ASKED",
    "FOCUS_WITHIN_S",
    "HINT_ENTRIES",
    "LEVEL_NAMES",
    "parse_clues",
    "parse_crosses",
]

LEVEL_NAMES: Final = tuple(level.name.lower() for level in Level)
"""Names of the levels of advice, the calmest first."""
ANY_CROSS: Final = "any"
"""The word for all six colours."""
ASKED: Final = "asked"
"""Clues come only on request."""
FOCUS_WITHIN_S: Final = 0.3
"""Seconds that a technique of the focus may cost more than the best plan (common practice, no
published source)."""
_LONGEST_S: Final = 60.0


def parse_crosses(text: str) -> tuple[str, ...]:
    """Colours separated by blanks, each once, in the given order; ``any``: all six.

    Raises :class:`~livecube.errors.UsageError` for an unknown colour, or if there is none.
    """
    names = text.lower().split()
    if ANY_CROSS in names:
        return COLOURS
    for name in names:
        if name not in COLOURS:
            known = ", ".join((*COLOURS, ANY_CROSS))
            raise UsageError(f"{name!r} is not a cross colour; choose from {known}")
    if not names:
        raise UsageError("no cross colour is named")
    return tuple(dict.fromkeys(names))


def parse_clues(text: str) -> float | None:
    """Seconds from one clue to the next; ``asked``: :data:`math.inf`; ``off``: None.

    Raises :class:`~livecube.errors.UsageError` for anything else.
    """
    word = text.strip().lower()
    if word == "off":
        return None
    if word == ASKED:
        return inf
    try:
        seconds = float(word)
    except ValueError:
        seconds = nan  # neither more nor less than any number
    if not 0.5 <= seconds <= _LONGEST_S:
        raise UsageError(
            f"{text!r} does not say when clues come; give seconds from 0.5 to {_LONGEST_S:g}, "
            f"or {ASKED}, or off"
        )
    return seconds


HINT_ENTRIES: Final = (
    Entry(
        "level",
        "choice",
        "How much to speak of.",
        LEVEL_NAMES[0],
        choices=LEVEL_NAMES,
    ),
    Entry("focus", "text", "Techniques that you practise, with blanks between them."),
    Entry(
        "within",
        "number",
        "Seconds that a technique of the focus may cost more than the best plan.",
        FOCUS_WITHIN_S,
        most=5,
    ),
    Entry(
        "cross",
        "text",
        'Colours of your cross, with blanks between them; "any": all six.',
        COLOURS[0],
        check=parse_crosses,
    ),
    Entry("up", "choice", "Colour that you hold up, with front.", choices=COLOURS),
    Entry("front", "choice", "Colour that you hold in front, with up.", choices=COLOURS),
    Entry("when", "choice", "When hints come.", WHEN[0], choices=WHEN),
    Entry(
        "clues",
        "text",
        'Hints little by little: seconds from one clue to the next, "asked", or "off".',
        "off",
        check=parse_clues,
    ),
    Entry("voice", "flag", "Say hints aloud, too.", default=False),
    Entry("hands", "text", 'Whose hands: "right", "left", or a file of prices.'),
)
