"""The screen of a group: a row for each cube, near or far, or one cube in full.

Values that rich can draw. Letters say everything; texts of far desks are clean already
(:mod:`.desks`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from rich.console import Group
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from livecube.advice.speaker import Clue, Repair, Spoken
from livecube.cube.notation import moves_text
from livecube.events import LinkChange
from livecube.practice.news import PracticeNews
from livecube.stages.progress import HelpWanted, SolveOver
from livecube.timing.averages import average
from livecube.timing.results import DNF, result_text, seconds_text, truncated
from livecube.views.happenings import clue_text
from livecube.views.kept import Beside
from livecube.views.lines import counted
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.dashboard.desks import DeskNow
    from livecube.drills.news import News
    from livecube.stages.solve import Split
    from livecube.timing.results import Result
    from livecube.views.live_screen import LiveScreen

__all__ = ["DONE", "DeskRow", "GroupScreen", "row_sentence"]

DONE: Final = "done"
"""Says of a desk that its cube has come to its end."""

_STAGES: Final = ("cross", "pair 1", "pair 2", "pair 3", "pair 4", "OLL", "PLL", "AUF")
_AVERAGE_OF: Final = 5
_NAME: Final = 12
_NOW: Final = 8
_FINE: Final = 100
"""Width from which splits have two digits."""
_HEAD: Final = 2
_FOOT: Final = 2
_MOST_KEYS: Final = 9
"""Rows that a key of one digit shows in full."""


@dataclass(frozen=True, slots=True)
class DeskRow:
    """A cube of this machine at one moment. A :class:`.Board` updates it with happenings."""

    name: str
    screen: LiveScreen
    """The cube in full."""
    results: tuple[Result, ...] = ()
    """Of the solves that are over: truncated milliseconds, or DNF."""
    linked: bool = True
    wants_help: bool = False
    over: str = ""
    """Why the cube is not followed any more, or not now."""

    def after(self, news: News) -> Self:
        """The row after news."""
        row = replace(self, screen=self.screen.after(news))
        if isinstance(news, PracticeNews):
            return row
        match news:
            case SolveOver():
                ms = truncated(round(1000 * news.solve.seconds))
                results = (*self.results, ms if news.solve.solved else DNF)
                return replace(row, results=results[-_AVERAGE_OF:])
            case LinkChange():
                return replace(row, linked=news.up)
            case HelpWanted():
                return replace(row, wants_help=news.wanted)
        return row

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the cube in full."""
        yield self.screen


@dataclass(frozen=True, slots=True)
class _Line:
    """One row as it is drawn, of any kind of desk."""

    name: str
    now: str
    time: str
    splits: tuple[float | None, ...]
    last: str
    of_5: str
    words: Text
    """What stands below it: technique and hint, or a fault."""
    wants_help: bool


