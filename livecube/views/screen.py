"""The live screen: position, stages with their splits, the hint. A value that rich can draw.

Calm and legible from some distance; letters say everything that colours say. The screen
knows no clock: it shows the cube's time as the happenings bring it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

from rich.console import Group
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from livecube.advice.speaker import Clue, Planned, Spoken, Unsaid, Withdrawn
from livecube.cube.notation import moves_text
from livecube.cube.position import SOLVED_BYTES
from livecube.holding.news import HeldNow
from livecube.practice.news import PracticeNews
from livecube.stages.progress import (
    BatteryLevel,
    CrossColour,
    HeldAs,
    LinkChanged,
    Lost,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.views.kept import Beside, Kept
from livecube.views.order import order_sentence
from livecube.views.picture import Picture
from livecube.views.text import (
    LINK_BACK,
    LINK_LOST,
    clue_text,
    note_sentence,
    twisted_sentence,
    unsaid_lines,
)

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.advice.opportunity import Opportunity
    from livecube.advice.order import Order
    from livecube.advice.speaker import Happening
    from livecube.cube.holding import Holding
    from livecube.drills.news import DrillNews
    from livecube.review.trying import TryNews
    from livecube.stages.solve import Split

__all__ = ["Board", "Screen"]

_COLUMNS: Final = ("cross", "pair", "pair", "pair", "pair", "orient", "permute", "auf")
_GAP: Final = 2
"""Columns between the picture and what is said beside it."""
_SLOTS: Final = 4
_LONG_NAME: Final = 11
"""Longer ones may not fit into a column."""
_LINES: Final = 5
"""Room that is kept for what is said, so that the lines below stay where they are."""
_LAYOUTS: Final = (
    ("head", "", "middle", "", "stages", "", "words", "room", "", "bottom"),
    ("head", "middle", "stages", "words", "bottom"),
    ("middle", "words", "bottom"),
    ("stages", "words", "bottom"),
    ("words", "bottom"),
)
"""What is drawn, the roomiest first; the first that fits is taken."""
_TITLES: Final = {"orient": "orient", "permute": "permute", "auf": "close"}


class Screen(Protocol):
    """A value that rich can draw, and that is told what happens."""

    notice: str
    """One line for whoever runs the program."""
    keys: bool
    """Whether somebody can press keys."""

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened."""
        ...

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        ...


