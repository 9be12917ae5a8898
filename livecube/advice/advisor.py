"""The advisor: from a position to all that is possible, priced and ranked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.opportunity import Advice, Opportunity
from livecube.advice.words import sentence
from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import Holding, hand_moves, rotation_between
from livecube.cube.pieces import PIECE_AT, piece_faces
from livecube.cube.position import TURN_BYTES
from livecube.search.coordinates import SLOT_PIECES
from livecube.search.situation import Situation
from livecube.stages.frame import FRAMES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.geometry import Array
    from livecube.cube.holding import Move
    from livecube.hands.model import Hands
    from livecube.search.engine import Engine
    from livecube.techniques.base import Chance, Technique

__all__ = ["Advisor", "likely_cross"]

_UP_PLACES = frozenset(
    place for place in range(54) if PIECE_AT[place] != 255 and 0 in piece_faces(PIECE_AT[place])
)
"""Facelets of the pieces in the upper layer."""


class Advisor:
    """Finds and prices every opportunity of a position. Not for two threads at once."""

    def __init__(self, engine: Engine, techniques: Sequence[Technique], hands: Hands) -> None:
        self._engine = engine
        self._techniques = tuple(techniques)
        self._hands = hands

    def advise(self, position: Array, face: int, holding: Holding | None = None) -> Advice:
        """All opportunities for the cross on ``face``, best first.

        ``holding``: how the cube is held; None: the cross down and for each row the front
        that makes it cheapest.
        """
        situation = Situation.of(position, face)
        chances = [c for technique in self._techniques for c in technique.chances(situation)]
        answers = self._engine.solve(situation, [chance.task for chance in chances])
        plain = {
            chance.slots: len(sequences[0])
            for chance, sequences in zip(chances, answers, strict=True)
            if chance.technique == "plain" and sequences
        }
        rows = [
            self._opportunity(situation, chance, turns, plain.get(chance.slots), holding)
            for chance, sequences in zip(chances, answers, strict=True)
            for turns in sequences
        ]
        rows.sort(key=_rank)
        return Advice(
            situation.colour,
            situation.offset,
            situation.slot_names(s for s in range(4) if situation.solved >> s & 1),
            tuple(rows),
        )

    def _opportunity(
        self,
        situation: Situation,
        chance: Chance,
        turns: tuple[int, ...],
        plain_turns: int | None,
        holding: Holding | None,
    ) -> Opportunity:
        fixed = situation.fixed(turns)
        held, moves, seconds = self._cheapest(fixed, situation.face, holding)
        slots = situation.slot_names(chance.slots)
        return Opportunity(
            technique=chance.technique,
            slots=slots,
            turns_fixed=fixed,
            moves=moves,
            holding=held,
            turns=len(turns),
            plain_turns=plain_turns,
            top_kept=_top_kept(situation, chance.slots, turns),
            seconds=seconds,
            why=sentence(chance.technique, slots, chance.why, held, len(turns), plain_turns),
        )

    def _cheapest(
        self, fixed: Sequence[int], face: int, holding: Holding | None
    ) -> tuple[Holding, tuple[Move, ...], float]:
        """Holding, moves and seconds of the cheapest way to write turns, cross down."""
        up = OPPOSITE[face]
        best = None
        for front in (f for f in range(6) if f not in (face, up)):
            end = Holding.of(up, front)
            before = rotation_between(holding, end) if holding else ()
            moves = (*before, *hand_moves(fixed, end))
            seconds = self._hands.seconds(moves)
            if best is None or seconds < best[2]:
                best = (holding or end, moves, seconds)
        assert best is not None
        return best


def _rank(row: Opportunity) -> tuple[float, int, int, bool]:
    """Best first: by seconds, turns, pieces kept; a technique's name before the yardstick's."""
    return row.seconds, row.turns, -row.top_kept, row.technique == "shortest"


def _top_kept(situation: Situation, slots: Sequence[int], turns: Sequence[int]) -> int:
    """Upper-layer pieces that stay, up to the turn of the upper layer that fits most."""
    targets = {SLOT_PIECES[s] for s in slots} | {SLOT_PIECES[4 + s] for s in slots}
    before = bytes(situation.position.tolist())
    after = before
    for turn in turns:
        after = after.translate(TURN_BYTES[turn])
    watched = [p for p in range(20) if p not in targets and before[p] in _UP_PLACES]
    turned = (after, *(after.translate(TURN_BYTES[u]) for u in range(3)))
    return max(sum(before[p] == state[p] for p in watched) for state in turned)


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
