"""When a hint is said, stands and ends. Pure: a state machine without a clock.

A solver hears one hint at a time, at a moment when it can be used. The hint stands until it is
used or does not hold any more. A hint is said only at *beginnings*: a scrambled cube at rest, a
line at which the cross or a pair is done, and a stop of the hands while the cross is whole::

              a beginning: the best is said
    silence ────────────────────────────────▶ a hint stands ◀──┐ a beginning: it goes on
       ▲                                        │  │  │  └─────┘ (its plan is nearly the best)
       │      its pair is done: taken           │  │  │  ▲
       ├────────────────────────────────────────┘  │  └──┘ a turn of the upper layer before the
       │      a beginning at which it does not     │       insertion, or the cube is held otherwise:
       │      go on, another position, the solve   │       adjusted
       └───────────────────────────────────────────┘
              is over: withdrawn

While four slots are kept no hint is said, except the repair of a slot that stays out.
"""

from __future__ import annotations

from bisect import insort
from dataclasses import dataclass, replace
from enum import Enum, IntEnum
from math import isinf
from statistics import median
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import COLOURS
from livecube.events import HeldAs, Moment
from livecube.stages.progress import (
    CrossColour,
    HeldNow,
    HelpWanted,
    Progress,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.techniques.registry import own_traits

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.advice.advisor import Beginning, Focus
    from livecube.advice.plan import Plan
    from livecube.advice.rows import Opportunity
    from livecube.stages.solve import Split

__all__ = [
    "STEP_S",
    "WHEN",
    "Adjusted",
    "Asks",
    "Clue",
    "Clues",
    "Happening",
    "Manner",
    "OfHint",
    "Planned",
    "Repair",
    "Said",
    "Speaker",
    "Spoken",
    "Taken",
    "Telling",
    "Unsaid",
    "Withdrawn",
    "Withheld",
    "best_chances",
    "is_filled_by",
]

# How a solver wants to be advised.


WHEN: Final = ("solving", "inspection", "after")
"""When to speak: in inspection and while solving; in inspection only; when a solve is over."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How a solver wants to be advised; the default: everything at once."""

    when: str = WHEN[0]
    """One of :data:`WHEN`."""
    crosses: tuple[int, ...] = (0,)
    """Faces of the crosses with which a solve may begin."""
    clues_s: float | None = None
    """Hints come as clues: seconds from one clue to the next, or :data:`math.inf`: on request.
    None: everything at once."""
    focus: Focus | None = None
    """The techniques that are practised; None: none in particular."""

    @property
    def in_inspection(self) -> bool:
        """Whether anything is said before a solve."""
        return self.when != "after"

    @property
    def in_solve(self) -> bool:
        """Whether hints are looked for during a solve, to be said at once or when it is over."""
        return self.when != "inspection"


# Values: the events of hints, and all happenings that the pipeline emits.


@dataclass(frozen=True, slots=True)
class OfHint(Moment):
    """News of one hint."""

    opportunity: Opportunity


@dataclass(frozen=True, slots=True)
class Spoken(OfHint):
    """A hint is said. It stands until it is taken or withdrawn."""

    also: tuple[Opportunity, ...] = ()
    """The best opportunities for other slots; in inspection other ways to begin."""
    inspection: bool = False
    """Whether it is a way to begin the solve."""
    price_s: float | None = None
    """For a technique of the focus: seconds by which its plan is slower than the best plan."""


@dataclass(frozen=True, slots=True)
class Adjusted(OfHint):
    """The moves of the standing hint have changed; technique and slots are the same."""


@dataclass(frozen=True, slots=True)
class Taken(OfHint):
    """The slots of the standing hint are kept, by its moves or by others."""


@dataclass(frozen=True, slots=True)
class Withdrawn(OfHint):
    """The standing hint does not hold any more."""


@dataclass(frozen=True, slots=True)
class Repair(Moment):
    """A kept slot stays out: the fastest way to solve all four slots. It is not a hint."""

    way: Opportunity
    """Its slots are the ones that are out."""


class Telling(IntEnum):
    """How much of a hint a clue tells."""

    WHERE = 1
    """There is something, and where to look."""
    WHAT = 2
    """The technique too."""
    MOVES = 3
    """Everything."""


@dataclass(frozen=True, slots=True)
class Clue(OfHint):
    """A part of a hint, for a solver who wants to find the rest."""

    tells: Telling


@dataclass(frozen=True, slots=True)
class Unsaid(Moment):
    """The hints that were kept back during the solve that is over now, in order."""

    hints: tuple[Spoken, ...]
    missed: tuple[Spoken, ...]
    """The hints whose technique did not fill their slots in this solve."""
    started: float
    """When the solve began."""


@dataclass(frozen=True, slots=True)
class Planned(Moment):
    """Plans for all free slots from here: the best for each first pair, the best of all first."""

    plans: tuple[Plan, ...]


Said: TypeAlias = Spoken | Adjusted | Taken | Withdrawn | Repair | Planned
"""The events of the speaker."""
Happening: TypeAlias = Progress | HeldNow | HelpWanted | Said | Clue | Unsaid
"""All events of the pipeline."""


# Hints that are kept back while a solver wants silence, and the best of them.


_MOST: Final = 3


class Withheld:
    """Keeps hints of one solve until it is over."""

    def __init__(self) -> None:
        self._hints: list[Spoken] = []

    def keep(self, hints: Iterable[Spoken]) -> None:
        """Keep back hints that would be said now."""
        self._hints += hints

    def forget(self) -> None:
        """Drop all hints: another solve begins."""
        self._hints = []

    def release(self, over: SolveOver) -> Unsaid:
        """The solve is over: all hints that were kept back, and which of them were missed."""
        hints, self._hints = tuple(self._hints), []
        splits = over.solve.splits
        missed = tuple(hint for hint in hints if not is_filled_by(hint.opportunity, splits))
        return Unsaid(over.t, hints, missed, over.solve.started)


def is_filled_by(row: Opportunity, splits: Sequence[Split]) -> bool:
    """Whether its technique filled all its slots in these stages.

    In hindsight, two slots that one row fills are named one by one. There any technique counts that
    is not ordinary.
    """
    techniques = [
        next((split.technique for split in splits if slot in split.slots), None)
        for slot in row.slots
    ]
    if len(techniques) < 2:
        return techniques == [row.technique]
    return all(name is not None and not own_traits(name).is_ordinary for name in techniques)


def best_chances(hints: Sequence[Spoken]) -> list[Spoken]:
    """The three hints worth most, in order of time: each chance once, no ordinary insertions.

    Worth most are those that save most seconds against the plain way; among equals, the quickest.
    """
    chances: dict[tuple[str, tuple[str, ...]], Spoken] = {}
    for hint in hints:
        row = hint.opportunity
        if not row.traits.is_ordinary:
            chances.setdefault((row.technique, row.slots), hint)
    ranked = sorted(chances.values(), key=lambda hint: _worth(hint.opportunity))
    return sorted(ranked[:_MOST], key=lambda hint: hint.t)


def _worth(row: Opportunity) -> tuple[float, float]:
    plain = row.plain
    saved = plain.seconds + plain.looking - row.seconds - row.looking if plain else 0.0
    return -saved, row.seconds


# Hints as clues: first where to look, then the technique, then the moves. Pure.
#
# The caller keeps the time: it calls :meth:`Clues.wake` at the time that ``due`` names.


STEP_S: Final = 2.0
"""Seconds from one clue to the next: long enough to look once more, short enough for a pause
between two pairs (common practice, no published source)."""


class Clues:
    """Turns hints into clues; a turn delays the next clue until the hands stop again.

    ``step_s``: seconds from one clue to the next; :data:`math.inf`: clues come on request.
    """

    def __init__(self, step_s: float = STEP_S) -> None:
        self.due: float | None = None
        """When the next clue is due; None: no clue is due."""
        self._step_s = step_s
        self._hint: Spoken | None = None
        """The hint that stands."""
        self._telling = Telling.MOVES
        """How much of it has been said."""

    def pass_on(self, happenings: Iterable[Happening]) -> list[Happening]:
        """Happenings in order, each new hint reduced to its first clue."""
        return [told for happening in happenings for told in self._pass(happening)]

    def wake(self) -> list[Happening]:
        """The time ``due`` has come: the next clue."""
        return [] if self.due is None else self.ask(self.due)

    def ask(self, t: float) -> list[Happening]:
        """Somebody asks for the next clue."""
        hint = self._hint
        if hint is None or self._telling == Telling.MOVES:
            return []
        self._telling = Telling(self._telling + 1)
        self.due = None if self._telling == Telling.MOVES else self._next(t)
        return [self._told(hint, t)]

    def go_on(self, t: float) -> None:
        """The hands stopped at ``t`` while the hint stands: set the time of its next clue."""
        if self._hint is not None and self.due is None and self._telling != Telling.MOVES:
            self.due = self._next(t)

    def _next(self, t: float) -> float | None:
        return None if isinf(self._step_s) else t + self._step_s

    def _pass(self, happening: Happening) -> list[Happening]:
        match happening:
            case Spoken():
                self._hint, self._telling = happening, Telling.WHERE
                self.due = self._next(happening.t)
                return [self._told(happening, happening.t)]
            case Adjusted():
                if self._hint is not None:
                    self._hint = replace(self._hint, opportunity=happening.opportunity)
                if self._telling != Telling.MOVES:
                    return []
            case Planned():
                return []  # it would tell too much
            case Turned():
                self.due = None
            case Taken() | Withdrawn() | Resynced() | SolveOver():
                self._hint = self.due = None
        return [happening]

    def _told(self, hint: Spoken, t: float) -> Happening:
        if self._telling == Telling.MOVES:
            return replace(hint, t=t)
        return Clue(t, hint.opportunity, self._telling)


_SLOTS: Final = 4
_ALSO: Final = 2
"""How many further chances are named beside the best."""
_NEARLY_S: Final = 0.1
"""The standing hint goes on if its plan takes at most this many seconds more than the best."""
_STOP_S: Final = 1.0
"""Hands that rest this long may have stopped (this and the next two: common practice, no
published source)."""
_STOP_GAPS: Final = 4
"""They have stopped if the rest is also this many times the solve's median gap between turns."""
_FEW_TURNS: Final = 20
"""With fewer turns, the median gap of a solve is not used."""
_REPAIR_S: Final = 2.0
"""Rest before a repair is said; rests within a sequence for the last layer are shorter."""


class Asks(Enum):
    """The questions of the speaker about the present position."""

    BEST = "best"
    """A beginning: the best rows, and the seconds of the standing hint from here."""
    MOVES = "moves"
    """The moves of the standing hint from here."""
    REPAIR = "repair"
    """The fastest way to solve all four slots."""


class Speaker:
    """Decides when a hint is said, and how long it stands.

    Give it all events of the tracker, in order. At the end of a line, and after :meth:`wake`, it
    may have a :meth:`question`. Answer it with :meth:`begin`, :meth:`adjust` or :meth:`repair`;
    without an answer nothing is said.
    """

    def __init__(self) -> None:
        self.hint: Spoken | None = None
        """The hint that stands, with its present moves."""
        self._asks: Asks | None = None
        self.due: float | None = None
        """When to call :meth:`wake` if nothing happens before; None: a stop would say nothing."""
        self._turned: Turned | None = None
        """The last turn of the attempt under way."""
        self._crosses: frozenset[str] = frozenset()
        """Colours of the crosses that a hint for the beginning of a solve makes."""
        self._inserting: bool
        """Whether another layer than the upper one was turned since the hint's moves were said."""
        self._answered: bool
        """Whether the present line's beginning was answered already."""
        self._pace = _Pace()

    def take(self, progress: Progress | HeldNow) -> list[Said]:
        """Take in an event; returns the end of the hint, if the event ends it."""
        match progress:
            case Turned():
                self._turn(progress)
            case StageDone() if self._turned is not None:
                return self._stage_done(progress, self._turned)
            case CrossColour():
                return self._withdraw(progress.t)
            case SolveBegun():
                self._pace.begin(progress.start_turn)
                if self.hint is not None and not self.hint.inspection:
                    return self._withdraw(progress.t)  # scrambled again in the middle of a solve
            case SolveOver() | Resynced():
                self._turned = self._asks = self.due = None
                if isinstance(progress, SolveOver):
                    self._pace = _Pace()
                return self._withdraw(progress.t)
            case HeldAs():
                if self.hint and not self.hint.inspection and not self._inserting:
                    self._asks = Asks.MOVES
        return []

    def wake(self) -> None:
        """The time ``due`` has come, and nothing has happened since."""
        self.due = None
        if self._turned is None:
            return
        if len(self._turned.kept) == _SLOTS:
            self._asks = Asks.REPAIR
        elif not self._answered:
            self._asks = Asks.BEST

    def question(self) -> Asks | None:
        """The question to answer now, or None; each question is returned once."""
        asks, self._asks = self._asks, None
        return asks

    def begin(self, t: float, beginning: Beginning) -> list[Said]:
        """The answer at a beginning: the hint goes on, or it ends and the best is said."""
        self._answered = True
        if self.hint is not None:
            if self._nearly_in:
                return []
            standing = beginning.standing
            if standing is not None and standing.seconds <= beginning.seconds + _NEARLY_S:
                return self._go_on(t, standing.row)
        return [*self._withdraw(t), *self._say(t, beginning)]

    def adjust(self, t: float, row: Opportunity | None) -> list[Said]:
        """The answer with the hint's row from here; None: there is none, and nothing is said."""
        return [] if row is None else self._go_on(t, row)

    def repair(self, t: float, way: Opportunity | None) -> list[Said]:
        """The answer with the way to solve all slots; None: nothing is said."""
        return [] if way is None else [Repair(t, way)]

    def open(
        self, t: float, rows: Sequence[Opportunity], crosses: frozenset[str] = frozenset()
    ) -> list[Said]:
        """A scrambled cube at rest: ``rows`` are ways to begin a solve, the best first.

        ``crosses``: colours of the crosses that the first row makes.
        """
        if not rows or (self.hint is not None and self.hint.opportunity == rows[0]):
            return []
        ended = self._withdraw(t)
        self.hint = Spoken(t, rows[0], tuple(rows[1:]), inspection=True)
        self._crosses = crosses
        return [*ended, self.hint]

    @property
    def _nearly_in(self) -> bool:
        """Whether the hint's slots are solved already, up to the aligning turn."""
        assert self.hint is not None
        slots = self.hint.opportunity.slots
        return self._turned is not None and {*slots} <= {*self._turned.solved_slots}

    def _turn(self, turned: Turned) -> None:
        self._turned, self._answered = turned, False
        self._asks, self.due = None, None
        self._pace.turn(turned)
        if turned.offset is not None:
            if len(turned.kept) < _SLOTS:
                self.due = turned.t + self._pace.stop_s
            elif len(turned.solved_slots) < _SLOTS:
                self.due = turned.t + _REPAIR_S
        if self.hint is None or self.hint.inspection or turned.cross is None:
            return
        if turned.turn // 3 != OPPOSITE[COLOURS.index(turned.cross)]:
            self._inserting = True
        elif not self._inserting:
            self._asks = Asks.MOVES

    def _stage_done(self, done: StageDone, turned: Turned) -> list[Said]:
        """A stage is done: a beginning unless all slots are kept. The hint may be done, too."""
        self._asks = Asks.BEST if len(turned.kept) < _SLOTS else None
        hint = self.hint
        if hint is None:
            return []
        is_in = {*hint.opportunity.slots} <= {*turned.kept}
        if hint.inspection:
            is_in = is_in and turned.cross in self._crosses
        elif not is_in:
            return []  # the answer at the beginning says whether it goes on
        self.hint = None
        return [(Taken if is_in else Withdrawn)(done.t, hint.opportunity)]

    def _go_on(self, t: float, row: Opportunity) -> list[Said]:
        assert self.hint is not None
        before, self._inserting = self.hint.opportunity, False
        if (row.turns_fixed, row.moves) == (before.turns_fixed, before.moves):
            return []
        self.hint = replace(self.hint, opportunity=row, also=())
        return [Adjusted(t, row)]

    def _say(self, t: float, beginning: Beginning) -> list[Said]:
        if beginning.silence is not None or not beginning.rows:
            return []
        best = beginning.rows[0]
        self._inserting = False
        also = _for_other_slots(beginning.rows)
        self.hint = Spoken(t, best, also, price_s=beginning.price_s)
        plans = beginning.plans
        is_choice = bool(plans) and len(plans[0].slots) > 1
        return [self.hint, *([Planned(t, plans)] if is_choice else [])]

    def _withdraw(self, t: float) -> list[Said]:
        hint, self.hint = self.hint, None
        return [] if hint is None else [Withdrawn(t, hint.opportunity)]


class _Pace:
    """The pace of this solve, from which follows when the hands have stopped."""

    def __init__(self) -> None:
        self._turns: list[tuple[int, float]] = []
        """Line and time of each turn."""
        self._gaps: list[float] = []
        """Seconds between turns, sorted."""

    @property
    def stop_s(self) -> float:
        """Seconds of rest that count as a stop."""
        if len(self._turns) < _FEW_TURNS:
            return _STOP_S
        return max(_STOP_S, _STOP_GAPS * median(self._gaps))

    def turn(self, turned: Turned) -> None:
        """Take in a turn."""
        if self._turns:
            insort(self._gaps, turned.t - self._turns[-1][1])
        self._turns.append((turned.line, turned.t))

    def begin(self, line: int) -> None:
        """The solve began with the turn at ``line``; earlier turns are dropped."""
        turns, self._turns, self._gaps = self._turns, [], []
        for at, t in turns:
            if at >= line:
                if self._turns:
                    insort(self._gaps, t - self._turns[-1][1])
                self._turns.append((at, t))


def _for_other_slots(rows: Sequence[Opportunity]) -> tuple[Opportunity, ...]:
    """The best rows after the first, at most two, each for other slots."""
    seen = {rows[0].slots}
    result: list[Opportunity] = []
    for row in rows[1:]:
        if row.slots not in seen and len(result) < _ALSO:
            seen.add(row.slots)
            result.append(row)
    return tuple(result)