class Board:
    """What the live screen shows; give it happenings, then draw it."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.notice = ""
        """One line for whoever runs the program: what went wrong, or is right again."""
        self.standing = ""
        """Another, shown while there is no notice: what is being prepared, how to type."""
        self._position = SOLVED_BYTES
        self._battery: int | None = None
        self._t = 0.0
        self._started: float | None = None
        self._cross: str | None = None
        self._splits: list[Split] = []
        self._result = ""
        self.keys = False
        """Whether somebody can press keys."""
        self._held: Holding | None = None
        """How the solver said the cube is held."""
        self._sure: Holding | None = None
        """The holding that was worked out, where it is sure enough."""
        self._said: Spoken | Clue | Unsaid | None = None
        """What was said last and still holds."""
        self._order: Order | None = None
        """The best order of the free slots where it was said."""
        self._settled: Turned | None = None
        """The last turn that left the cross whole."""
        self._solves = 0
        self._kept_middle, self._kept_stages = Kept(), Kept()

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened; what practice tells is shown elsewhere."""
        if isinstance(news, PracticeNews):
            return
        happening = news
        self._t = happening.t
        match happening:
            case Turned():
                self._position, self._cross = happening.position, happening.cross
                if happening.offset is not None:
                    self._settled = happening
                    if len(happening.solved_slots) == _SLOTS:
                        self._said = None
            case SolveBegun():
                self._started, self._splits, self._result = happening.started, [], ""
                self._settled = None
                if not (isinstance(self._said, Spoken) and self._said.inspection):
                    self._said = None
            case StageDone():
                self._splits = [*self._splits, happening.split][-len(_COLUMNS) :]
            case CrossColour():
                self._splits, self._cross = [], happening.cross
            case SolveOver():
                self._finish(happening)
            case Spoken() | Clue() | Unsaid():
                self._said, self._order = happening, None
            case Planned():
                self._order = happening.orders[0]
            case Withdrawn():
                self._said = None
            case HeldAs():
                self._held = happening.holding
            case HeldNow():
                self._sure = happening.holding
            case Resynced():
                self._position = happening.position
                self.notice = twisted_sentence(happening)
                self._said = self._order = self._settled = None
                if happening.position == SOLVED_BYTES:
                    self._cross = None
            case Lost():
                self.notice = "Turns were lost on the way; splits across the gap do not count."
            case BatteryLevel():
                self._battery = happening.percent
            case LinkChanged():
                self.notice = LINK_BACK if happening.up else LINK_LOST

    @property
    def words(self) -> list[Text]:
        """What is said, line by line."""
        return self._words()

    @property
    def stages(self) -> Kept:
        """The stages with their splits."""
        return self._kept_stages.showing(self._splits, self._stages)

    def _finish(self, over: SolveOver) -> None:
        solve = over.solve
        self._solves += 1
        self._started = self._said = self._settled = None
        self._splits = [split for split in solve.splits if split.end_turn is not None]
        verb = "Solved in" if solve.solved else "Not solved after"
        self._result = f"{verb} {solve.seconds:.2f} s and {solve.turns} turns"

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the whole screen, or as much as fits: what is said and the keys go last."""
        words, facts = self._words(), self._facts()
        blocks: dict[str, RenderableType] = {
            "": Text(),
            "head": self._head(options.max_width),
            "middle": self._kept_middle.showing(
                (self._position, facts), lambda: self._middle(facts)
            ),
            "stages": self.stages,
            "words": Group(*words),
            "room": Group(*[Text()] * max(0, _LINES - len(words))),
            "bottom": self._foot(),
        }
        free = options.update(height=None)
        drawn = {name: console.render_lines(block, free) for name, block in blocks.items()}
        height = options.max_height
        for layout in _LAYOUTS:
            lines = [line for name in layout for line in drawn[name]]
            if len(lines) <= height:
                break
        for line in lines[:height]:
            yield from line
            yield Segment.line()

    def _head(self, width: int) -> Text:
        battery = "" if self._battery is None else f"   battery {self._battery} %"
        left = f"livecube   {self.source}{battery}"
        right = f"solves {self._solves}"
        return Text(left + right.rjust(max(1, width - len(left))), style="dim")

    def _middle(self, facts: Text) -> Beside:
        return Beside(Picture(self._position).lines, _GAP, facts)

    def _facts(self) -> Text:
        facts = Text()
        if self._started is not None:
            facts.append(f"{max(0.0, self._t - self._started):.2f} s\n\n", "bold")
        elif self._result:
            facts.append(f"{self._result}\n\n", "bold")
        facts.append(f"{self._cross} cross" if self._cross else "no cross yet")
        for name, words in self._free_slots():
            facts.append(f"\n{name} ", "bold")
            facts.append(words)
        return facts

    def _stages(self) -> Table:
        table = Table(box=None, expand=True, padding=(0, 1), show_edge=False, pad_edge=False)
        by_column: list[Split | None] = [*self._splits] + [None] * 8
        names, seconds, how = [], [], []
        for column, split in zip(_COLUMNS, by_column, strict=False):
            table.add_column(_TITLES.get(column, column), justify="left", ratio=1)
            names.append("/\n".join(split.slots[0].split("-")) if split and split.slots else "")
            time = "" if split is None else "–" if split.shared else f"{split.seconds:.2f}"
            seconds.append(Text(time, "bold"))
            how.append(_in_a_column(split.technique or split.case or "") if split else "")
        table.add_row(*seconds)
        table.add_row(*names)
        table.add_row(*how)
        return table

    def _words(self) -> list[Text]:
        match self._said:
            case Spoken():
                lines = _hint_lines(self._said, self._order)
            case Clue():
                lines = [Text(clue_text(self._said), "bold")]
            case Unsaid():
                lines = [Text(line) for line in unsaid_lines(self._said)]
            case None:
                lines = []
        return lines

    def _foot(self) -> Group:
        notice = self.notice or self.standing
        return Group(*([Text(notice, "dim")] if notice else []), Text(self._bottom(), "dim"))

    def _bottom(self) -> str:
        """What can be done, in one quiet line."""
        if not self.keys:
            return "Ctrl-C ends."
        worked_out = f"{self._sure} (worked out)" if self._sure else ""
        held = self._held or worked_out or "cheapest front"
        return f"h holding: {held}   c the cube is solved now   q ends"

    def _free_slots(self) -> list[tuple[str, str]]:
        """The free slots of the last settled position with the state of their two pieces.

        Places are told as the hint wants the cube held, or else with some front.
        """
        if self._settled is None:
            return []
        # Imported here, since it needs the search, which takes a moment: no screen, no search.
        from livecube.views.free_slots import free_slots

        held = self._held
        if isinstance(self._said, Spoken | Clue):
            held = self._said.opportunity.holding
        return free_slots(self._settled, held)


def _in_a_column(name: str) -> str:
    """A long name that is one word, such as *keyhole-corner*, broken behind its first hyphen."""
    is_long = len(name) > _LONG_NAME and " " not in name
    return name.replace("-", "-\n", 1) if is_long else name


def _hint_lines(hint: Spoken, order: Order | None) -> list[Text]:
    """Moves first, then what they do, then other ways, then all slots to the last."""
    row = hint.opportunity
    plan = [Text(f"order  {order_sentence(order)}")] if order else []
    return [
        Text.assemble((moves_text(row.moves), "bold"), f"   [{row.holding}]"),
        Text(" ".join((row.why, *map(note_sentence, row.notes)))),
        *(Text(_other_line(other, hint)) for other in hint.also),
        *plan,
    ]


def _other_line(other: Opportunity, hint: Spoken) -> str:
    """Another way; with its name where that is another kind of beginning."""
    name = f"{other.technique}: " if hint.inspection else ""
    return f"or {name}{moves_text(other.moves)}   [{other.holding}]"
