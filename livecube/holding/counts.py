"""Counts of how often people make each move and rotation; likelihoods are made from them."""

from __future__ import annotations

import json
from collections import defaultdict
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np

from livecube.cube.notation import moves_text, parse_moves
from livecube.errors import NotationError, UsageError
from livecube.holding.observations import CLOSE_MS, PACES, STAGES, TEMPOS, is_tilted
from livecube.holding.written import (
    HAND_MOVES,
    HELD_AFTER,
    MIRRORED,
    MIRRORED_ROTATIONS,
    ROTATIONS_WRITTEN,
    SEEN_AS_SLICE,
    hand_move,
    rotation_number,
)

if TYPE_CHECKING:
    from livecube.holding.kernel import Array, Seen
    from livecube.holding.observations import Path

__all__ = [
    "COUNTED",
    "GRIPS",
    "GROUPS",
    "LAST_LAYER",
    "LONGEST",
    "USUAL_WAYS",
    "Context",
    "Counts",
    "begin_context",
    "counts_text",
    "longer",
    "parse_counts",
]

GROUPS: Final = (0, 1, 2, 2, 2)
"""Stages whose moves are counted together: cross, pairs, last layer."""

COUNTED: Final = ("planned", "unplanned")
"""How virtual solvers choose the holding of an insertion: for all its turns, or for the first."""

USUAL_WAYS: Final = ("front", "back")
"""How people with the usual sequences do, whom nobody counted: with the slot at the front, or
wherever it is; see ``tests/checks/usual_counts.py``."""

GRIPS: Final = (*COUNTED, *USUAL_WAYS)
"""All kinds."""

LAST_LAYER: Final = 2
"""The group of the last layer."""

LONGEST: Final = 3
"""Most moves (or marks of a beginning) in a context."""

Context: TypeAlias = tuple[int, ...]
"""The hands' last moves before a move: the group of stages, then at most :data:`LONGEST` moves,
back to the last rotation or beginning of a stage, which a number from 45 on marks."""


def begin_context(stage: int, rotated: bool) -> Context:
    """The context at the beginning of a stage, after a rotation or without one."""
    return (GROUPS[stage], len(HAND_MOVES) + 2 * stage + rotated)


def longer(context: Context, move: int) -> Context:
    """The context after one more move."""
    group, *last = context
    return (group, *[*last, move][-LONGEST:])


class Counts:
    """Counts from solves whose moves are known, or were drawn at random by likelihood."""

    def __init__(self, grip: str = GRIPS[0]) -> None:
        self.grip = grip
        """How these hands, or the hands most like them, choose a grip: one of :data:`GRIPS`."""
        shape = (len(STAGES), 3, 2, len(PACES) + 1, 24)
        self.rotations: Array = np.zeros(shape)
        """By stage, turns since it began, tilted before, class of the gap, and rotation."""
        self.moves: defaultdict[Context, Array] = defaultdict(lambda: np.zeros(len(HAND_MOVES)))
        """Moves by context, of all lengths down to the group alone."""
        self.tempos: Array = np.zeros((len(HAND_MOVES), len(TEMPOS) + 2))
        """By move, class of the gap before it: turns of F, B and D take longer than those of R."""
        self.slices: Array = np.zeros((2, len(CLOSE_MS) + 1))
        """Opposite turns that could be a slice, by class of the gap: two moves, one slice."""
        self.first_tilted: Array = np.zeros(2)
        """First moves with the cross down, and with the cross elsewhere."""

    def mirrored(self) -> Counts:
        """The same solves, made by a person whose left hand is the stronger one."""
        other = Counts(self.grip)
        other.slices, other.first_tilted = self.slices.copy(), self.first_tilted.copy()
        other.rotations[..., MIRRORED_ROTATIONS] = self.rotations
        other.tempos[MIRRORED] = self.tempos
        for (group, *last), row in self.moves.items():
            moves = (MIRRORED[move] if move < len(MIRRORED) else move for move in last)
            other.moves[(group, *moves)][MIRRORED] = row
        return other

    def weakened(self, worth: float) -> Counts:
        """The same counts, each worth less."""
        other = Counts(self.grip)
        other.rotations, other.tempos = self.rotations * worth, self.tempos * worth
        other.slices, other.first_tilted = self.slices * worth, self.first_tilted * worth
        for context, row in self.moves.items():
            other.moves[context] = row * worth
        return other

    def add(self, seen: Seen, cross: int, path: Path, weight: float = 1.0) -> None:
        """Count one solve; ``cross``: face of its cross colour."""
        context: Context = ()
        held = -1
        for step in path:
            stage, since = int(seen.stages[step.first]), int(seen.since[step.first])
            if held < 0:
                self.first_tilted[int(is_tilted(step.holding, cross))] += weight
                rotation = 0
            else:
                rotation = rotation_number(held, step.holding)
                tilted = int(is_tilted(held, cross))
                pace = int(seen.paces[step.first])
                self.rotations[stage, since, tilted, pace, rotation] += weight
            if rotation or since == 0 or not context:
                context = begin_context(stage, rotation != 0)
            self._count_move(context, step.move, weight)
            if not rotation:
                self.tempos[step.move, seen.tempos[step.first]] += weight
            context = longer(context, step.move)
            held = int(HELD_AFTER[step.holding, step.move])
        self._count_slices(seen, path, weight)

    def _count_move(self, context: Context, move: int, weight: float) -> None:
        group, *last = context
        for begin in range(len(last) + 1):
            self.moves[(group, *last[begin:])][move] += weight

    def _count_slices(self, seen: Seen, path: Path, weight: float) -> None:
        starts = {step.first: step for step in path}
        for i in range(1, len(seen.turns)):
            if SEEN_AS_SLICE[0, seen.turns[i - 1], seen.turns[i]] >= 0:
                step = starts.get(i - 1)
                if step is not None and (step.reports == 2 or i in starts):
                    self.slices[int(step.reports == 2), seen.close[i]] += weight


