"""Slow turning to a beat, without pauses: how often a turn misses its beat, and where.

The tempo is given. The phase of the beats is computed from the turns, as their circular mean: the
delay between a heard beat and a reported turn is unknown, but constant. A turn belongs to the
nearest beat. It misses the beat if it is off by more than :data:`TOLERANCE` of the time between two
beats, or if an earlier turn already has this beat. Beats without a turn between two turns are
*empty*: a pause.
"""

from __future__ import annotations

from cmath import exp, phase
from dataclasses import dataclass
from itertools import groupby, pairwise
from math import pi
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.events import Moment, Reset, State, Turn
from livecube.review.trying import SETTLE_S, Scene, SettingUp, SetUpAsked, SetUpGuided, TryGivenUp
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.events import CubeEvent
    from livecube.review.trying import TryNews
    from livecube.scrambling.path import ScramblePath
    from livecube.stages.solve import Solve

__all__ = [
    "TOLERANCE",
    "BeatJudged",
    "BeatNews",
    "BeatReady",
    "BeatResult",
    "BeatSession",
    "BeatStage",
    "BeatTurn",
    "BeatTurned",
    "judged_beat",
]

TOLERANCE: Final = 0.25
"""How far a turn may be from its beat, as a share of the time between two beats."""


@dataclass(frozen=True, slots=True)
class BeatTurn:
    """One turn against its beat."""

    number: int
    """Number of the turn, from 1."""
    stage: str
    off_s: float
    """Seconds after its beat; negative: before it."""
    empty: int
    """Beats without a turn between the turn before and this one."""
    missed: bool


@dataclass(frozen=True, slots=True)
class BeatResult:
    """The result of a solve to a beat."""

    tempo: float
    """Beats a second."""
    turns: tuple[BeatTurn, ...]

    @property
    def missed(self) -> int:
        """Turns that missed their beat."""
        return sum(turn.missed for turn in self.turns)

    @property
    def empty(self) -> int:
        """Beats without a turn."""
        return sum(turn.empty for turn in self.turns)

    @property
    def stages(self) -> tuple[BeatStage, ...]:
        """The stages in order; a stage that occurs again is listed again."""
        told = []
        for stage, turns in groupby(self.turns, key=lambda turn: turn.stage):
            of = tuple(turns)
            told.append(
                BeatStage(stage, len(of), sum(t.missed for t in of), sum(t.empty for t in of))
            )
        return tuple(told)

    @property
    def farthest_off(self) -> tuple[BeatTurn, ...]:
        """Turns that missed their beat, at most three, the farthest from it first."""
        missed = [turn for turn in self.turns if turn.missed]
        return tuple(sorted(missed, key=lambda turn: (-abs(turn.off_s), turn.number))[:3])

    @property
    def longest_pauses(self) -> tuple[BeatTurn, ...]:
        """Turns after the longest pauses, at most three, the longest first."""
        paused = [turn for turn in self.turns if turn.empty]
        return tuple(sorted(paused, key=lambda turn: (-turn.empty, turn.number))[:3])


@dataclass(frozen=True, slots=True)
class BeatStage:
    """The result of one stage."""

    stage: str
    turns: int
    missed: int
    empty: int


def judged_beat(turns: Sequence[tuple[float, str]], tempo: float) -> BeatResult:
    """The result of turns, each with time (s) and stage, against ``tempo`` beats a second."""
    beat = 1 / tempo
    off = _offset([t for t, _ in turns], beat)
    judged: list[BeatTurn] = []
    before: int | None = None
    for number, (t, stage) in enumerate(turns, start=1):
        nearest = round((t - off) / beat)
        late = t - off - nearest * beat
        taken = before is not None and nearest <= before
        empty = 0 if before is None else max(0, nearest - before - 1)
        missed = taken or abs(late) > TOLERANCE * beat
        judged.append(BeatTurn(number, stage, late, empty, missed))
        before = nearest if before is None else max(before, nearest)
    return BeatResult(tempo, tuple(judged))


def _offset(times: Sequence[float], beat: float) -> float:
    """Phase of the beats in seconds, within half a beat of 0: the circular mean of ``times``."""
    total = sum((exp(2j * pi * t / beat) for t in times), start=0j)
    return phase(total) / (2 * pi) * beat


# A solve to a beat: scramble, ready, solve; fed with the cube's events. Pure.


_HALF_TURN: Final = 0.5
"""Two turns of one layer within this share of a beat are one half turn."""
_FEWEST: Final = 4
"""A solve that is stopped early is judged from this many turns on."""
_SLICE_S: Final = 0.1
"""Turns of two opposite layers within this time are one motion."""


@dataclass(frozen=True, slots=True)
class BeatReady(Moment):
    """The cube is scrambled; the beat begins, and the solver starts when ready."""

    tempo: float
    """Beats a second."""
    position: bytes
    """20 facelets."""


@dataclass(frozen=True, slots=True)
class BeatTurned(Moment):
    """A turn of the solve."""

    number: int
    """Number of the turn, from 1."""
    position: bytes
    """20 facelets, after the turn."""


