"""What a solve says about hands and eyes: its stages as turned, its pairs as seen. Pure.

The moves and the holding are those of the reading; each stage says how sure it is. Solves with lost
turns say nothing, nor do stages with a turn that was worked out: its time was made up.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.cube.geometry import FACES
from livecube.cube.holding import COLOURS, HOLDINGS
from livecube.cube.notation import moves_text, parse_moves
from livecube.cube.position import TURN_BYTES
from livecube.hands.executions import Execution, Part, first_cell
from livecube.hands.features import TECHNIQUES
from livecube.hands.own_eyes import Look
from livecube.holding.executions import executions_read
from livecube.search.hand_arrays import UPRIGHT, holding_in_down_frame
from livecube.search.situation import PIECE_MOVES, PLACES_AT, SLOT_SYMMETRY, Situation

if TYPE_CHECKING:
    from collections import Counter
    from collections.abc import Sequence

    from livecube.hands.automaton import Automaton
    from livecube.hands.executions import Array
    from livecube.holding.inference import Reading
    from livecube.holding.observations import SolveTurns

__all__ = ["Case", "Seen", "Taken", "looks_of", "stages_taken", "taken_from", "taken_text"]

Case = tuple[int, int]
"""Places of corner and edge as the slot sees them, up to a turn of the upper layer."""
_DIGITS: Final = 3
_CORNER_ALONE: Final = "keyhole-corner"


@dataclass(frozen=True, slots=True)
class Seen:
    """What there was to see before a pair, as the hands held the cube."""

    technique: str
    corner: tuple[int, int] | None
    """As in :class:`~livecube.hands.own_eyes.Look`."""
    edge: tuple[int, int] | None
    case: Case


@dataclass(frozen=True, slots=True)
class Taken:
    """One stage of a solve."""

    execution: Execution
    """Its times count from the first turn."""
    seen: Seen | None
    """None: it is no pair, the cross was not down, or two slots were filled together."""


def stages_taken(one: SolveTurns, start: bytes, reading: Reading) -> list[Taken]:
    """The stages of a solve that began in the position ``start`` (20 facelets)."""
    if one.solve.gap or one.solve.cross is None:
        return []
    part, splits = one.part, one.solve.splits
    positions = [start]
    for turn in part.turns:
        positions.append(positions[-1].translate(TURN_BYTES[turn]))
    firsts = [(part.stages[step.first], step) for step in reading.path]
    stages = [(stage, next(steps)[1]) for stage, steps in groupby(firsts, lambda its: its[0])]
    began = {stage: step.first for stage, step in stages}
    taken = []
    for (stage, step), execution in zip(stages, executions_read(part, reading), strict=True):
        split = splits[stage]
        if split.gap or split.inferred:
            continue
        if execution.part != Part.PAIRS:
            if len(execution.moves) > 1:
                taken.append(Taken(_from_first_turn(execution), None))
            continue
        if execution.pause_ms is None:
            continue
        alone = len(split.slots) == 1 and not splits[stage + 1].shared
        seen = None
        if alone and split.technique in TECHNIQUES:
            before = positions[began[stage - 1]] if stage - 1 in began and stage > 1 else None
            here = positions[step.first]
            face = COLOURS.index(one.solve.cross)
            seen = _seen(here, before, face, step.holding, split.slots[0], split.technique)
        taken.append(Taken(_from_first_turn(execution), seen))
    return taken


def _from_first_turn(one: Execution) -> Execution:
    turns = (at for move, at in zip(one.moves, one.at_ms, strict=True) if not move.is_rotation)
    first = next(turns, 0.0)
    return replace(one, at_ms=tuple(max(at - first, 0.0) for at in one.at_ms))


def _seen(
    position: bytes, before: bytes | None, face: int, held: int, name: str, technique: str
) -> Seen | None:
    situation = Situation.of(np.frombuffer(position, dtype=np.uint8), face)
    down = holding_in_down_frame(HOLDINGS[held], face)
    if down not in UPRIGHT or situation.offset is None:
        return None
    front, places = UPRIGHT.index(down), situation.places.tolist()
    stood = places
    if before is not None:
        stood = Situation.of(np.frombuffer(before, dtype=np.uint8), face).places.tolist()
    (slot,) = situation.slot_numbers([name])
    pieces: list[tuple[int, int] | None] = []
    for kind, piece in ((0, slot), (1, slot + 4)):
        place = int(SLOT_SYMMETRY[front, kind, places[piece]])
        home = places[piece] == PLACES_AT[situation.offset, piece]
        pieces.append(None if home else (place, int(stood[piece] != places[piece])))
    corner, edge = pieces
    return Seen(technique, corner, edge, _case(slot, places))


def _case(slot: int, places: list[int]) -> Case:
    corner = int(SLOT_SYMMETRY[slot, 0, places[slot]])
    edge = int(SLOT_SYMMETRY[slot, 1, places[slot + 4]])
    turned = [(int(PIECE_MOVES[0, u, corner]), int(PIECE_MOVES[1, u, edge])) for u in _TURNS_OF_U]
    return min([(corner, edge), *turned])


_TURNS_OF_U: Final = range(3 * FACES.index("U"), 3 * FACES.index("U") + 3)


def looks_of(
    taken: Sequence[Taken], usual: Automaton, price_ms: Array, met: Counter[Case]
) -> list[Look]:
    """The looks before the pairs among them; ``met`` counts cases so far, and counts them too.

    ``price_ms``: prices of all cells, which the first turn of each pair takes from its pause.
    """
    looks = []
    for one in taken:
        if (seen := one.seen) is None or (pause_ms := one.execution.pause_ms) is None:
            continue
        if (cell := first_cell(usual, one.execution.moves)) < 0:
            continue
        looks.append(
            Look(
                pause_ms - float(price_ms[cell]),
                seen.technique,
                seen.corner,
                seen.edge,
                seen.technique == _CORNER_ALONE,
                met[seen.case],
                one.execution.sure,
            )
        )
        met[seen.case] += 1
    return looks


# As the history keeps them.


def taken_text(taken: Sequence[Taken]) -> str:
    """Stages as one line of JSON."""
    return json.dumps([_told(one) for one in taken], separators=(",", ":"))


def _told(taken: Taken) -> dict[str, Any]:
    one, seen = taken.execution, taken.seen
    told: dict[str, Any] = {
        "moves": moves_text(one.moves),
        "ms": [round(at) for at in one.at_ms],
        "sure": round(one.sure, _DIGITS),
    }
    if one.pause_ms is not None:
        told["pause"] = round(one.pause_ms)
    if one.part != Part.PAIRS:
        told["part"] = int(one.part)
    if seen is not None:
        told["seen"] = [seen.technique, seen.corner, seen.edge, seen.case]
    return told


def taken_from(text: str) -> list[Taken]:
    """Stages again. Raises ``KeyError``, ``TypeError`` or ``ValueError`` if they are not."""
    return [_taken(told) for told in json.loads(text)]


def _taken(told: dict[str, Any]) -> Taken:
    moves, seen = tuple(parse_moves(told["moves"])), None
    if "seen" in told:
        technique, corner, edge, case = told["seen"]
        a, b = ((place[0], place[1]) if place else None for place in (corner, edge))
        seen = Seen(str(technique), a, b, (case[0], case[1]))
    at = tuple(map(float, told["ms"]))
    if len(at) != len(moves):
        raise ValueError("as many times as moves")
    part = Part(told.get("part", Part.PAIRS))
    # An older livecube kept the pauses before pairs only.
    pause = float(told["pause"]) if part == Part.PAIRS or "pause" in told else None
    return Taken(Execution(moves, at, float(told["sure"]), part, pause), seen)
