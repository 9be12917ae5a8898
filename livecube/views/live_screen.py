"""The live screen: position, stages with their splits, the hint. A value that rich can draw.

It is calm and legible from some distance; letters say everything that colours say. The screen
has no clock: it shows the cube's time at the last happening.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final

from rich.console import Group
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from livecube.advice.speaker import (
    Adjusted,
    Clue,
    Planned,
    Repair,
    Spoken,
    Taken,
    Unsaid,
    Withdrawn,
)
from livecube.cube.holding import SCRAMBLE_HOLDING
from livecube.cube.notation import moves_text
from livecube.cube.position import SOLVED_BYTES
from livecube.events import Battery, Gap, HeldAs, LinkChange
from livecube.practice.news import PracticeNews
from livecube.stages.progress import (
    CrossColour,
    HeldNow,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.techniques.base import within
from livecube.timing.results import seconds_text
from livecube.views.happenings import (
    LINK_BACK,
    LINK_LOST,
    SHORT_TITLES,
    clue_text,
    note_sentence,
    twisted_sentence,
    unsaid_lines,
)
from livecube.views.kept import Beside, Kept
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.advice.plan import Plan
    from livecube.advice.rows import Opportunity
    from livecube.advice.speaker import Happening
    from livecube.cube.holding import Holding
    from livecube.drills.news import DrillNews, News
    from livecube.lessons.news import LessonNews
    from livecube.review.trying import TryNews
    from livecube.stages.solve import Split

__all__ = ["HEIGHT", "PREPARING", "LiveScreen", "large", "plan_line", "plan_lines", "plan_sentence"]

# A plan as lines of text: the order of the slots, and the seconds.


def plan_sentence(plan: Plan) -> str:
    """One plan: *green-red, then blue-orange (keyhole corner) through blue-red, …*."""
    steps = []
    for step in plan.steps:
        how = "" if step.traits.is_plain else f" ({within(step.title)})"
        through = "" if step.door is None else f" through {step.door}"
        along = f" with {' and '.join(step.also)}" if step.also else ""
        steps.append(" and ".join(step.slots) + how + through + along)
    looking = f" + {plan.looking:.2f} s looking" if plan.looking else ""
    return f"{', then '.join(steps)}: {plan.seconds:.2f} s{looking}, {plan.turns} turns"


def plan_line(plan: Plan) -> str:
    """The steps after the first pair, short enough for one line of 80 columns."""
    slots = [" and ".join(step.slots) for step in plan.steps[1:]]
    return f"then {', '.join(slots)}: {plan.total:.1f} s in all"


def plan_lines(plans: Sequence[Plan]) -> list[str]:
    """The best plan, and for each first pair the seconds of the best plan that begins with it.

    Empty for fewer than two slots: there is nothing to choose.
    """
    if not plans or len(plans[0].slots) < 2:
        return []
    lines = [f"plan         {plan_sentence(plans[0])}"]
    costs = [f"{' and '.join(plan.steps[0].slots)} {plan.total:.2f} s" for plan in plans]
    return [*lines, f"first pair   {', '.join(costs)}"]


# Letters, figures and signs, large enough to be read from two metres away.


HEIGHT: Final = 5
"""Lines of a large text."""
_BLOCK: Final = "█"

_DRAWN: Final = """
U #...# #...# #...# #...# .###.
L #.... #.... #.... #.... #####
F ##### #.... ####. #.... #....
R ####. #...# ####. #..#. #...#
B ####. #...# ####. #...# ####.
D ####. #...# #...# #...# ####.
N #...# ##..# #.#.# #..## #...#
S .#### #.... .###. ....# ####.
0 .###. #...# #...# #...# .###.
1 ..#.. .##.. ..#.. ..#.. .###.
2 ####. ....# .###. #.... #####
3 ####. ....# .###. ....# ####.
4 #..#. #..#. ##### ...#. ...#.
5 ##### #.... ####. ....# ####.
6 .###. #.... ####. #...# .###.
7 ##### ....# ...#. ..#.. ..#..
8 .###. #...# .###. #...# .###.
9 .###. #...# .#### ....# .###.
' ## ## .. .. ..
. . . . . #
: . # . # .
+ ..... ..#.. ##### ..#.. .....
"""

_GLYPHS: Final = {
    line[0]: [row.replace("#", _BLOCK).replace(".", " ") for row in line[2:].split()]
    for line in _DRAWN.strip().splitlines()
} | {" ": ["   "] * HEIGHT}


def large(text: str) -> list[str]:
    """A text as :data:`HEIGHT` lines; unknown characters are left out."""
    glyphs = [_GLYPHS[letter] for letter in text if letter in _GLYPHS]
    return [" ".join(glyph[row] for glyph in glyphs) for row in range(HEIGHT)]


PREPARING: Final = "Hints are being prepared …"
"""For ``preparing``."""

_COLUMNS: Final = ("cross", "pair", "pair", "pair", "pair", "orient", "permute", "auf")
_GAP: Final = 2
"""Columns between the picture and the facts beside it."""
_LONG_NAME: Final = 10
"""Longer ones may not fit into a column."""
_HOW_FROM: Final = 70
"""From this width on, the longest names of techniques and cases fit beside each other."""
_LINES: Final = 5
"""Lines reserved for the hint, so that the lines below do not move."""
_LAYOUTS: Final = (
    ("head", "", "middle", "", "stages", "", "words", "room", "", "bottom"),
    ("head", "middle", "stages", "words", "bottom"),
    ("middle", "words", "bottom"),
    ("stages", "words", "bottom"),
    ("words", "bottom"),
)
"""Blocks that are drawn, the tallest layout first; the first one that fits is taken."""


@dataclass(frozen=True, slots=True)
class LiveScreen:
    """The live screen at one moment. A :class:`.Board` updates it with happenings."""

    source: str
    notice: str = ""
    """One line for the user: a fault, or its end."""
    standing: str = ""
    """Another line, shown while there is no notice: how to type."""
    offer: str = ""
    """The offer of a coach, with its keys; shown above the notice."""
    preparing: str = ""
    """What the screen waits for, shown in place of the hint."""
    keys: bool = False
    """Whether keys can be pressed."""
    position: bytes = SOLVED_BYTES
    battery: int | None = None
    t: float = 0.0
    """The cube's seconds at the last happening."""
    started: float | None = None
    """When the solve under way began."""
    cross: str | None = None
    splits: tuple[Split, ...] = ()
    result: str = ""
    """The result of the last solve."""
    held: Holding | None = None
    """How the solver said the cube is held."""
    sure: Holding | None = None
    """The holding that was worked out, if it is certain enough."""
    said: Spoken | Clue | Unsaid | Repair | None = None
    """The last hint, clue, repair or summary."""
    stands: bool = True
    """Whether it still holds; if not, it stays readable until something newer comes."""
    plan: Plan | None = None
    """The best plan at the time of the hint."""
    settled: Turned | None = None
    """The last turn that left the cross whole."""
    solves: int = 0
    _kept_middle: Kept = field(default_factory=Kept, compare=False, repr=False)
    _kept_stages: Kept = field(default_factory=Kept, compare=False, repr=False)

    def after(self, news: News) -> Self:
        """The screen after ``news``; news of practice does not change it."""
        if isinstance(news, PracticeNews):
            return self
        return replace(self, t=news.t, **self._changes(news))

    def _changes(self, happening: Happening | TryNews | DrillNews | LessonNews) -> dict[str, Any]:
        """The fields that a happening changes."""
        match happening:
            case Turned():
                return self._turned(happening)
            case SolveBegun():
                begun = {"started": happening.started, "splits": (), "result": "", "settled": None}
                return {**begun, "said": None} if isinstance(self.said, Unsaid) else begun
            case StageDone():
                return {"splits": (*self.splits, happening.split)[-len(_COLUMNS) :]}
            case CrossColour():
                return {"splits": (), "cross": happening.cross}
            case SolveOver():
                return self._finished(happening)
            case Spoken() | Clue() | Unsaid() | Repair():
                return {"said": happening, "stands": True, "plan": None, "preparing": ""}
            case Adjusted() if isinstance(self.said, Spoken):
                row = happening.opportunity
                return {"said": replace(self.said, opportunity=row, also=())}
            case Planned():
                return {"plan": happening.plans[0]}
            case Withdrawn() if isinstance(self.said, Spoken) and not self.said.inspection:
                return {"stands": False}
            case Taken() | Withdrawn():
                return {"said": None, "plan": None}
            case HeldAs():
                return {"held": happening.holding}
            case HeldNow():
                return {"sure": happening.holding}
            case Resynced():
                return self._resynced(happening)
            case Gap():
                return {"notice": "Turns were lost; splits across the gap do not count."}
            case Battery():
                return {"battery": happening.percent}
            case LinkChange():
                return {"notice": LINK_BACK if happening.up else LINK_LOST}
        return {}

    def _turned(self, turned: Turned) -> dict[str, Any]:
        changes: dict[str, Any] = {"position": turned.position, "cross": turned.cross}
        if turned.offset is not None:
            changes["settled"] = turned
        if isinstance(self.said, Repair):
            changes["said"] = None
        return changes

    def _resynced(self, resynced: Resynced) -> dict[str, Any]:
        changes: dict[str, Any] = {
            "position": resynced.position,
            "notice": twisted_sentence(resynced),
            "said": None,
            "plan": None,
            "settled": None,
        }
        return changes | ({"cross": None} if resynced.position == SOLVED_BYTES else {})

    def _finished(self, over: SolveOver) -> dict[str, Any]:
        solve = over.solve
        verb = "Solved in" if solve.solved else "Not solved after"
        return {
            "solves": self.solves + 1,
            "started": None,
            "said": None,
            "settled": None,
            "splits": tuple(split for split in solve.splits if split.end_turn is not None),
            "result": f"{verb} {seconds_text(solve.seconds)} s and {solve.turns} turns",
        }

    @property
    def words(self) -> list[Text]:
        """The hint, clue, repair or summary as lines."""
        match self.said:
            case Spoken() if not self.stands:
                row = self.said.opportunity
                before = f"before  {moves_text(row.moves)}   [{row.holding}]"
                return [Text(before, "dim"), Text(row.why, "dim")]
            case Spoken():
                return _hint_lines(self.said, self.plan)
            case Clue():
                return [Text(clue_text(self.said), "bold")]
            case Repair(way=way):
                moves = (moves_text(way.moves), "bold")
                return [Text.assemble(moves, f"   [{way.holding}]"), Text(way.why)]
            case Unsaid():
                return [Text(line) for line in unsaid_lines(self.said, notes=False)]
        return [Text(self.preparing, "dim")] if self.preparing else []

    @property
    def stages(self) -> RenderableType:
        """The stages with their splits."""
        return self._kept_stages.showing(self.splits, lambda: _Stages(self.splits))

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the whole screen, or as much as fits: hint and keys are dropped last."""
        words, facts = self.words, self._facts()
        blocks: dict[str, RenderableType] = {
            "": Text(),
            "head": self._head(options.max_width),
            "middle": self._kept_middle.showing(
                (self.position, self.shown_as, facts), lambda: self._middle(facts)
            ),
            "stages": self.stages,
            "words": Group(*words),
            "room": Group(*[Text()] * max(0, _LINES - len(words))),
            "bottom": self._foot(options.max_width),
        }
        free = options.update(height=None)
        drawn = {name: console.render_lines(block, free) for name, block in blocks.items()}
        height = options.max_height
        for layout in _LAYOUTS:
            lines = [line for name in layout for line in drawn[name]]
            if len(lines) <= height:
                break
        else:
            bottom = drawn["bottom"]
            lines = [*drawn["words"][: max(0, height - len(bottom))], *bottom]
        for line in lines[:height]:
            yield from line
            yield Segment.line()

    def _head(self, width: int) -> Text:
        battery = "" if self.battery is None else f"   battery {self.battery} %"
        left = f"livecube   {self.source}{battery}"
        right = f"solves {self.solves}"
        return Text(left + right.rjust(max(1, width - len(left))), style="dim")

    def _middle(self, facts: Text) -> Beside:
        held = self.shown_as or SCRAMBLE_HOLDING
        return Beside(Picture(self.position, held).lines, _GAP, facts)

    @property
    def shown_as(self) -> Holding | None:
        """The holding of the picture, the free slots and the moves; None: unknown.

        The holding of the hint; without a hint, the stated one, or the one that was worked out.
        """
        if isinstance(self.said, Spoken | Clue) and self.stands:
            return self.said.opportunity.holding
        return self.held or self.sure

    def _shown_how(self) -> str:
        """The shown holding in words."""
        held = self.shown_as
        if held is None:
            return f"{SCRAMBLE_HOLDING}"
        if held == self.held:
            return f"{held}, as you said"
        return f"{held}, {'worked out' if held == self.sure else 'for these moves'}"

    def _facts(self) -> Text:
        facts = Text()
        if self.started is not None:
            facts.append(f"{seconds_text(max(0.0, self.t - self.started))} s\n\n", "bold")
        elif self.result:
            facts.append(f"{self.result}\n\n", "bold")
        facts.append(f"{self.cross} cross" if self.cross else "no cross yet")
        facts.append(f"\n{self._shown_how()}", "dim")
        for name, words in self._free_slots():
            facts.append(f"\n{name} ", "bold")
            facts.append(words)
        return facts

    def _foot(self, width: int) -> Group:
        notice = self.notice or self.standing
        keys = next((one for one in self._bottoms() if len(one) <= width), self._bottoms()[-1])
        offer = Text(self.offer, "bold", no_wrap=True, overflow="ellipsis")
        above = [*([offer] if self.offer else []), *([Text(notice, "dim")] if notice else [])]
        return Group(*above, Text(keys, "dim"))

    def _bottoms(self) -> list[str]:
        """The line of keys in several lengths, the longest first."""
        if not self.keys:
            return ["Ctrl-C ends."]
        worked_out = f"{self.sure} (worked out)" if self.sure else ""
        held = self.held or worked_out or "cheapest front"
        clue = "? next clue   " if isinstance(self.said, Clue) else ""
        return [
            f"{clue}h holding: {held}   c the cube is solved now   q ends",
            f"{clue}h holding   c is solved now   q ends",
            "h holding   c solved   q ends",
        ]

    def _free_slots(self) -> list[tuple[str, str]]:
        """The free slots of the last settled position with the state of their two pieces.

        Places are named in the holding of the picture; if that is unknown, with any front.
        """
        if self.settled is None:
            return []
        # Imported late: it needs the search, which takes a moment to load.
        from livecube.views.picture import free_slots

        return free_slots(self.settled, self.shown_as)


class _Stages:
    """The stages as columns; a narrow terminal leaves out how each was done."""

    def __init__(self, splits: Sequence[Split]) -> None:
        self._splits = splits

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the table with or without its last row."""
        by_column = [*self._splits, *[None] * len(_COLUMNS)]
        columns = [
            _stage_cells(name, split) for name, split in zip(_COLUMNS, by_column, strict=False)
        ]
        if options.max_width < _HOW_FROM:
            columns = [cells[:-1] for cells in columns]
        table = Table(box=None, expand=True, padding=(0, 1, 0, 0), show_edge=False, pad_edge=False)
        for title, *cells in columns:
            table.add_column(title, width=_least_width((title, *cells)), ratio=1)
        seconds, *rest = zip(*(cells[1:] for cells in columns), strict=True)
        table.add_row(*(Text(time, "bold") for time in seconds))
        for row in rest:
            table.add_row(*row)
        yield table


