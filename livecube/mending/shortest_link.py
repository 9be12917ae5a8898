"""The shortest turns that link two positions, by meeting in the middle.

All positions within four turns of the solved one are known (46,741 of the whole cube); from
the other end as many are tried, so that every link of up to eight turns is found and none
shorter is overlooked.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, what_was_done
from livecube.cube.turns import inverse_turn

__all__ = ["LONGEST_LINK", "shortest_link"]

_HALF: Final = 4
LONGEST_LINK: Final = 2 * _HALF
"""Links that take more turns are not looked for."""


def shortest_link(start: bytes, end: bytes, most: int = LONGEST_LINK) -> tuple[int, ...] | None:
    """The fewest fixed-frame turns that lead from one position (20 facelets) to another.

    One of the shortest links, always the same; None if ``most`` turns (at most eight) do not
    suffice.
    """
    change = what_was_done(start, end)
    near = _near()
    if (known := near.get(change)) is not None:
        return known if len(known) <= most else None
    # Undo one turn more each time, until what is left is known.
    level: dict[bytes, tuple[int, ...]] = {change: ()}
    for undone in range(1, min(_HALF, most - _HALF) + 1):
        following: dict[bytes, tuple[int, ...]] = {}
        for position, last in level.items():
            for turn in _turns_before(last[0] if last else None):
                earlier = position.translate(TURN_BYTES[inverse_turn(turn)])
                if earlier in following:
                    continue
                first = near.get(earlier)
                if first is not None:
                    assert len(first) + undone <= most
                    return (*first, turn, *last)
                following[earlier] = (turn, *last)
        level = following
    return None


@cache
def _near() -> dict[bytes, tuple[int, ...]]:
    """All positions within half the way of the solved one, each with its shortest turns."""
    known: dict[bytes, tuple[int, ...]] = {SOLVED_BYTES: ()}
    level = [SOLVED_BYTES]
    for _ in range(_HALF):
        following = []
        for position in level:
            turns = known[position]
            for turn in _turns_after(turns[-1] if turns else None):
                other = position.translate(TURN_BYTES[turn])
                if other not in known:
                    known[other] = (*turns, turn)
                    following.append(other)
        level = following
    return known


@cache
def _turns_after(last: int | None) -> tuple[int, ...]:
    """Turns that may follow one, opposite faces in one order."""
    return tuple(turn for turn in range(18) if last is None or _in_order(last // 3, turn // 3))


@cache
def _turns_before(following: int | None) -> tuple[int, ...]:
    """Turns that may come before one."""
    return tuple(
        turn for turn in range(18) if following is None or _in_order(turn // 3, following // 3)
    )


def _in_order(face: int, following: int) -> bool:
    return following != face and (following > face or OPPOSITE[following] != face)
