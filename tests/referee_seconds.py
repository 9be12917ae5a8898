"""The referee of seconds: the fastest ways under each technique's constraint, exactly and slowly.

It shares no code with the program: the cube is :mod:`referee_cube`, the questions of the techniques
are :mod:`referee`, the prices are the output of ``livecube hands --table --json``
(:mod:`referee_hands`), and :mod:`referee_kernel` tries all allowed sequences.

It searches written moves, so each sequence of turns is found in its cheapest spelling. A door
``D^a`` may be turned before or after a turn of U at the beginning, and in any spelling. A turn is
written as one move: ``L2 R`` never as ``L R L``, ``L2`` never as ``Rw L``. A walk ends where its
goal is reached, so no listed sequence goes on after its goal.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from referee import TECHNIQUES, Question
from referee_cube import AXES, FACELETS, FACES, OPPOSITE, View, clockwise, slots
from referee_hands import HOLDINGS, NEVER, Hands, held_as
from referee_kernel import (
    CORNER_STICKERS,
    CROSS,
    EDGE_STICKERS,
    LONGEST,
    PLACES,
    cross_bound,
    pair_bound,
    quick_cross_bound,
    turn_distances,
    walk,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

__all__ = [
    "MOST_MS_OF",
    "SECOND_PARTS",
    "SLACK_MS",
    "Referee",
    "Way",
    "front_holdings",
    "learn_distances",
    "merged",
]

SLACK_MS: Final = 50
"""Ways up to this much slower than the fastest are listed."""

SECOND_PARTS: Final = {
    "keyhole-chain": ("keyhole-corner", "keyhole-edge", "keyhole-flip"),
    "pseudo-x-cross": ("pseudo-pair",),
}
_NAMES: Final = [face + amount for face in FACES for amount in ("", "2", "'")]
_ROOM: Final = 400_000
_STEP_MS: Final = 60
_MOST_MS: Final = 6000
MOST_MS_OF: Final = {"keyhole-chain": 1900, "pseudo-x-cross": 1700}
"""Slower ways in two parts are not searched: the program searches no slower chains, and pseudo
X-crosses somewhat slower."""
_D: Final = FACES.index("D")
_RING: Final = [FACES.index(f) for f in "FRBL"]


@dataclass(frozen=True)
class Way:
    """A sequence, as turns and as written moves."""

    ms: int
    """Price, with the rotation that brings the cross down at the end."""
    turns: str
    """In the fixed frame, merged."""
    moves: str
    """From holding ``start``."""
    start: tuple[str, str]
    """Fixed faces (letters) up and front before it."""
    end: tuple[str, str]
    """The same after it, with the cross down again."""


def merged(turns: Sequence[str]) -> str:
    """Turns of one axis in a row are summed; of opposite faces U, L, F come first."""
    result: list[str] = []
    group: dict[str, int] = {}
    for name in [*turns, "end"]:
        if group and name[0] not in group and OPPOSITE.get(name[0]) not in group:
            result += [f + ("", "2", "'")[group[f] % 4 - 1] for f in FACES if group.get(f, 0) % 4]
            group = {}
        if name != "end":
            group[name[0]] = group.get(name[0], 0) + ("", "2", "'").index(name[1:]) + 1
    return " ".join(result)


def front_holdings(down: str) -> list[tuple[str, str]]:
    """The four ways to hold the cube with face ``down`` down: (up, front)."""
    return [(OPPOSITE[down], f) for f in FACES if f not in (down, OPPOSITE[down])]


_TILTS: Final = {
    "D": ("R", 0),
    "F": ("L", 1),
    "U": ("R", 2),
    "B": ("R", 1),
    "R": ("F", 1),
    "L": ("B", 1),
}
"""The face and the quarters of a rotation that brings a face to D."""


@cache
def _tilt(down: str) -> tuple[dict[str, str], dict[str, str], bytes]:
    """A rotation of space that takes face ``down`` to D: faces there, faces back, facelets."""
    axis, times = _TILTS[down]

    def spun(v: Any) -> Any:
        for _ in range(times):
            v = clockwise(v, AXES[axis])
        return v

    there = {f: next(g for g in FACES if AXES[g] == spun(v)) for f, v in AXES.items()}
    assert there[down] == "D"
    moved = bytes(FACELETS.index((spun(p), spun(n))) for p, n in FACELETS)
    return there, {g: f for f, g in there.items()}, moved


@dataclass
class _Core:
    """Pieces that turns without doors must bring home, in the frame with the cross down."""

    cross: list[int]
    corners: list[tuple[int, int]]
    """Place and goal of each sticker; the target's come last."""
    edges: list[tuple[int, int]]
    faces: str
    glued: bool