def _stage_cells(name: str, split: Split | None) -> tuple[str, ...]:
    """The cells of a stage's column: title, seconds, slot, how it was done."""
    title = SHORT_TITLES.get(name, name)
    if split is None:
        return title, "", "", ""
    return (
        title,
        "–" if split.shared else seconds_text(split.seconds),
        "/\n".join(split.slots[0].split("-")) if split.slots else "",
        _in_a_column(split.technique or split.case or ""),
    )


def _least_width(cells: Sequence[str]) -> int:
    """The length of the longest word."""
    return max(len(word) for cell in cells for word in cell.split() or ("",))


def _in_a_column(name: str) -> str:
    """A name for a narrow column: a long single word is broken after its first hyphen."""
    is_long = len(name) > _LONG_NAME and " " not in name
    return name.replace("-", "-\n", 1) if is_long else name


def _hint_lines(hint: Spoken, plan: Plan | None) -> list[Text]:
    """The moves, then the sentence, then the order of the other slots, dimmed.

    Before a solve other ways to begin are shown, too: there is time to read them.
    """
    row = hint.opportunity
    order = [Text(plan_line(plan), "dim", no_wrap=True, overflow="ellipsis")] if plan else []
    return [
        Text.assemble((moves_text(row.moves), "bold"), f"   [{row.holding}]"),
        Text(" ".join((row.why, *map(note_sentence, row.notes)))),
        *(Text(_other_line(other)) for other in hint.also if hint.inspection),
        *order,
    ]


def _other_line(other: Opportunity) -> str:
    """Another way to begin a solve."""
    return f"or {other.technique}: {moves_text(other.moves)}   [{other.holding}]"