# Counts as text and back: JSON, one context a line, moves as people write them.


_VERSION: Final = 2
_GROUP_NAMES: Final = ("cross", "pair", "last layer")
_TILT_NAMES: Final = ("down", "tilted")
_WRITTEN: Final = tuple(map(str, HAND_MOVES))
_NUMBERS: Final = {name: number for number, name in enumerate(_WRITTEN)}
_ROTATIONS: Final = {moves_text(moves): number for number, moves in enumerate(ROTATIONS_WRITTEN)}
_MARKS: Final = tuple(f"{what} {stage}" for stage in STAGES for what in ("begun", "rotated"))


def counts_text(counts: Counts, about: str, least: float = 1.0) -> str:
    """The counts as text; ``about``: where they come from.

    Contexts of two moves or more that were seen less than ``least`` times are left out.
    """
    moves = {
        _context_text(context): _sparse(row, _WRITTEN)
        for context, row in sorted(counts.moves.items(), key=lambda item: (len(item[0]), item[0]))
        if row.any() and (len(context) <= 2 or row.sum() >= least)
    }
    tempos = {
        name: _numbers(row) for name, row in zip(_WRITTEN, counts.tempos, strict=True) if row.any()
    }
    names = tuple(_ROTATIONS)
    rotations = {
        f"{STAGES[stage]} {since} {_TILT_NAMES[tilted]} {pace}": _sparse(row, names)
        for (stage, since, tilted, pace) in np.ndindex(counts.rotations.shape[:-1])
        if (row := counts.rotations[stage, since, tilted, pace]).any()
    }
    parts = {
        "livecube_holding_counts": _VERSION,
        "about": about,
        "grip": counts.grip,
        "first_tilted": _numbers(counts.first_tilted),
        "slices": [_numbers(row) for row in counts.slices],
        "tempos": tempos,
        "rotations": rotations,
        "moves": moves,
    }
    return "{\n" + ",\n".join(_entry(key, value) for key, value in parts.items()) + "\n}\n"


def _entry(key: str, value: Any) -> str:
    if not isinstance(value, dict):
        return f"{json.dumps(key)}: {json.dumps(value)}"
    lines = ",\n".join(f"{json.dumps(k)}: {json.dumps(v)}" for k, v in value.items())
    return f"{json.dumps(key)}: {{\n{lines}\n}}"


def _numbers(row: Array) -> list[float]:
    return [int(x) if x == int(x) else round(float(x), 2) for x in row]


def _sparse(row: Array, names: tuple[str, ...]) -> dict[str, float]:
    return {name: x for name, x in zip(names, _numbers(row), strict=True) if x}


def _context_text(context: Context) -> str:
    group, *last = context
    words = [_WRITTEN[i] if i < len(_WRITTEN) else f"({_MARKS[i - len(_WRITTEN)]})" for i in last]
    return " ".join([f"{_GROUP_NAMES[group]}:", *words])