def _core(view: View, pieces: Sequence[int], offset: int, faces: str, glued: bool) -> _Core:
    now, homes = view.now(pieces), view.homes(pieces, offset)
    cross, corners, edges = {}, [], []
    for here, home in zip(now, homes, strict=True):
        if home in EDGE_STICKERS:
            pair = EDGE_STICKERS.index(here), EDGE_STICKERS.index(home)
            if pair[1] in CROSS:
                cross[pair[1]] = pair[0]
            else:
                edges.append(pair)
        else:
            corners.append((CORNER_STICKERS.index(here), CORNER_STICKERS.index(home)))
    return _Core([cross[c] for c in CROSS], corners, edges, faces, glued)


def _columns(pieces: list[tuple[int, int]]) -> tuple[Any, Any]:
    """Places of stickers, and their goals."""
    table = np.array(pieces, dtype=np.int64).reshape(-1, 2)
    return table[:, 0].copy(), table[:, 1].copy()


@dataclass
class _Found:
    """The result of a walk: the cheapest spelling of each sequence of turns."""

    rows: dict[str, tuple[int, tuple[int, ...], Any]] = field(default_factory=dict)
    """By merged turns: ms, the coded moves, further data."""

    def add(self, turns: str, ms: int, moves: tuple[int, ...], more: Any) -> None:
        if turns not in self.rows or ms < self.rows[turns][0]:
            self.rows[turns] = (ms, moves, more)

    @property
    def least(self) -> int:
        return min((row[0] for row in self.rows.values()), default=NEVER)


_DISTANCES: Final[dict[bool, Any]] = {}


def learn_distances(free: bool, folder: Path) -> None:
    """Let all referees of this process use bounds by distances in turns, kept in a file.

    ``free``: turns of the cross layer among them. It takes a minute the first time.
    """
    path = folder / f"referee-distances-{int(free)}.npy"
    if not path.exists():
        np.save(path, turn_distances(-1 if free else _D))
    _DISTANCES[free] = np.load(path)


