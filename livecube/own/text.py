"""One's own hands and eyes in words, as plain lines and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from livecube.views.lines import counted, folded, table_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.own.figures import CaseTime, Measured, OwnFigures

__all__ = [
    "DEAREST",
    "EACH_MOVE",
    "compared_json",
    "compared_lines",
    "own_json",
    "own_lines",
    "price_rows",
    "tempo_sentence",
    "used_sentence",
]

_LONGEST: Final = 8


def used_sentence(name: str, own: OwnFigures) -> str:
    """Whether own prices are used, and why."""
    whose = f"{name}'s" if name else "your"
    told = [f"Learned from {counted(own.solves, 'solve')}."]
    for what, verdict in (("moves", own.moves_verdict), ("looks", own.looks_verdict)):
        if not verdict.predicted:
            told.append(f"Nothing of {whose} {what} is known yet.")
            continue
        errors = (
            f"they are {verdict.own_ms / verdict.predicted:.0f} ms off, the usual ones "
            f"{verdict.usual_ms / verdict.predicted:.0f} ms"
        )
        is_used = "are used" if verdict.keeps else "are not used yet"
        told.append(
            f"Own prices of {what} {is_used}: for a pair that they were not learned from {errors}."
        )
    return " ".join(told)


EACH_MOVE: Final = "Each move, after whatever came before it"
DEAREST: Final = "Dearer than the usual prices in your tempo"


def tempo_sentence(own: OwnFigures) -> str:
    """The tempo, and the left hand against the right."""
    told = f"Tempo: {own.tempo:.2f} of the usual seconds."
    if own.left is None:
        return told
    slower = "left" if own.left > 0 else "right"
    return (
        f"{told} The {slower} hand is {100 * abs(own.left):.0f} % slower than the other, against "
        "the usual prices."
    )


def own_lines(name: str, own: OwnFigures, width: int | None = None) -> list[str]:
    """Everything about a person's hands and eyes."""
    whose = f"{name}: " if name else ""
    lines = folded([whose + used_sentence(name, own)], width)
    lines += ["", *folded([tempo_sentence(own)], width)]
    for head, what, those in (
        (EACH_MOVE, "move", own.moves),
        (DEAREST, "moves", own.dearest),
        ("Looking before a pair", "look", own.looks),
    ):
        if those:
            lines += ["", f"{head}:", *table_lines(price_rows(what, those), width, (2, 1, 3))]
    if own.cases:
        lines += ["", "Cases that take longest to see:", *_cases(own.cases, width)]
    return lines


def _times(one: Measured) -> str:
    return counted(one.times, "time") if one.times else "usual"


def price_rows(what: str, those: Sequence[Measured]) -> list[tuple[str, ...]]:
    """Rows of a table of prices, the headings first; ``what``: the first heading."""
    rows: list[tuple[str, ...]] = [(what, "ms", "usual", "measured")]
    rows += [(one.name, f"{one.ms:.0f}", f"{one.usual_ms:.0f}", _times(one)) for one in those]
    return rows


def _cases(cases: Sequence[CaseTime], width: int | None) -> list[str]:
    rows = [("case", "ms", "seen")]
    rows += [(one.name, f"{one.ms:.0f}", counted(one.times, "time")) for one in cases[:_LONGEST]]
    return table_lines(rows, width, (2, 1), words=True, left=(0,))


def compared_lines(
    names: tuple[str, str], both: tuple[OwnFigures, OwnFigures], width: int | None = None
) -> list[str]:
    """Two people's hands and eyes beside each other."""
    rows: list[tuple[str, ...]] = [("", *names, "usual")]
    rows.append(("solves", *(str(one.solves) for one in both), ""))
    rows.append(("tempo", *(f"{one.tempo:.2f}" for one in both), "1.00"))
    left = ("" if one.left is None else f"{100 * one.left:+.0f} %" for one in both)
    rows.append(("left hand slower", *left, ""))
    for what in ("moves", "looks"):
        first, second = ({m.name: m for m in getattr(one, what)} for one in both)
        rows += [
            (name, _known(its), _known(second[name]), f"{its.usual_ms:.0f}")
            for name, its in first.items()
            if name in second
        ]
    note = "Milliseconds; a figure in brackets follows from what is alike, it was not measured."
    return [*table_lines(rows, width, (3, 2, 1)), "", *folded([note], width)]


def _known(one: Measured) -> str:
    return f"{one.ms:.0f}" if one.times else f"({one.ms:.0f})"


def own_json(name: str | None, own: OwnFigures) -> dict[str, Any]:
    """The same as a JSON object; keys are stable."""
    return {
        "person": name,
        "solves": own.solves,
        "moves_used": own.moves_verdict.keeps,
        "looks_used": own.looks_verdict.keeps,
        "tempo": round(own.tempo, 4),
        "left": None if own.left is None else round(own.left, 4),
        "moves": [_json(one) for one in own.moves],
        "dearest": [_json(one) for one in own.dearest],
        "looks": [_json(one) for one in own.looks],
        "cases": [
            {"case": one.name, "seconds": round(one.ms / 1000, 3), "times": one.times}
            for one in own.cases
        ],
    }


def _json(one: Measured) -> dict[str, Any]:
    return {
        "name": one.name,
        "seconds": round(one.ms / 1000, 3),
        "usual": round(one.usual_ms / 1000, 3),
        "times": one.times,
    }


def compared_json(names: tuple[str, str], both: tuple[OwnFigures, OwnFigures]) -> dict[str, Any]:
    """Two people as one JSON object."""
    return {"people": [own_json(name, one) for name, one in zip(names, both, strict=True)]}