def parse_counts(text: str) -> Counts:
    """Counts from text.

    Raises :class:`~livecube.errors.UsageError`, which names the entry that is wrong.
    """
    try:
        parts = json.loads(text)
    except ValueError as error:
        raise _wrong("the text", f"is not JSON: {error}") from None
    if not isinstance(parts, dict) or parts.get("livecube_holding_counts") != _VERSION:
        raise _wrong(
            "livecube_holding_counts", f"must be {_VERSION}; this is another file, or an older one"
        )
    if (grip := parts.get("grip")) not in GRIPS:
        raise _wrong("grip", f"must be {' or '.join(GRIPS)}, not {grip!r}")
    counts = Counts(grip)
    _fill(counts.first_tilted, "first_tilted", parts.get("first_tilted"))
    _fill(counts.slices, "slices", parts.get("slices"))
    for name, row in _table(parts, "tempos").items():
        if name not in _NUMBERS:
            raise _wrong(f"tempos, {name!r}", "must be a move")
        _fill(counts.tempos[_NUMBERS[name]], f"tempos, {name!r}", row)
    for name, row in _table(parts, "rotations").items():
        counts.rotations[_class(name)] = _dense(row, f"rotations, {name!r}", _ROTATIONS, 24)
    for name, row in _table(parts, "moves").items():
        dense = _dense(row, f"moves, {name!r}", _NUMBERS, len(_WRITTEN))
        counts.moves[_context(name)] = dense
    return counts


def _wrong(entry: str, reason: str) -> UsageError:
    return UsageError(f"{entry}: {reason}")


def _table(parts: dict[str, Any], key: str) -> dict[str, Any]:
    table = parts.get(key)
    if not isinstance(table, dict):
        raise _wrong(key, "must be a table of counts")
    return table


def _fill(array: Array, key: str, value: object) -> None:
    try:
        its = np.array(value, dtype=float)
    except (TypeError, ValueError):
        its = np.empty(0)
    if its.shape != array.shape or not np.isfinite(its).all() or (its < 0).any():
        raise _wrong(key, f"must be numbers from 0 on, of shape {array.shape}")
    array[:] = its


def _dense(row: object, entry: str, names: dict[str, int], length: int) -> Array:
    dense = [0.0] * length
    if not isinstance(row, dict):
        raise _wrong(entry, "must be a table of counts")
    for name, count in row.items():
        if name not in names:
            raise _wrong(entry, f"{name!r} is not a counted move")
        good = isinstance(count, int | float) and not isinstance(count, bool)
        if not (good and 0 <= count < float("inf")):
            raise _wrong(entry, f"{name!r} must be counted from 0 on, not {count!r}")
        dense[names[name]] = count
    return np.array(dense, dtype=float)


def _class(name: str) -> tuple[int, int, int, int]:
    words = name.split(" ")
    try:
        stage, since, tilted, pace = words
        found = STAGES.index(stage), int(since), _TILT_NAMES.index(tilted), int(pace)
    except ValueError:
        raise _wrong(f"rotations, {name!r}", _CLASS_FORM) from None
    if not (0 <= found[1] <= 2 and 0 <= found[3] <= len(PACES)):
        raise _wrong(f"rotations, {name!r}", _CLASS_FORM)
    return found


_CLASS_FORM: Final = (
    f"must be a stage ({', '.join(STAGES)}), 0 to 2 turns since it began, "
    f"{' or '.join(_TILT_NAMES)}, and a class of gaps from 0 to {len(PACES)}"
)


def _last_moves(words: str) -> list[int]:
    """The numbers of moves, of which a start reads ten thousand; seldom they are not as written."""
    names = words.split()
    if all(name in _NUMBERS for name in names):
        return [_NUMBERS[name] for name in names]
    return [hand_move(move) for move in parse_moves(words)]


def _context(name: str) -> Context:
    group, colon, words = name.partition(":")
    try:
        marks = [f"({mark})" for mark in _MARKS]
        if not colon:
            raise ValueError
        found = [_GROUP_NAMES.index(group)]
        while words.strip().startswith("("):
            mark, _, words = words.strip().partition(")")
            found.append(len(_WRITTEN) + marks.index(mark + ")"))
        found += _last_moves(words)
    except (ValueError, KeyError, NotationError):
        raise _wrong(
            f"moves, {name!r}", f"must be {', '.join(_GROUP_NAMES)}, a colon, and what came before"
        ) from None
    return tuple(found)
