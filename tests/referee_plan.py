"""The referee's plans: a beam over orders and ways for all free slots, and the price of looking.

Slow and simple: in each position it takes the few best ways into each free slot by every technique,
and carries the holding on. Of all plans with the same number of steps the best are kept. A chain is
not one step here but two.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from referee import TECHNIQUES
from referee_cube import AXES as _AXES
from referee_cube import FACELETS, FACES, OPPOSITE, View, dot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from referee_seconds import Referee, Way

__all__ = ["PLANNED", "Plan", "Step", "best_plan", "looking_ms"]

PLANNED: Final = ("plain", "keyhole-corner", "keyhole-edge", "keyhole-flip", "pseudo-pair")
_INVERTED: Final = {"": "'", "2": "2", "'": ""}


@dataclass(frozen=True)
class Step:
    """One sequence of a plan."""

    technique: str
    slots: tuple[str, ...]
    way: Way
    looking_ms: int


@dataclass(frozen=True)
class Plan:
    """The steps so far, or to the last pair."""

    steps: tuple[Step, ...]
    view: View
    held: tuple[str, str] | None
    """Fixed faces up and front; empty: not chosen yet."""

    @property
    def turning_ms(self) -> int:
        return sum(step.way.ms for step in self.steps)

    @property
    def looking_ms(self) -> int:
        return sum(step.looking_ms for step in self.steps)


def _place(sticker: int, held: tuple[str, str]) -> str:
    """The place of a sticker's piece, named by the faces in the hands."""
    up, front = (_AXES[face] for face in held)
    right = (
        up[1] * front[2] - up[2] * front[1],
        up[2] * front[0] - up[0] * front[2],
        up[0] * front[1] - up[1] * front[0],
    )
    point = FACELETS[sticker][0]
    along = dot(point, right), dot(point, up), dot(point, front)
    return "".join(face for face in FACES if dot(along, _AXES[face]) == 1)


def looking_ms(
    table: dict[str, Any],
    view: View,
    technique: str,
    slots: Sequence[str],
    held: tuple[str, str],
    before: View | None,
) -> int:
    """Milliseconds of looking by the printed table; ``before``: where the last step began."""
    eyes = {k: round(1000 * v) for k, v in table["looking"].items() if not isinstance(v, dict)}
    classes = {frozenset(p): name for name, ps in table["looking"]["places"].items() for p in ps}
    total: int = eyes["base"] + round(1000 * table["looking"]["techniques"].get(technique, 0))
    for slot in slots:
        pieces = [("corner", view.corner(slot), view.corner_solved(slot))]
        pieces += [("edge", view.edge(slot), view.edge_solved(slot))]
        for kind, sticker, home in pieces:
            if home:
                continue
            here = view.where[sticker]
            moved = before is not None and before.where[sticker] != here
            total += eyes[kind] + eyes[classes[frozenset(_place(here, held))]]
            total += eyes["moved" if moved else "stayed"]
            shows_up = FACELETS[here][1] == _AXES[OPPOSITE[view.down]]
            if technique == "keyhole-corner" and kind == "corner" and shows_up:
                total += eyes["keyhole_corner_up"]
    return total


def best_plan(
    referee: Referee,
    view: View,
    *,
    looking: bool,
    held: tuple[str, str] | None = None,
    width: int = 200,
    ways: int = 4,
    near_ms: int = 120,
    techniques: Sequence[str] = PLANNED,
) -> Plan:
    """The best plan that the beam finds; the cross must be whole at offset 0.

    Plans with the same number of free slots are compared, by turning, and by looking if wanted.
    """
    known: dict[Any, list[tuple[str, Way]]] = {}
    beams: dict[int, dict[Any, Plan]] = {len(view.free): {None: Plan((), view, held)}}

    def price(plan: Plan) -> int:
        return plan.turning_ms + looking * plan.looking_ms

    for free in range(len(view.free), 0, -1):
        for plan in sorted(beams.get(free, {}).values(), key=price)[:width]:
            for step in _steps(referee, plan, ways, near_ms, techniques, known):
                then = View(View.played(plan.view.where, step.way.turns.split()), view.down)
                further = Plan((*plan.steps, step), then, step.way.end)
                best = beams.setdefault(len(then.free), {})
                # Looking at the next step asks what this one moved.
                key = (_told(then), further.held, _told(plan.view) if looking else None)
                if key not in best or price(further) < price(best[key]):
                    best[key] = further
    return min(beams[0].values(), key=price)


def _told(view: View) -> bytes:
    """The places of the pieces of the first two layers."""
    pieces = [p for slot in view.free for p in (view.corner(slot), view.edge(slot))]
    return view.now(view.cross + pieces) + bytes([len(view.free)]) + " ".join(view.free).encode()


def _steps(
    referee: Referee, plan: Plan, ways: int, near_ms: int, techniques: Sequence[str], known: Any
) -> list[Step]:
    """The few best ways into each slot (or two at once) from the end of a plan."""
    view = plan.view
    before = None
    if plan.steps:
        turned = plan.steps[-1].way.turns.split()
        undone = [turn[0] + _INVERTED[turn[1:]] for turn in turned]
        before = View(View.played(view.where, reversed(undone)), view.down)
    found: dict[tuple[str, ...], list[tuple[str, Way]]] = {}
    for technique in techniques:
        for slots in TECHNIQUES[technique](view):
            key = (technique, slots, _told(view), plan.held)
            if key not in known:
                starts = None if plan.held is None else [plan.held]
                some = referee.fastest(view, technique, slots, starts, near_ms) or []
                known[key] = [(technique, way) for way in some[: 2 * ways]]
            found.setdefault(tuple(sorted(slots)), []).extend(known[key])
    steps = []
    for slots, listed in found.items():
        least = min((way.ms for _, way in listed), default=0)
        listed = sorted(listed, key=lambda each: (each[1].ms, each[1].moves))
        for technique, way in [each for each in listed if each[1].ms <= least + near_ms][:ways]:
            seen = looking_ms(referee.hands.table, view, technique, slots, way.start, before)
            steps.append(Step(technique, slots, way, seen))
    return steps