@dataclass(frozen=True, slots=True)
class GroupScreen:
    """All cubes at one moment; another thread may draw it."""

    rows: tuple[DeskRow, ...] = ()
    far: tuple[DeskNow, ...] = ()
    """Desks that were heard on the broker."""
    shown: int | None = None
    """The number, from 1, of the desk that is shown in full; None: all of them."""
    notice: str = ""
    keys: bool = False
    """Whether keys can be pressed."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw all rows, or one desk."""
        if self.shown is not None and self.shown <= len(self.rows):
            row = self.rows[self.shown - 1]
            standing = row.screen.standing or self.notice or _in_full(row.name, self.keys)
            yield replace(row.screen, keys=self.keys, standing=standing)
            return
        far = None if self.shown is None else self.shown - len(self.rows) - 1
        if far is not None and far < len(self.far):
            body = Group(*_far_in_full(self.far[far], self.keys))
            yield from _cut(console.render_lines(body, options.update(height=None)), options)
            return
        yield from self._all(console, options)

    def _all(self, console: Console, options: ConsoleOptions) -> RenderResult:
        lines = [*map(_near, self.rows), *map(_far, self.far)]
        room = max(1, options.max_height - _HEAD - _FOOT)
        tall = 3 if 3 * len(lines) <= room else 2 if 2 * len(lines) <= room else 1
        fits = room // tall
        shown = lines if len(lines) <= fits else lines[: max(0, fits - 1)]
        width = options.max_width
        drawn: list[RenderableType] = [self._head(width, lines), _titles(width)]
        for number, line in enumerate(shown, 1):
            drawn.append(_row(number, line, width))
            if tall > 1:
                drawn.append(_below(line))
            drawn += [Text()] * (tall - 2)
        if len(shown) < len(lines):
            drawn.append(Text(f"and {len(lines) - len(shown)} more", "dim"))
        body = console.render_lines(Group(*drawn), options.update(height=None))
        foot = console.render_lines(self._foot(len(lines)), options.update(height=None))
        height = options.max_height
        body = body[: max(0, height - len(foot))]
        gap = [[Segment(" " * width)]] * max(0, height - len(body) - len(foot))
        yield from _cut([*body, *gap, *foot], options)

    def _head(self, width: int, lines: Sequence[_Line]) -> Text:
        asking = [line.name for line in lines if line.wants_help]
        far = f", {len(self.far)} far" if self.far else ""
        left = f"livecube group   {len(self.rows)} here{far}"
        if not asking:
            return Text(left, "dim")
        verb = "wants" if len(asking) == 1 else "want"
        right = f"{', '.join(asking)} {verb} help"
        head = Text(left, "dim")
        head.append(right.rjust(max(3 + len(right), width - len(left))), "bold")
        head.no_wrap, head.overflow = True, "ellipsis"
        return head

    def _foot(self, count: int) -> RenderableType:
        keys = "Ctrl-C ends."
        if self.keys:
            most = min(count, _MOST_KEYS)
            which = "1" if most == 1 else f"1 to {most}"
            keys = f"{which} one cube in full   q ends"
        notice = Text(self.notice, "dim", no_wrap=True, overflow="ellipsis")
        return Group(notice, Text(keys, "dim"))


def _cut(lines: Sequence[Sequence[Segment]], options: ConsoleOptions) -> RenderResult:
    for line in lines[: options.max_height]:
        yield from line
        yield Segment.line()


def _in_full(name: str, keys: bool) -> str:
    return f"{name}   0 shows all cubes" if keys else name


def row_sentence(row: DeskRow) -> str:
    """What stays on the terminal of a desk: how many solves, and the last results."""
    line = _near(row)
    told = [counted(row.screen.solves, "solve")]
    told += [f"last {line.last}"] if line.last else []
    told += [f"average of 5 {line.of_5}"] if line.of_5 else []
    return f"{row.name}: {', '.join(told)}"


# Rows.


def _near(row: DeskRow) -> _Line:
    screen = row.screen
    results = row.results
    of_5 = result_text(average(results)) if len(results) == _AVERAGE_OF else ""
    time = "" if screen.started is None else seconds_text(max(0.0, screen.t - screen.started))
    return _Line(
        row.name,
        _now(row),
        time,
        tuple(None if split.shared else split.seconds for split in screen.splits),
        result_text(results[-1]) if results else "",
        of_5,
        _words(row),
        row.wants_help,
    )


def _now(row: DeskRow) -> str:
    if row.over:
        return DONE if row.over == DONE else "away"
    if not row.linked:
        return "no link"
    done = len(row.screen.splits)
    if row.screen.started is None:
        return "at rest"
    return _STAGES[min(done, len(_STAGES) - 1)]


