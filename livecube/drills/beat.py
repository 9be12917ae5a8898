"""Slow turning to a beat, without pauses: how often a turn missed its beat, and where.

The tempo is given; when its beats fall is taken from the turns, as the circular mean of where they
lie between two beats: between a beat that is heard and a turn that the cube tells lies a delay that
nobody knows, but it is always the same. A turn belongs to the beat that is nearest. It missed it
if it lies farther off than :data:`TOLERANCE` of the time between two beats, or if an earlier turn
had that beat already. Beats that no turn had between two turns are *empty*: a pause.
"""

from __future__ import annotations

from cmath import exp, phase
from dataclasses import dataclass
from itertools import groupby
from math import pi
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["TOLERANCE", "BeatResult", "BeatStage", "BeatTurn", "judged_beat"]

TOLERANCE: Final = 0.25
"""How far a turn may be from its beat, as a share of the time between two."""


@dataclass(frozen=True, slots=True)
class BeatTurn:
    """One turn against its beat."""

    number: int
    """Of the turn, from 1."""
    stage: str
    off_s: float
    """Seconds behind its beat; less than none: before it."""
    empty: int
    """Beats without any turn between the turn before and this one."""
    missed: bool


@dataclass(frozen=True, slots=True)
class BeatStage:
    """How one stage went."""

    stage: str
    turns: int
    missed: int
    empty: int


@dataclass(frozen=True, slots=True)
class BeatResult:
    """How a solve to a beat went."""

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
        """The stages in order, each as often as it came."""
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
        """Turns behind the longest pauses, at most three, the longest first."""
        paused = [turn for turn in self.turns if turn.empty]
        return tuple(sorted(paused, key=lambda turn: (-turn.empty, turn.number))[:3])


def judged_beat(turns: Sequence[tuple[float, str]], tempo: float) -> BeatResult:
    """The turns of a solve, each with its time and stage, against ``tempo`` beats a second."""
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
    """When beats fall, from 0 to the time between two: the circular mean of the turns'."""
    total = sum((exp(2j * pi * t / beat) for t in times), start=0j)
    return phase(total) / (2 * pi) * beat
