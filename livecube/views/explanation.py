"""The explanation of a technique: words, a drawn example, its sequences and the plain way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.text import Text

from livecube.advice.pieces import piece_words, slot_stickers
from livecube.advice.words import place_of
from livecube.cube.code import position_code
from livecube.cube.notation import moves_text
from livecube.techniques.base import about
from livecube.techniques.registry import TECHNIQUES
from livecube.views.picture import held_picture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.examples import Example
    from livecube.techniques.base import Technique

__all__ = ["explanation_lines", "technique_lines"]

_SHOWN: Final = 3
"""At most this many sequences of the technique are shown; the others are only counted."""

_SOURCE: Final = "Its use is common practice, no published source; the example is computed."
_FOREIGN: Final = "This technique was installed beside livecube; the example is computed."

_COUNTS: Final = ("none", "one", "two")


def technique_lines(techniques: Sequence[Technique]) -> list[Text]:
    """The list of these techniques, one line each."""
    width = max(len(technique.id) for technique in techniques) + 2
    return [
        Text.assemble((f"{technique.id:<{width}}", "bold"), about(technique).summary)
        for technique in techniques
    ]


def explanation_lines(technique: Technique, example: Example | None) -> list[Text]:
    """Title, two paragraphs, and the example. The lines are not wrapped."""
    words = about(technique)
    lines = [Text(words.title, "bold"), Text()]
    for paragraph in filter(None, (words.seeing, words.paying)):
        lines += [Text(paragraph), Text()]
    lines += [Text(_SOURCE if technique in TECHNIQUES else _FOREIGN, "dim"), Text()]
    if example is None:
        return [*lines, Text("There is no example in this version.")]
    return lines + _example_lines(example)


def _example_lines(example: Example) -> list[Text]:
    situation, holding = example.situation, example.holding
    stickers = [
        sticker
        for slot in example.slots
        for piece in slot_stickers(situation, slot, holding)
        for sticker in piece
    ]
    marked = {sticker.facelet for sticker in stickers}
    return [
        Text(f"An example, held with {holding}:"),
        Text(),
        *held_picture(example.position, holding, marked),
        Text(),
        Text(
            "Unfolded: up; left, front, right, back; down. In brackets the stickers of:",
            "dim",
        ),
        *_legend(example),
        Text(),
        *_sequences(example),
        Text(),
        Text(
            f"livecube bring {position_code(example.position, holding)} brings it onto your cube."
        ),
    ]


def _legend(example: Example) -> list[Text]:
    lines = []
    for slot in example.slots:
        name = example.situation.slot_name(slot)
        corner, edge = piece_words(example.situation, slot, example.holding)
        joined = "; the two are joined" if example.situation.joined >> slot & 1 else ""
        lines += [
            Text(f"{name} ({place_of(name, example.holding)})"),
            Text(f"  corner: {corner}"),
            Text(f"  edge: {edge}{joined}"),
        ]
    return lines


def _sequences(example: Example) -> list[Text]:
    """The sequences of the technique, and the plain way below them."""
    rows = [
        (example.technique if number == 0 else "", moves_text(row.moves), row.turns, row.seconds)
        for number, row in enumerate(example.sequences[:_SHOWN])
    ]
    if not example.sequences[0].traits.is_plain:
        rows.append(_plain_row(example))
    labels = max(len(label) for label, *_ in rows)
    texts = max(len(moves) for _, moves, *_ in rows)
    lines = [
        Text.assemble(
            f"{label:<{labels}}  ",
            (f"{moves:<{texts}}", "bold"),
            f"  {turns:2d} turns, {seconds:.2f} s",
        )
        for label, moves, turns, seconds in rows
    ]
    more = len(example.sequences) - _SHOWN
    if more > 0:
        lines.insert(_SHOWN, Text(f"{'':<{labels}}  and {more} more as quick"))
    return lines


def _plain_row(example: Example) -> tuple[str, str, int, float]:
    pairs = [step for step in example.plainly if step.slot is not None]
    parts = ["cross"] if len(pairs) < len(example.plainly) else []
    parts.append("plain" if len(pairs) == 1 else f"{_COUNTS[len(pairs)]} plain pairs")
    moves = ", ".join(moves_text(step.moves) for step in example.plainly)
    turns = sum(len(step.turns_fixed) for step in example.plainly)
    return " and ".join(parts), moves, turns, sum(step.seconds for step in example.plainly)
