"""The screen of practice: one thing at a time, large. A value that rich can draw.

What matters is read from two metres: the next turns of the scramble, the seconds of inspection,
the result. Letters say everything; nothing depends on colour. The clock is a parameter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.console import Group
from rich.segment import Segment
from rich.text import Text

from livecube.cube.turns import turn_name, turns_text
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
from livecube.stages.progress import Turned
from livecube.timing.results import result_of, result_text, workings_text
from livecube.views.large import large
from livecube.views.picture import Picture
from livecube.views.practice_text import LIMITS, break_sentence, penalties_sentence
from livecube.views.screen import Board

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.advice.speaker import Happening
    from livecube.drills.news import DrillNews
    from livecube.practice.news import Tally
    from livecube.review.trying import TryNews
    from livecube.timing.results import Penalty

__all__ = ["PracticeBoard"]

_SHOWN_LARGE: Final = 4
"""So many turns of a scramble stand there large."""
_GESTURES: Final = (
    "On the solved cube, two opposite layers a quarter the same way and back:\n"
    "red and orange: next   blue and green: penalty   white and yellow: throw away"
)


class PracticeBoard:
    """What the screen shows; give it happenings and news, then draw it.

    ``now`` gives the cube's seconds, as far as can be told between its events.
    """

    def __init__(self, source: str, now: Callable[[], float]) -> None:
        self.source = source
        self.notice = ""
        """One line for whoever runs the program."""
        self.keys = False
        """Whether somebody can press keys."""
        self.now = now
        self._board = Board(source)
        self._shown: PracticeNews | None = None
        """What the middle of the screen is about."""
        self._path: tuple[int, ...] = ()
        self._since = 0.0
        """When what is counted began."""
        self._judged: Judged | None = None
        self._decided: tuple[Penalty, ...] | None = None
        self._is_away = False
        self._tally: Tally | None = None
        self._advice = ""
        self._costs: tuple[str, ...] = ()
        """What the review of the last solve says."""
        self._position: bytes | None = None
        self._number = 0

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened."""
        if not isinstance(news, PracticeNews):
            self._board.take(news)
            if isinstance(news, Turned):
                self._position = news.position
            if self._board.notice:
                self.notice, self._board.notice = self._board.notice, ""
            return
        match news:
            case ScrambleAsked():
                self._path, self._number = news.turns, news.number
                self._shown = news
            case Guided():
                self._path = news.turns
                self._shown = news
            case InspectionBegun() | SolveStarted():
                self._since = news.t
                self._shown, self._advice = news, ""
            case Judged():
                self._judged, self._decided, self._is_away = news, None, False
                self._costs = ()
                self._shown, self._tally = news, news.tally
            case Corrected():
                self._decided, self._tally = news.penalties, news.tally
            case Discarded():
                self._is_away, self._tally = news.away, news.tally
            case Abandoned():
                self.notice = f"Solve {news.number} was given up."
            case BreakAdvised():
                self._advice = break_sentence(news.due)
            case Reviewed() if self._judged is not None and news.number == self._judged.number:
                self._costs = news.sentences

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw as much as fits: what is large first, the keys last."""
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
        right = f"solve {self._number}"
        return Text(left + right.rjust(max(1, width - len(left))), style="dim")

    def _middle(self) -> list[RenderableType]:
        match self._shown:
            case ScrambleAsked() if self._shown.by_hand:
                words = "Scramble the cube as you like, then let it rest."
                return [Text(words, "bold"), Text(), *self._last_result()]
            case ScrambleAsked():
                return self._scramble(self._path)
            case Guided():
                return self._guided(self._shown)
            case InspectionBegun():
                return self._inspection(self._shown)
            case SolveStarted():
                return [_large(f"{self._passed()}"), Text(), self._board.stages, *self._said()]
            case Judged():
                return self._result(self._shown)
        return [Text("Waiting for the cube …")]

    def _passed(self) -> int:
        """Whole seconds since what is counted began."""
        return max(0, int(self.now() - self._since))

    def _said(self) -> list[RenderableType]:
        return [Text(), *self._board.words]

    # Scramble.

    def _scramble(self, left: Sequence[int], title: str = "") -> list[RenderableType]:
        done = len(self._path) - len(left)
        path = list(self._path)
        if left and done and path[done] // 3 != left[0] // 3:
            # Of two opposite turns the second was made first.
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
            _large("  ".join(turn_name(turn) for turn in left[:_SHOWN_LARGE])),
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
            Text("Not that turn. Back with:", "bold"),
            Text(),
            _large("  ".join(map(turn_name, guidance.back))),
            Text(),
            Text(f"then  {turns_text(guidance.upcoming)}"),
        ]

    def _picture(self) -> list[RenderableType]:
        return [] if self._position is None else [Picture(self._position)]

    def _last_result(self) -> list[RenderableType]:
        """The result before, while the next scramble is turned."""
        if self._judged is None:
            return []
        costs = [Text(sentence, "dim") for sentence in self._costs[:1]]
        return [Text(f"before  {self._workings()}", "dim"), *self._averages(), *costs]

    # Inspection and result.

    def _inspection(self, begun: InspectionBegun) -> list[RenderableType]:
        if not begun.timed:
            return [_large("GO"), Text(), Text("The first turn starts the time."), *self._said()]
        passed = self._passed()
        limit = next((LIMITS[at] for at in sorted(LIMITS, reverse=True) if passed >= at), "")
        words = f"seconds of inspection; {limit or 'the first turn starts the time'}."
        return [_large(f"{passed}"), Text(), Text(words), *self._said()]

    def _result(self, judged: Judged) -> list[RenderableType]:
        counts = judged.penalties if self._decided is None else self._decided
        shown = result_text(result_of(judged.ms, counts))
        away = [Text("thrown away", "bold")] if self._is_away else []
        return [
            _large(shown),
            Text(),
            Text(self._workings()),
            *away,
            *self._averages(),
            Text(),
            self._board.stages,
            *self._review(),
            *self._said(),
        ]

    def _review(self) -> list[RenderableType]:
        if not self._costs:
            return []
        return [Text(), Text("What mattered most:"), *map(Text, self._costs)]

    def _workings(self) -> str:
        judged = self._judged
        assert judged is not None
        counts = judged.penalties if self._decided is None else self._decided
        text = workings_text(judged.ms, counts)
        if self._decided is not None:
            return f"{text}   measured {workings_text(judged.ms, judged.penalties)}"
        why = penalties_sentence(judged.penalties)
        return f"{text}   {why}" if why else text

    def _averages(self) -> list[RenderableType]:
        if self._tally is None:
            return []
        best = [] if self._tally.best is None else [("best", self._tally.best)]
        shown = [f"{name} {result_text(result)}" for name, result in self._tally.averages]
        shown += [f"{name} {result_text(result)}" for name, result in best]
        return [Text("   ".join(shown))]

    # What can be done.

    def _foot(self) -> Group:
        lines = [Text(self._advice, "bold")] if self._advice else []
        lines += [Text(self.notice, "dim")] if self.notice else []
        if isinstance(self._shown, Judged):
            lines.append(Text(_GESTURES, "dim"))
        return Group(*lines, Text(self._bottom(), "dim"))

    def _bottom(self) -> str:
        if not self.keys:
            return "Ctrl-C ends."
        match self._shown:
            case SolveStarted():
                does = "space stops the time   w gives up"
            case InspectionBegun():
                does = "w gives up"
            case Judged():
                does = "space next   p penalty   w throws away"
            case _:
                does = "space inspects now   n another scramble   c the cube is solved now"
        return f"{does}   q ends"


def _large(text: str) -> Text:
    return Text("\n".join(large(text)), "bold", no_wrap=True, overflow="crop")