@dataclass(frozen=True, slots=True)
class BeatJudged(Moment):
    """The cube is solved, or the solve was stopped early."""

    result: BeatResult
    solved: bool = True


BeatNews: TypeAlias = BeatReady | BeatTurned | BeatJudged


class BeatSession:
    """One solve to ``tempo`` beats a second, from ``scrambled`` (20 facelets).

    ``path_to`` gives the turns from one position to another.
    """

    def __init__(
        self,
        tempo: float,
        scrambled: bytes,
        path_to: Callable[[bytes, bytes], ScramblePath],
    ) -> None:
        self.number = 0
        self.over = False
        self._tempo = tempo
        self._scene = Scene(scrambled)
        self._path_to = path_to
        self._position = SOLVED_BYTES
        self._setting_up: SettingUp | None = None
        self._ready_at: float | None = None
        self._turns: list[Turn] = []
        self._tracker: Tracker | None = None

    def begin(self, t: float) -> list[TryNews | BeatNews]:
        """Ask for the scramble."""
        self.number = 1
        return self._set_up(t)

    def give_up(self, t: float) -> list[TryNews | BeatNews]:
        """Ask for the scramble again."""
        return [TryGivenUp(t, self.number), *self._set_up(t)] if self.number else []

    def feed(self, event: CubeEvent) -> list[TryNews | BeatNews]:
        """Take in an event; returns the news that it causes."""
        match event:
            case Turn():
                self._position = self._position.translate(TURN_BYTES[event.turn])
                return self._turned(event)
            case State() if event.position != self._position:
                self._position = event.position
            case Reset():
                self._position = SOLVED_BYTES
            case _:
                return []
        return self._guide(event.t) if self._ready_at is None else self.give_up(event.t)

    def finish(self) -> list[TryNews | BeatNews]:
        """Stop early; returns the judgement of the turns so far, if there are enough."""
        if self.over or self._tracker is None or len(self._turns) < _FEWEST:
            return []
        self.over = True
        t = self._turns[-1].t
        return [
            BeatJudged(t, self._judged(progress.solve), solved=False)
            for progress in self._tracker.finish()
            if isinstance(progress, SolveOver)
        ]

    def _set_up(self, t: float) -> list[TryNews | BeatNews]:
        self._ready_at = self._tracker = None
        self._setting_up = SettingUp(self._path_to, self._position, self._scene.position)
        asked = SetUpAsked(t, self.number, self._scene, self._setting_up.turns)
        return [asked] if asked.turns else [asked, *self._ready(t)]

    def _ready(self, t: float) -> list[TryNews | BeatNews]:
        self._ready_at = t
        self._turns, self._tracker = [], Tracker(self._scene.position)
        return [BeatReady(t, self._tempo, self._position)]

    def _guide(self, t: float) -> list[TryNews | BeatNews]:
        if self._setting_up is None:
            return []
        guidance = self._setting_up.guide(self._position)
        told = SetUpGuided(t, self._scene, guidance, self._setting_up.turns)
        return [told, *self._ready(t)] if guidance.reached else [told]

    def _turned(self, event: Turn) -> list[TryNews | BeatNews]:
        if self._ready_at is None or self._tracker is None:
            return self._guide(event.t)
        if not self._turns and event.t - self._ready_at < SETTLE_S:
            self._ready_at = None
            return self._guide(event.t)
        self._turns.append(event)
        told: list[TryNews | BeatNews] = [BeatTurned(event.t, len(self._turns), self._position)]
        for progress in self._tracker.feed(event):
            if isinstance(progress, SolveOver):
                self.over = True
                return [*told, BeatJudged(event.t, self._judged(progress.solve))]
        return told

    def _judged(self, solve: Solve) -> BeatResult:
        names = _stages(solve, len(self._turns))
        within = _within_motions(self._turns, self._tempo)
        motions = [
            (turn.t, name)
            for number, (turn, name) in enumerate(zip(self._turns, names, strict=True))
            if number not in within
        ]
        return judged_beat(motions, self._tempo)


def _within_motions(turns: Sequence[Turn], tempo: float) -> frozenset[int]:
    """Turns (from 0) that belong to the motion of the turn before: half turns and slices."""
    within: set[int] = set()
    for number, (one, other) in enumerate(pairwise(turns), start=1):
        faces, between = (one.turn // 3, other.turn // 3), other.t - one.t
        is_half = faces[0] == faces[1] and between < _HALF_TURN / tempo
        is_slice = OPPOSITE[faces[0]] == faces[1] and between < _SLICE_S
        if (is_half or is_slice) and number - 1 not in within:
            within.add(number)
    return frozenset(within)


def _stages(solve: Solve, turns: int) -> Sequence[str]:
    """The stage to which each turn belongs."""
    names: list[str] = []
    for split in solve.splits:
        end = turns if split.end_turn is None else split.end_turn
        name = " ".join((split.stage, *split.slots))
        names += [name] * (end - len(names))
    return [*names, *["after"] * (turns - len(names))]