def _words(row: DeskRow) -> Text:
    """The technique of the last pair, and the hint; or a fault."""
    screen = row.screen
    fault = "" if row.over == DONE else row.over
    if fault or not row.linked or screen.notice:
        return Text(fault or screen.notice, "dim")
    told = Text()
    technique = _technique(screen.splits)
    if technique:
        told.append(f"{technique}   ", "dim")
    match screen.said:
        case Spoken(opportunity=hint) if screen.stands:
            into = f" into {' and '.join(hint.slots)}" if hint.slots else ""
            told.append(moves_text(hint.moves), "bold")
            told.append(f"   [{hint.holding}]   {hint.title}{into}")
        case Clue():
            told.append(clue_text(screen.said))
        case Repair(way=way):
            told.append(moves_text(way.moves), "bold")
            told.append(f"   [{way.holding}]   {way.why}")
        case _ if screen.preparing:
            told.append(screen.preparing, "dim")
    return told


def _technique(splits: Sequence[Split]) -> str:
    last = splits[-1] if splits else None
    return "" if last is None else last.technique or last.case or ""


def _far(desk: DeskNow) -> _Line:
    last = desk.last_s
    is_time = last is not None and desk.last_solved and desk.penalty != DNF
    time = "" if last is None else seconds_text(last) if is_time else DNF
    return _Line(
        desk.name,
        desk.presence,
        "",
        tuple(seconds for _, seconds in desk.stages),
        time,
        "" if desk.average_s is None else seconds_text(desk.average_s),
        Text(f"far: {desk.cube}" if desk.cube else "far", "dim"),
        desk.wants_help and desk.online is True,
    )


def _columns(width: int) -> Table:
    table = Table(box=None, show_header=False, padding=(0, 1, 0, 0), expand=True, pad_edge=False)
    table.add_column(width=2, justify="right", no_wrap=True)
    table.add_column(width=_NAME if width < _FINE else _NAME + 8, no_wrap=True, overflow="ellipsis")
    table.add_column(width=_NOW, no_wrap=True, overflow="ellipsis")
    table.add_column(width=6, justify="right", no_wrap=True)
    table.add_column(ratio=1, no_wrap=True, overflow="ellipsis")
    table.add_column(width=7, justify="right", no_wrap=True)
    table.add_column(width=7, justify="right", no_wrap=True)
    return table


def _titles(width: int) -> Table:
    table = _columns(width)
    names = ("", "desk", "now", "time", "stages, in seconds", "last", "of 5")
    table.add_row(*(Text(name, "dim") for name in names))
    return table


def _row(number: int, line: _Line, width: int) -> Table:
    table = _columns(width)
    digits = 2 if width >= _FINE else 1
    splits = " ".join("–" if one is None else f"{one:.{digits}f}" for one in line.splits)
    name = f"! {line.name}" if line.wants_help else line.name
    style = "bold" if line.wants_help else ""
    cells = (name, "HELP" if line.wants_help else line.now, line.time)
    table.add_row(
        Text(str(number)),
        *(Text(cell, style) for cell in cells),
        Text(splits),
        Text(line.last, "bold"),
        Text(line.of_5),
    )
    return table


def _below(line: _Line) -> Text:
    told = Text("   ", no_wrap=True, overflow="ellipsis")
    told.append_text(line.words)
    return told


# A far desk in full.


def _far_in_full(desk: DeskNow, keys: bool) -> list[RenderableType]:
    line = _far(desk)
    facts = Text(f"{line.now}   solves {desk.solves}\n", "bold")
    facts.append(f"last {line.last or '–'}   average of 5 {line.of_5 or '–'}\n\n")
    facts.append("\n".join(f"{name:8} {seconds_text(s):>7}" for name, s in desk.stages))
    head = f"{desk.name} wants help" if line.wants_help else desk.name
    told: list[RenderableType] = [Text(f"livecube group   {head}", "bold"), Text()]
    if desk.position is None:
        told.append(facts)
    else:
        told.append(Beside(Picture(desk.position).lines, 2, facts))
        told += [Text(), Text(f"code {desk.code}   livecube bring {desk.code} tries it", "dim")]
    return [*told, Text(), Text(_in_full(desk.name, keys), "dim")]
