"""The usual last-slot cases: the sequences in use, and the places of corner and edge.

Cross down on face D, the front right slot (faces F and R) free. Everything is derived from the
sequences in ``livecube/virtual/usual_cases.toml`` by the referee's own cube.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

from referee_cube import AXES as _AXES
from referee_cube import FACES, OPPOSITE, View, clockwise, facelet, slots
from referee_seconds import Way, merged

__all__ = ["Case", "fixed", "is_odd", "load_cases", "stripped"]

_SLOT: Final = "green-red"
_AXIS: Final = {"x": "R", "y": "U", "z": "F"}
_MIRRORED: Final = {"R": "F", "F": "R", "L": "B", "B": "L", "U": "U", "D": "D"}
_INVERTED: Final = {"": "'", "2": "2", "'": ""}
_U_TURNS: Final = ("", "U", "U2", "U'")


@dataclass(frozen=True)
class Case:
    """One case, up to a turn of U."""

    place: tuple[int, int]
    """Facelets of the corner's and the edge's first sticker, the least of the four turns of U."""
    mirror: tuple[int, int]
    """The place of the mirror image."""
    in_use: frozenset[str]
    """Merged turns in the fixed frame, without a turn of U at the beginning."""
    turns: str
    """Turns from solved to it."""

    def positions(self) -> list[View]:
        """The case after each of the four turns of U, cross on face D."""
        return [View.after(f"{self.turns} {u}", "D") for u in _U_TURNS]

    def uses(self, way: Way) -> bool:
        """Whether a way is in use."""
        return stripped(way.turns) in self.in_use


def is_odd(way: Way) -> bool:
    """Two wide turns, a turn of B or two rotations."""
    moves = way.moves.split()
    wide, spun = sum("w" in m for m in moves), sum(m[0] in "xyz" for m in moves)
    return wide > 1 or spun > 1 or any(m[0] == "B" for m in moves)


def stripped(turns: str) -> str:
    """The turns without a turn of U at the beginning."""
    first, _, rest = turns.partition(" ")
    return rest if first[0] == "U" else turns


def fixed(text: str) -> str:
    """Merged fixed-frame turns of written moves, white up and green in front."""
    held, turns = {f: f for f in FACES}, []
    for token in text.split():
        name, quarters = (
            token.rstrip("2'"),
            ("", "2", "'").index(token[len(token.rstrip("2'")) :]) + 1,
        )
        if name in _AXIS:
            held = _spun(held, _AXIS[name], quarters)
        elif name.endswith("w") or name.islower():
            face = name[0].upper()
            turns.append((held[OPPOSITE[face]], quarters))
            held = _spun(held, face, quarters)
        else:
            turns.append((held[name], quarters))
    return merged([face + ("", "2", "'")[quarters - 1] for face, quarters in turns])


def _spun(held: dict[str, str], face: str, quarters: int) -> dict[str, str]:
    for _ in range(quarters):
        to = {
            f: next(g for g in FACES if _AXES[g] == clockwise(_AXES[f], _AXES[face])) for f in FACES
        }
        held = {to[f]: held[f] for f in FACES}
    return held


def mirrored(turns: str) -> str:
    """Turns mirrored in the plane through the slot."""
    return merged([_MIRRORED[t[0]] + _INVERTED[t[1:]] for t in turns.split()])


def inverted(turns: str) -> str:
    """The turns that undo these."""
    return " ".join(t[0] + _INVERTED[t[1:]] for t in reversed(turns.split()))


def place_of(turns: str) -> tuple[int, int]:
    """The case that a sequence solves.

    Raises ``ValueError`` if it does not keep the cross and the other three slots.
    """
    view = View.after(inverted(turns), "D")
    if view.offset != 0 or view.free != [_SLOT]:
        raise ValueError(f"{turns} does not solve the front right slot and nothing else")
    faces = slots("D")[_SLOT]
    pieces = [facelet("D" + faces), facelet(faces)]
    places = []
    for u in _U_TURNS:
        turned = View(View.played(view.where, u.split()), "D").now(pieces)
        places.append((turned[0], turned[1]))
    return min(places)


def load_cases() -> list[Case]:
    """All of them, in the file's order."""
    text = (files("livecube.virtual") / "usual_cases.toml").read_text(encoding="utf-8")
    table: dict[str, Any] = tomllib.loads(text)
    listed = [[fixed(text) for text in case["sequences"]] for case in table["case"]]
    in_use: dict[tuple[int, int], set[str]] = {}
    for turns in (t for case in listed for t in case):
        for each in (turns, mirrored(turns)):
            in_use.setdefault(place_of(each), set()).add(stripped(each))
    cases = []
    for sequences in listed:
        places = {place_of(turns) for turns in sequences}
        if len(places) != 1:
            raise ValueError(f"these solve different cases: {sequences}")
        place = places.pop()
        first = sequences[0]
        cases.append(
            Case(place, place_of(mirrored(first)), frozenset(in_use[place]), inverted(first))
        )
    return cases
