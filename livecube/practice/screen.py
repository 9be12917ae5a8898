"""The screen of practice: one thing at a time, large. A value that rich can draw.

The next turns of the scramble, the seconds of inspection and the result can be read from two
metres. Letters say everything; nothing depends on colour. The clock is a parameter.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from rich.console import Group
from rich.segment import Segment
from rich.text import Text

from livecube.cube.position import turn_name, turns_text
from livecube.practice.news import (
    Abandoned,
    BreakAdvised,
    Corrected,
    Discarded,
    Guided,
    InspectionBegun,
    Judged,
    PracticeNews,
    Reviewed,
    ScrambleAsked,
    SolveStarted,
)
from livecube.practice.text import LIMITS, break_sentence
from livecube.review.again_screen import LargeText
from livecube.stages.progress import Turned
from livecube.timing.results import penalties_sentence, result_of, result_text, workings_text
from livecube.views.live_screen import LiveScreen
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.drills.news import News
    from livecube.practice.news import Tally
    from livecube.timing.results import Penalty

__all__ = ["PracticeScreen"]

_SHOWN_LARGE: Final = 4
"""Turns of a scramble that are shown large."""
_GESTURES: Final = (
    "On the solved cube, two opposite layers a quarter the same way and back:\n"
    "red and orange: next   blue and green: penalty   white and yellow: throw away"
)


@dataclass(frozen=True, slots=True)
class PracticeScreen:
    """The screen at one moment. A :class:`.Board` updates it with happenings and news."""

    source: str
    now: Callable[[], float]
    """The cube's time in seconds, estimated between its events; callable from any thread."""
    notice: str = ""
    """One line for the user."""
    offer: str = ""
    """The offer of a coach, with its keys; shown above the notice."""
    keys: bool = False
    """Whether keys can be pressed."""
    preparing: str = ""
    """What the screen waits for, shown in place of the hint."""
    cube: LiveScreen = field(default_factory=lambda: LiveScreen(""))
    """The live screen of the cube, for its stages and hints."""
    shown: PracticeNews | None = None
    """The news that the middle of the screen shows."""
    path: tuple[int, ...] = ()
    since: float = 0.0
    """When the shown phase (inspection or solve) began."""
    judged: Judged | None = None
    decided: tuple[Penalty, ...] | None = None
    is_away: bool = False
    tally: Tally | None = None
    advice: str = ""
    costs: tuple[str, ...] = ()
    """Sentences from the review of the last solve."""
    position: bytes | None = None
    number: int = 0

    def after(self, news: News) -> Self:
        """The screen after ``news``."""
        if not isinstance(news, PracticeNews):
            cube = self.cube.after(news)
            return replace(
                self,
                cube=replace(cube, notice=""),
                notice=cube.notice or self.notice,
                position=news.position if isinstance(news, Turned) else self.position,
            )
        return replace(self, **self._changes(news))

    def _changes(self, news: PracticeNews) -> dict[str, Any]:
        """The fields that the news changes."""
        match news:
            case ScrambleAsked():
                return {"path": news.turns, "number": news.number, "shown": news}
            case Guided():
                return {"path": news.turns, "shown": news}
            case InspectionBegun() | SolveStarted():
                return {"since": news.t, "shown": news, "advice": ""}
            case Judged():
                result = {"judged": news, "decided": None, "is_away": False, "costs": ()}
                return {**result, "shown": news, "tally": news.tally}
            case Corrected():
                return {"decided": news.penalties, "tally": news.tally}
            case Discarded():
                return {"is_away": news.away, "tally": news.tally}
            case Abandoned():
                return {"notice": f"Solve {news.number} was given up."}
            case BreakAdvised():
                return {"advice": break_sentence(news.due)}
            case Reviewed() if self.judged is not None and news.number == self.judged.number:
                return {"costs": news.sentences}
        return {}

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw as much as fits; the keys at the bottom always stay."""
        free = options.update(height=None)
        foot = console.render_lines(self._foot(), free)
        body = console.render_lines(
            Group(self._head(options.max_width), Text(), *self._middle()), free
        )
        height = options.max_height
        room = max(0, height - len(foot))
        body = body[:room]
        gap = [[Segment(" " * options.max_width)]] * max(0, room - len(body))
        for line in [*body, *gap, *foot][:height]:
            yield from line
            yield Segment.line()

    def _head(self, width: int) -> Text:
        left = f"livecube practice   {self.source}"
        right = f"solve {self.number}"
        return Text(left + right.rjust(max(1, width - len(left))), style="dim")

    def _middle(self) -> list[RenderableType]:
        match self.shown:
            case ScrambleAsked() if self.shown.by_hand:
                words = "Scramble the cube as you like, then let it rest."
                return [Text(words, "bold"), Text(), *self._last_result()]
            case ScrambleAsked():
                return self._scramble(self.path)
            case Guided():
                return self._guided(self.shown)
            case InspectionBegun():
                return self._inspection(self.shown)
            case SolveStarted():
                return [LargeText(f"{self._passed()}"), Text(), self.cube.stages, *self._said()]
            case Judged():
                return self._result(self.shown)
        return [Text("Waiting for the cube …")]

    def _passed(self) -> int:
        """Whole seconds since the shown phase began."""
        return max(0, int(self.now() - self.since))

    def _said(self) -> list[RenderableType]:
        waiting = [Text(self.preparing, "dim")] if self.preparing else []
        return [Text(), *(self.cube.words or waiting)]

    # Scramble.

    def _scramble(self, left: Sequence[int], title: str = "") -> list[RenderableType]:
        done = len(self.path) - len(left)
        path = list(self.path)
        if left and done and path[done] // 3 != left[0] // 3:
            # The solver made the second of two opposite turns first.
            path[done - 1], path[done] = path[done], path[done - 1]
        line = Text()
        for at, turn in enumerate(path):
            name = turn_name(turn)
            shown = f"[{name}]" if at == done else f" {name} "
            line.append(shown, "bold" if at == done else "dim" if at < done else "")
        heading = title or f"Scramble, white up, green in front: {len(left)} turns to go"
        return [
            Text(heading),
            Text(),
            LargeText("  ".join(turn_name(turn) for turn in left[:_SHOWN_LARGE])),
            Text(),
            line,
            Text(),
            *self._last_result(),
        ]

    def _guided(self, guided: Guided) -> list[RenderableType]:
        guidance = guided.guidance
        if guidance.reached:
            return [
                Text("Scrambled. Compare if you like; inspection begins in a moment."),
                Text(),
                *self._picture(),
            ]
        if guidance.on_path:
            return self._scramble(guidance.upcoming)
        return [
            Text("Wrong turn. Undo it with:", "bold"),
            Text(),
            LargeText("  ".join(map(turn_name, guidance.back))),
            Text(),
            Text(f"then  {turns_text(guidance.upcoming)}"),
        ]

    def _picture(self) -> list[RenderableType]:
        return [] if self.position is None else [Picture(self.position)]

    def _last_result(self) -> list[RenderableType]:
        """The previous result, shown while the next scramble is turned."""
        if self.judged is None:
            return []
        costs = [Text(sentence, "dim") for sentence in self.costs[:1]]
        return [Text(f"before  {self._workings()}", "dim"), *self._averages(), *costs]

    # Inspection and result.

    def _inspection(self, begun: InspectionBegun) -> list[RenderableType]:
        if not begun.timed:
            return [LargeText("GO"), Text(), Text("The first turn starts the time."), *self._said()]
        passed = self._passed()
        limit = next((LIMITS[at] for at in sorted(LIMITS, reverse=True) if passed >= at), "")
        words = f"seconds of inspection; {limit or 'the first turn starts the time'}."
        return [LargeText(f"{passed}"), Text(), Text(words), *self._said()]

    def _result(self, judged: Judged) -> list[RenderableType]:
        counts = judged.penalties if self.decided is None else self.decided
        shown = result_text(result_of(judged.ms, counts))
        away = [Text("thrown away", "bold")] if self.is_away else []
        return [
            LargeText(shown),
            Text(),
            Text(self._workings()),
            *away,
            *self._averages(),
            Text(),
            self.cube.stages,
            *self._review(),
            *self._said(),
        ]

    def _review(self) -> list[RenderableType]:
        if not self.costs:
            return []
        return [Text(), Text("What mattered most:"), *map(Text, self.costs)]

    def _workings(self) -> str:
        judged = self.judged
        assert judged is not None
        counts = judged.penalties if self.decided is None else self.decided
        text = workings_text(judged.ms, counts)
        if self.decided is not None:
            return f"{text}   measured {workings_text(judged.ms, judged.penalties)}"
        why = penalties_sentence(judged.penalties)
        return f"{text}   {why}" if why else text

    def _averages(self) -> list[RenderableType]:
        if self.tally is None:
            return []
        best = [] if self.tally.best is None else [("best", self.tally.best)]
        shown = [f"{name} {result_text(result)}" for name, result in self.tally.averages]
        shown += [f"{name} {result_text(result)}" for name, result in best]
        return [Text("   ".join(shown))]

    # Keys.

    def _foot(self) -> Group:
        lines = [Text(self.advice, "bold")] if self.advice else []
        if self.offer:
            lines.append(Text(self.offer, "bold", no_wrap=True, overflow="ellipsis"))
        lines += [Text(self.notice, "dim")] if self.notice else []
        if isinstance(self.shown, Judged):
            lines.append(Text(_GESTURES, "dim"))
        return Group(*lines, Text(self._bottom(), "dim"))

    def _bottom(self) -> str:
        if not self.keys:
            return "Ctrl-C ends."
        match self.shown:
            case SolveStarted():
                does = "space stops the time   w gives up"
            case InspectionBegun():
                does = "w gives up"
            case Judged():
                does = "space next   p penalty   w throws away"
            case _:
                does = "space inspects now   n another scramble   c the cube is solved now"
        return f"{does}   q ends"
