"""Simulated persons with eyes of their own: what they see before a pair, and for how long.

Nothing here uses what learns eyes from pauses. The true table is the usual one with a tempo of 0.6
to 1.6, evenly on a logarithmic scale, and a log-normal factor (0.25) for each of its numbers. A
case that was met seldom takes up to 80 % longer. Each look has log-normal noise with mean 1. Now
and then the hands wait for something else. Common practice, no published source.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cache
from math import log
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.cube.geometry import FACES, PIECES
from livecube.cube.holding import COLOURS
from livecube.cube.position import SOLVED, apply_turns, rotated, rotation_taking
from livecube.hands.own_eyes import Look
from livecube.search.situation import PIECE_MOVES, SLOT_SYMMETRY, SOLVED_PLACES, piece_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from drawn_persons import Array, Walk

    from livecube.hands.automaton import Looking

_SLOTS: Final = [frozenset(text) for text in ("FR", "BR", "BL", "FL")]
_D: Final = FACES.index("D")


@dataclass(frozen=True, slots=True)
class Scene:
    """What is to be seen before a pair: as in ``Look``, without a time."""

    technique: str
    corner: tuple[int, int] | None
    edge: tuple[int, int] | None
    corner_alone: bool
    case: tuple[int, int]
    """Places as the slot sees them, up to a turn of the upper layer."""


@dataclass(frozen=True, slots=True)
class Eyes:
    """A person's true eyes."""

    factors: dict[str, float]
    """For each number of the table, the tempo included."""
    new_share: float
    gets_known: float
    spread: float
    p_wait: float


def draw_eyes(rng: np.random.Generator, usual: Looking, *, near: bool = False) -> Eyes:
    """A person's eyes. ``near``: those of the table but for 3 % of tempo."""
    names = [*(n for n, ms in usual.table.items() if isinstance(ms, float)), *usual.technique_ms]
    tempo = float(np.exp(rng.uniform(-0.03, 0.03) if near else rng.uniform(log(0.6), log(1.6))))
    each = np.exp(rng.normal(0, 0.0 if near else 0.25, len(names)))
    return Eyes(
        dict(zip(names, (tempo * each).tolist(), strict=True)),
        0.0 if near else float(rng.uniform(0, 0.8)),
        float(rng.uniform(3, 15)),
        float(rng.uniform(0.3, 0.5)),
        float(rng.uniform(0.01, 0.05)),
    )


@cache
def scenes(walk: Walk) -> tuple[Scene | None, ...]:
    """One for each pair of the walk; None if the cross is not down or it has no technique."""
    done = walk.of
    starts = [0, *(stage.end_turn for stage in done.stages)]
    turns = [turn.turn for turn in done.turns]
    scrambled = apply_turns(SOLVED, done.scramble)
    found: list[Scene | None] = []
    before: Array | None = None
    for number, stage in enumerate(done.stages):
        if stage.stage != "pair" or stage.shared:
            continue
        own = [i for i, of in enumerate(walk.stage.tolist()) if of == number]
        if len(own) < 2:
            continue
        position = apply_turns(scrambled, turns[: starts[number]])
        first = next(i for i in own if not walk.moves[i].is_rotation)
        faces = done.moves[first].holding.faces
        moved = np.zeros(20, dtype=bool) if before is None else before != position
        before = position
        if faces[_D] != done.cross or stage.technique is None or not stage.slots:
            found.append(None)
            continue
        found.append(_scene(position, moved, faces, stage.slots[0], stage.technique))
    return tuple(found)


def _scene(
    position: Array, moved: Array, faces: tuple[int, ...], slot_name: str, technique: str
) -> Scene:
    rotation = rotation_taking(faces[0], 0, faces[2], 2)
    places = piece_places(rotated(position, rotation).tolist())
    colours = slot_name.split("-")
    hand = frozenset(FACES[faces.index(COLOURS.index(colour))] for colour in colours)
    slot = _SLOTS.index(hand)
    fixed = {FACES[faces[_D]], *(FACES[COLOURS.index(colour)] for colour in colours)}
    corner_moved, edge_moved = (
        bool(moved[next(i for i, name in enumerate(PIECES) if set(name) == set(piece))])
        for piece in (fixed, fixed - {FACES[faces[_D]]})
    )
    corner, edge = int(places[slot]), int(places[slot + 4])
    seen = [int(SLOT_SYMMETRY[slot, kind, place]) for kind, place in ((0, corner), (1, edge))]
    turned = [(int(PIECE_MOVES[0, u, seen[0]]), int(PIECE_MOVES[1, u, seen[1]])) for u in range(3)]
    return Scene(
        technique,
        None if corner == SOLVED_PLACES[slot] else (corner, int(corner_moved)),
        None if edge == SOLVED_PLACES[slot + 4] else (edge, int(edge_moved)),
        technique == "keyhole-corner",
        min([(seen[0], seen[1]), *turned]),
    )


def true_ms(eyes: Eyes, usual: Looking, scene: Scene, met: int) -> float:
    """The person's expected milliseconds of a look."""
    table: dict[str, Any] = {**usual.table, **usual.table["techniques"]}
    names = ["base", scene.technique]
    for kind, piece, facelets in (("corner", scene.corner, 3), ("edge", scene.edge, 2)):
        if piece is not None:
            place = PIECES[piece[0] // facelets + (8 if kind == "edge" else 0)]
            where = next(n for n, own in usual.table["places"].items() if place in own)
            names += [kind, where, "moved" if piece[1] else "stayed"]
            if scene.corner_alone and kind == "corner" and place[0] == "U" and piece[0] % 3 == 0:
                names.append("keyhole_corner_up")
    total = sum(1000 * table.get(name, 0.0) * eyes.factors.get(name, 1.0) for name in names)
    return float(total * (1 + eyes.new_share * np.exp(-met / eyes.gets_known)))


@dataclass(frozen=True, slots=True)
class Seen:
    """One look of a person, for those who learn from it and for those who judge."""

    look: Look
    true_ms: float
    took_ms: float
    """Without waiting."""


def looks(
    eyes: Eyes, usual: Looking, walks: Sequence[Walk], rng: np.random.Generator
) -> list[list[Seen]]:
    """The looks of solves, one after the other; times are exact but for their noise."""
    met: Counter[tuple[int, int]] = Counter()
    made = []
    for walk in walks:
        solve = []
        for scene in scenes(walk):
            if scene is None:
                continue
            true = true_ms(eyes, usual, scene, met[scene.case])
            took = true * float(np.exp(rng.normal(-(eyes.spread**2) / 2, eyes.spread)))
            waited = 900 * float(np.exp(rng.normal(0, 0.5))) * (rng.random() < eyes.p_wait)
            look = Look(
                took + waited + float(rng.normal(0, 30)),
                scene.technique,
                scene.corner,
                scene.edge,
                scene.corner_alone,
                met[scene.case],
            )
            solve.append(Seen(look, true, took))
            met[scene.case] += 1
        made.append(solve)
    return made
