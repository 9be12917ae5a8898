"""The advisor: from a position to all that is possible, priced and ranked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.opportunity import Advice, Opportunity
from livecube.advice.words import sentence
from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import Holding
from livecube.cube.position import apply_turns
from livecube.hands.pricing import Pricer
from livecube.search.keeping import kept
from livecube.search.situation import Situation
from livecube.stages.frame import FRAMES

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from livecube.cube.geometry import Array
    from livecube.hands.model import Hands
    from livecube.search.engine import Engine, Found
    from livecube.techniques.base import Chance, Technique

__all__ = ["Advisor", "likely_cross"]


class Advisor:
    """Finds and prices every opportunity of a position. Not for two threads at once."""

    def __init__(self, engine: Engine, techniques: Sequence[Technique], hands: Hands) -> None:
        self.engine = engine
        self._techniques = tuple(techniques)
        self._plain = next((t for t in techniques if t.id == "plain"), None)
        self._pricer = Pricer(hands)

    def advise(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        *,
        extra: int = 0,
        most: int | None = None,
    ) -> Advice:
        """The opportunities for the cross on ``face``, best first.

        ``holding``: how the cube is held; None: the cross down and for each row the front that
        makes it cheapest. ``extra``: also sequences up to so many turns longer than the
        shortest. ``most``: so many rows are enough, which is quicker; None: all of them.
        """
        situation = Situation.of(position, face)
        chances = [
            replace(c, task=replace(c.task, extra=max(c.task.extra, extra))) if extra else c
            for technique in self._techniques
            for c in technique.chances(situation)
        ]
        if not chances:
            return _advice(situation, ())
        found = self.engine.search(situation, [chance.task for chance in chances])
        # Further searches use the engine's arrays again, so they come last.
        rows = self._priced(situation, chances, found, holding, most)
        plain = _shortest_of(chances, found, "plain")
        for slots in {chances[number].slots for number, _ in rows}:
            if situation.offset == 0 and len(slots) == 2:
                plain[slots] = self._two_plain_pairs(situation, slots)
        return _advice(
            situation, tuple(self._explained(situation, row, chances, plain) for row in rows)
        )

    def _priced(
        self,
        situation: Situation,
        chances: Sequence[Chance],
        found: Found,
        holding: Holding | None,
        most: int | None,
    ) -> list[tuple[int, Opportunity]]:
        """Rows in their order, each with the number of its chance; not explained yet."""
        up = OPPOSITE[situation.face]
        fronts = [face for face in range(6) if face not in (up, situation.face)]
        starts = [holding] if holding else [Holding.of(up, front) for front in fronts]
        fixed = situation.fixed_turns[np.minimum(found.turns, 17)]
        prices = self._pricer.prices(fixed, found.lengths, found.tasks, starts, most)
        top, pairs = kept(situation, found, [chance.slots for chance in chances])
        yardstick = np.array([chance.technique == "shortest" for chance in chances])
        order = np.lexsort((yardstick[found.tasks], -top, found.lengths, prices.seconds))
        rows = []
        for row in order[:most].tolist():
            if not np.isfinite(prices.seconds[row]):
                break
            number, length = int(found.tasks[row]), int(found.lengths[row])
            written = prices.written(row)
            opportunity = Opportunity(
                technique=chances[number].technique,
                slots=situation.slot_names(chances[number].slots),
                turns_fixed=tuple(fixed[row, :length].tolist()),
                moves=written.moves,
                holding=written.holding,
                turns=length,
                plain_turns=None,
                top_kept=int(top[row]),
                pairs_kept=int(pairs[row]),
                seconds=written.seconds,
                why="",
            )
            rows.append((number, opportunity))
        return rows

    def _explained(
        self,
        situation: Situation,
        row: tuple[int, Opportunity],
        chances: Sequence[Chance],
        plain: dict[tuple[int, ...], int],
    ) -> Opportunity:
        number, opportunity = row
        chance = chances[number]
        plain_turns = plain.get(chance.slots) if situation.offset == 0 else None
        why = sentence(opportunity, chance.why, plain_turns)
        return replace(opportunity, plain_turns=plain_turns, why=why)

    def _two_plain_pairs(self, situation: Situation, slots: tuple[int, ...]) -> int:
        """Turns of two plain pairs, the first of them as short as it goes, in the better order."""
        return min(
            len(first) + self._plain_turns(_after(situation, first), second_slot)
            for first_slot, second_slot in (slots, slots[::-1])
            for first in self._plain_sequences(situation, first_slot)
        )

    def _plain_sequences(self, situation: Situation, slot: int) -> list[tuple[int, ...]]:
        assert self._plain is not None
        tasks = [c.task for c in self._plain.chances(situation) if c.slots == (slot,)]
        return self.engine.solve(situation, tasks)[0] if tasks else [()]

    def _plain_turns(self, situation: Situation, slot: int) -> int:
        return len(self._plain_sequences(situation, slot)[0])


def _advice(situation: Situation, rows: tuple[Opportunity, ...]) -> Advice:
    solved = situation.slot_names(s for s in range(4) if situation.solved >> s & 1)
    return Advice(situation.colour, situation.offset, solved, rows)


def _after(situation: Situation, turns: Sequence[int]) -> Situation:
    """The situation after down-frame turns."""
    return Situation.of_down(apply_turns(situation.position, turns), situation.face)


def _shortest_of(
    chances: Sequence[Chance], found: Found, technique: str
) -> dict[tuple[int, ...], int]:
    """Turns of the shortest sequence of one technique for each target."""
    lengths: dict[tuple[int, ...], int] = {}
    numbers: npt.NDArray[np.int64]
    numbers, first = np.unique(found.tasks, return_index=True)
    for number, row in zip(numbers.tolist(), first.tolist(), strict=True):
        if chances[number].technique == technique:
            lengths[chances[number].slots] = int(found.lengths[row])
    return lengths


def likely_cross(position: Array) -> int:
    """The face whose cross the position most likely belongs to.

    Among whole crosses with a free slot the one with the most solved slots (aligned ones
    first); else one whose slots are all solved; white if no cross is whole.
    """
    code = bytes(np.asarray(position, dtype=np.uint8).tolist())
    rows = [(frame.face, frame.row(0, code)) for frame in FRAMES]
    whole = [
        (row.solved != 15, row.solved.bit_count(), row.offset == 0, -face)
        for face, row in rows
        if row
    ]
    return -max(whole)[-1] if whole else 0