class Referee:
    """Answers by one printed table of hands."""

    def __init__(self, table: dict[str, Any], whole_cross: bool = False) -> None:
        """``whole_cross``: starts more slowly, and is quick where the cross is broken."""
        self.hands, self._quick = Hands(table), not whole_cross
        self._zero = np.zeros_like(self.hands.finish)
        self._cross: dict[tuple[bool, bool], Any] = {}
        self._pairs: dict[tuple[bool, bool, int, int], Any] = {}
        self._rows: dict[tuple[bool, bool, int, int], int] = {}
        self._stack: dict[tuple[bool, bool], Any] = {}
        self._heads: dict[tuple[int, int, int], Any] = {}
        self._spelled: dict[int, list[tuple[int, int]]] = {}
        self._tails: dict[int, Any] = {}
        self._moves = np.zeros((_ROOM, LONGEST), dtype=np.int64)
        self._info = np.zeros((_ROOM, 5), dtype=np.int64)

    # Questions.

    def fastest(
        self,
        view: View,
        technique: str,
        targets: tuple[str, ...],
        starts: Sequence[tuple[str, str]] | None = None,
        slack_ms: int = SLACK_MS,
    ) -> list[Way] | None:
        """The fastest ways, cheapest first; empty: the technique does not apply.

        ``targets`` are names of slots (none for ``cross``); ``starts`` are holdings, each as fixed
        faces (up, front), and default to the four with the cross down.
        """
        there, _, moved = _tilt(view.down)
        tilted = View(self._tilted(view.where, moved), "D")
        names = slots(view.down)
        own = {frozenset(faces): name for name, faces in slots("D").items()}
        goal = tuple(own[frozenset(there[f] for f in names[t])] for t in targets)
        held = [
            held_as(FACES.index(there[u]), FACES.index(there[f]))
            for u, f in (starts or front_holdings(view.down))
        ]
        rows = self._rows_of(tilted, technique, goal, held, slack_ms)
        return None if rows is None else [self._way(view.down, held, *row[:3]) for row in rows]

    @staticmethod
    def _tilted(where: bytes, moved: bytes) -> bytes:
        result = bytearray(len(where))
        for home, here in enumerate(where):
            result[moved[home]] = moved[here]
        return bytes(result)

    def _rows_of(
        self, view: View, technique: str, targets: tuple[str, ...], held: list[int], slack: int
    ) -> Any:
        state = self.hands.states[0]
        begun = [(h, state, 0) for h in held]
        if technique == "cross":
            question = Question(view.cross, FACES)
        elif technique in SECOND_PARTS:
            return self._in_two(view, technique, targets, begun, slack)
        else:
            asked = TECHNIQUES[technique](view)
            if targets not in asked:
                return None
            question = asked[targets]
        found, limit = _Found(), _Limit(slack)
        while not limit.done(found):
            self._ask(view, question, begun, limit, found)
        return self._near(found, slack)

    @staticmethod
    def _near(found: _Found, slack: int) -> Any:
        best = found.least
        rows = [(ms, turns, *more) for turns, (ms, *more) in found.rows.items()]
        return sorted(row for row in rows if row[0] <= best + slack)

    # One question under one limit.

    def _ask(
        self,
        view: View,
        question: Question,
        begun: Any,
        limit: _Limit,
        found: _Found,
        tails: bool = True,
    ) -> None:
        """Add all ways within the limit to ``found``; without ``tails`` they end after X."""
        if question.doors is None:
            starts = [(*start, 0, ()) for start in begun]
            for offset in question.offsets:
                core = _core(view, question.pieces, offset, question.faces, question.glued)
                tail = self._tail(-offset % 4) if tails else None
                self._walk(core, starts, tail, -offset % 4, limit, found)
            return
        for a in question.doors:
            offset = ((view.offset or 0) + a) % 4
            tail = self._tail(-offset % 4) if tails else None
            for before, starts in self._after_door(begun, a, limit.ms).items():
                turned = View(View.played(view.turned(view.where, a), before), "D")
                core = _core(turned, question.pieces, offset, question.faces, question.glued)
                self._walk(core, starts, tail, -offset % 4, limit, found)

    def _walk(
        self, core: _Core, starts: Any, tail: Any, back: int, limit: _Limit, found: _Found
    ) -> None:
        if not starts:
            return
        hands, free = self.hands, "D" in core.faces
        upright = tail is not None and back == 0
        finish = self._free_tail() if tail is None else tail
        tables, rows = self._tables(free, upright, core)
        corners, corner_homes = _columns(core.corners)
        edges, edge_homes = _columns(core.edges)
        walked: Any = walk
        count, _ = walked(
            np.array(core.cross, dtype=np.int64),
            corners, edges, corner_homes, edge_homes,
            rows, self._cross_table(free, upright), tables,
            *self._deep(free, core), core.glued,
            np.array([f in core.faces for f in FACES]), hands.price, hands.next, hands.turn,
            hands.after, hands.rotation, np.argsort(hands.rotation, axis=1), hands.states[1],
            np.array([start[:4] for start in starts], dtype=np.int64), finish,
            int(finish.min()) + limit.rest, limit.ms, limit.slack, self._moves, self._info,
        )  # fmt: skip
        assert count >= 0, "more ways than there is room for: the limit rose too fast"
        for moves, (ms, length, start, to, state) in zip(
            self._moves[:count].tolist(), self._info[:count].tolist(), strict=True
        ):
            before = starts[start][4]
            written = (*before, *moves[:length])
            turns = self._turns(written)
            if tail is None:
                key = (merged(turns), to, state)
                found.add(" ".join(map(str, key)), ms, written, (turns, to, state))
            else:
                more = self._tail_moves(back)[to][state]
                found.add(merged([*turns, *self._turns(more)]), ms, (*written, *more), ())

    def _turns(self, coded: Sequence[int]) -> list[str]:
        turn = self.hands.turn
        return [_NAMES[turn[each // 36, each % 36]] for each in coded]

    # Doors

    def _door_moves(self, turn: int) -> list[tuple[int, int]]:
        """(Holding, move) for every spelling of a fixed turn."""
        if turn not in self._spelled:
            where = np.argwhere(self.hands.turn == turn).tolist()
            self._spelled[turn] = [(h, m) for h, m in where]
        return self._spelled[turn]

    def _stepped(self, begun: Any, turn: int, most: int) -> Any:
        """The cheapest way to each (holding, state) by one turn, rotations before it included.

        Entries: (holding, state) to (ms, coded moves), ``most`` ms at most.
        """
        hands, result = self.hands, dict[tuple[int, int], tuple[int, tuple[int, ...]]]()
        for (held, state), (ms, coded) in begun.items():
            near = [ms + spin <= most for spin in hands.rotation[held].tolist()]
            for h, m in self._door_moves(turn):
                if not near[h]:
                    continue
                stands = state if h == held else hands.states[1]
                total = ms + int(hands.rotation[held, h]) + int(hands.price[stands, m])
                key = (int(hands.after[h, m]), int(hands.next[stands, m]))
                if total <= most and (key not in result or total < result[key][0]):
                    result[key] = (total, (*coded, 36 * h + m))
        return result

    def _head(self, held: int, state: int, a: int, most: int) -> Any:
        """Sorted (ms, holding, state, turns of U that were put in, coded moves) after ``D^a``.

        All within ``most`` ms, and perhaps others.
        """
        known, rows = self._heads.get((held, state, a), (-1, []))
        if known < most:
            begun, door = {(held, state): (0, ())}, 3 * _D + a - 1
            steps: list[tuple[Any, tuple[str, ...]]] = [(self._stepped(begun, door, most), ())]
            for u in range(3):
                before = self._stepped(begun, u, most)
                steps.append((self._stepped(before, door, most), (_NAMES[u],)))
            rows = sorted(
                (ms, h, s, put_in, coded)
                for step, put_in in steps
                for (h, s), (ms, coded) in step.items()
            )
            self._heads[held, state, a] = (most, rows)
        return rows

    def _after_door(self, begun: Any, a: int, limit: int) -> dict[tuple[str, ...], list[Any]]:
        """Where one stands after ``D^a``, by the turns of U that were put in."""
        if a == 0:
            return {(): [(*start, 0, ()) for start in begun]}
        result: dict[tuple[str, ...], list[Any]] = {}
        for held, state, ms in begun:
            for head, h, s, put_in, coded in self._head(held, state, a, limit - ms):
                if ms + head <= limit:
                    stands = (h, s, ms + head, len(put_in), coded)
                    result.setdefault(put_in, []).append(stands)
        return result

    def _tail(self, back: int) -> Any:
        """Shape (24, states): the cheapest ``D^back`` and the rotation that ends it."""
        if back not in self._tails:
            hands = self.hands
            states = hands.price.shape[0]
            cost = np.repeat(hands.finish[:, None], states, axis=1).astype(np.int64)
            coded: Any = [[() for _ in range(states)] for _ in range(24)]
            if back:
                h, m = np.array(self._door_moves(3 * _D + back - 1)).T
                for held in range(24):
                    # Each spelling's price in each state; of equal ones the first counts.
                    stands = np.where(h[:, None] == held, np.arange(states), hands.states[1])
                    ends = hands.rotation[held, h] + hands.finish[hands.after[h, m]]
                    prices = ends[:, None].astype(np.int64) + hands.price[stands, m[:, None]]
                    cost[held] = prices.min(axis=0)
                    coded[held] = [(one,) for one in (36 * h + m)[prices.argmin(axis=0)].tolist()]
            self._tails[back] = (cost, coded)
        return self._tails[back][0]

    def _tail_moves(self, back: int) -> Any:
        return self._tails[back][1]

    def _free_tail(self) -> Any:
        return np.zeros((24, self.hands.price.shape[0]), dtype=np.int64)

    # Bounds

    def _cross_table(self, free: bool, upright: bool) -> Any:
        if (free, upright) not in self._cross:
            finish = self.hands.finish if upright else self._zero
            bound = quick_cross_bound if self._quick else cross_bound
            self._cross[free, upright] = bound(self.hands, finish, -1 if free else _D)
        return self._cross[free, upright]

    def _tables(self, free: bool, upright: bool, core: _Core) -> Any:
        """All pair tables, and (corner, edge, table) for each bound of this question."""
        finish = self.hands.finish if upright else self._zero
        pairs = [
            (c, e)
            for c in range(len(core.corners) - 1, -1, -1)
            for e in range(len(core.edges) - 1, -1, -1)
            if c == e or len(core.corners) != len(core.edges)
        ]
        rows = []
        for c, e in pairs:
            key = (free, upright, core.corners[c][1], core.edges[e][1])
            if key not in self._rows:
                table = pair_bound(self.hands, key[2], key[3], finish, -1 if free else _D)
                stack = self._stack.get((free, upright))
                self._rows[key] = 0 if stack is None else len(stack)
                self._stack[free, upright] = (
                    table[None] if stack is None else np.vstack([stack, table[None]])
                )
            rows.append((c, e, self._rows[key]))
        stack = self._stack.get((free, upright))
        if stack is None:
            stack = np.zeros((1, 1), dtype=np.uint16)
        return stack, np.array(rows, dtype=np.int64).reshape(-1, 3)

    def _deep(self, free: bool, core: _Core) -> Any:
        """Rows for the distances in turns, if they are loaded, and the least ms of turns."""
        distances = _DISTANCES.get(free)
        rows = [
            (c, e, PLACES.index((corner, edge)))
            for c, (_, corner) in reversed(list(enumerate(core.corners)))
            for e, (_, edge) in enumerate(core.edges)
            if distances is not None and (corner, edge) in PLACES
        ]
        price = self.hands.price.min(axis=0)
        any_ms, not_u = int(price.min()), int(price[3:].min())
        # Two turns of U are never written in a row.
        worth = np.array([n // 2 * not_u + (n + 1) // 2 * min(any_ms, not_u) for n in range(256)])
        if distances is None:
            distances = np.zeros((1, 1), dtype=np.uint8)
        return np.array(rows, dtype=np.int64).reshape(-1, 3), distances, worth

    # Techniques in two parts

    def _in_two(
        self, view: View, technique: str, targets: tuple[str, ...], begun: Any, slack: int
    ) -> Any:
        asked = TECHNIQUES[technique](view)
        if targets not in asked:
            return None
        chain = technique == "keyhole-chain"
        rest = self._least_second + chain * int(self.hands.price.min())  # it turns the layer on
        found, limit = _Found(), _Limit(slack, rest)
        most = MOST_MS_OF[technique]
        while limit.ms < most and not limit.done(found):
            inner = _Limit(_MOST_MS, limit.rest)
            inner.ms = min(limit.ms, most)
            firsts = _Found()
            self._ask(view, asked[targets], begun, inner, firsts, tails=False)
            for ms, coded, (turns, to, state) in sorted(firsts.rows.values(), key=lambda r: r[0]):
                limit.fall(found)
                if ms + limit.rest > limit.ms:
                    break
                then = View(View.played(view.where, turns), "D")
                for second in SECOND_PARTS[technique]:
                    # A pseudo pair fills both slots, a keyhole the second.
                    questions = TECHNIQUES[second](then)
                    question = questions.get(targets[1:] if chain else targets)
                    if question is None or question.doors is None:
                        continue
                    if not chain and self._comes_earlier(view, asked[targets], turns):
                        continue
                    doors = frozenset(b for b in question.doors if b or not chain)
                    wholes = _Found()
                    last = _Limit(slack)
                    last.ms = limit.ms
                    part = Question(question.pieces, question.faces, doors=doors)
                    self._ask(then, part, [(to, state, ms)], last, wholes)
                    for more, (total, moves, _) in wholes.rows.items():
                        # Nobody stops where turns would merge.
                        whole = merged(apart := [*turns, *more.split()])
                        if len(whole.split()) == len(apart):
                            found.add(whole, total, (*coded, *moves), ())
        return [row for row in self._near(found, slack) if row[0] <= most]

    @cached_property
    def _least_second(self) -> int:
        """Least milliseconds of three turns of other layers and one that turns the cross back."""
        hands, least = self.hands, np.minimum.reduce([self._tail(back) for back in (1, 2, 3)])
        for _ in range(3):
            before = np.full_like(least, NEVER)
            for held, move in np.argwhere(hands.turn // 3 != _D).tolist():
                done = hands.price[:, move] + least[hands.after[held, move], hands.next[:, move]]
                before[held] = np.minimum(before[held], done)
            turned = (hands.rotation + before[:, hands.states[1]]).min(axis=1)
            least = np.minimum(before, turned[:, None])
        return int(least.min())

    @staticmethod
    def _comes_earlier(view: View, question: Question, turns: Sequence[str]) -> bool:
        """Whether the goal is reached, at any offset, before the last turn."""
        for cut in range(len(turns)):
            then = View(View.played(view.where, turns[:cut]), "D")
            now = then.now(question.pieces)
            if any(now == then.homes(question.pieces, offset) for offset in question.offsets):
                return True
        return False

    # As written

    def _way(
        self, down: str, starts: list[int], ms: int, turns: str, coded: tuple[int, ...]
    ) -> Way:
        _, back, _ = _tilt(down)
        hands, first = self.hands, coded[0] // 36
        start = next(
            h for h in sorted(starts, key=lambda h: h != first) if self._price(h, coded) == ms
        )
        held, words = start, []
        for each in coded:
            h, m = divmod(each, 36)
            if h != held:
                words.append(hands.rotation_text[held][h])
            words.append(hands.table["moves"][m])
            held = int(hands.after[h, m])
        end = hands.ends[held]
        named = merged([back[t[0]] + t[1:] for t in turns.split()])
        return Way(ms, named, " ".join(words), self._colours(start, back), self._colours(end, back))

    def _price(self, held: int, coded: tuple[int, ...]) -> int:
        hands = self.hands
        (state, rotated), total = hands.states, 0
        for each in coded:
            h, m = divmod(each, 36)
            state = rotated if h != held else state
            total += int(hands.rotation[held, h]) + int(hands.price[state, m])
            state, held = int(hands.next[state, m]), int(hands.after[h, m])
        return total + int(hands.finish[held])

    @staticmethod
    def _colours(held: int, back: dict[str, str]) -> tuple[str, str]:
        holding = HOLDINGS[held]
        return back[FACES[holding[0]]], back[FACES[holding[2]]]


@dataclass
class _Limit:
    """The limit of a search: it rises until a way is found, and then once more by the slack."""

    slack: int
    rest: int = 0
    """Least milliseconds after the walked part."""
    ms: int = 300
    _last: bool = False

    def done(self, found: _Found) -> bool:
        if self._last or self.ms > _MOST_MS:
            return True
        if found.rows:
            best = found.least
            self._last = True
            if best + self.slack <= self.ms:  # everything was within the limit
                return True
            self.ms = best + self.slack
        else:
            self.ms += _STEP_MS
        return False

    def fall(self, found: _Found) -> None:
        self.ms = min(self.ms, found.least + self.slack)
