"""Whether a decoder's reports over a bad radio agree with the turns that were made."""

from __future__ import annotations

from itertools import chain, pairwise
from typing import TYPE_CHECKING, TypeAlias

from livecube.cube.position import turns_text
from livecube.events import GapReport, TurnReport

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.events import Report

__all__ = ["Lines", "lines_of", "why_untrue"]

Lines: TypeAlias = "list[list[int] | GapReport]"
"""Reported turns in a row, and the gaps between them."""


def lines_of(reports: Iterable[Report]) -> Lines:
    """The turns and gaps among reports."""
    lines: Lines = [[]]
    for report in reports:
        if isinstance(report, GapReport):
            lines += [report, []]
        elif isinstance(report, TurnReport) and isinstance(lines[-1], list):
            lines[-1].append(report.turn)
    return lines


def why_untrue(lines: Lines, made: Sequence[int]) -> str | None:
    """Why these reports contradict the turns ``made``; None: they agree.

    A gap stands for as many turns as it says. The turns between gaps must be those that were made,
    in order, from the first one on. The reports may end before the last turn.
    """
    ends = {0}  # possible numbers of turns reported or lost so far
    for line in lines:
        if isinstance(line, GapReport):
            behind = set(chain.from_iterable(_behind(line, end, made) for end in ends))
            why = f"a gap of {line.lost}"
        else:
            behind = {end + len(line) for end in ends if made[end : end + len(line)] == line}
            why = turns_text(line)
        if not behind:
            return f"{why} is told behind {turns_text(made[: min(ends)][-20:]) or 'nothing'}"
        ends = behind
    return None


def _behind(gap: GapReport, end: int, made: Sequence[int]) -> Iterable[int]:
    """Where the turns may go on after a gap; two equal quarters may count as one half turn."""
    if gap.lost is None:
        return range(end, len(made) + 1)
    longest = range(end + gap.lost, min(len(made), end + 2 * gap.lost) + 1)
    return [at for at in longest if at - end - _pairs(made[end:at]) <= gap.lost]


def _pairs(turns: Sequence[int]) -> int:
    return sum(one == two for one, two in pairwise(turns))
