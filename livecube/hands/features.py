"""Prices of hands and eyes as people write them down, checked. Pure.

``usual.toml`` beside this module shows the form and explains the numbers; ``usual.schema.json``
publishes it. :mod:`livecube.hands.automaton` adds them up. Everything here is in whole
milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube.cube.geometry import FACES, PIECES
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = [
    "EYES",
    "PLACES",
    "TECHNIQUES",
    "TOKENS",
    "WHERE",
    "Behind",
    "Features",
    "parse_features",
]

WHERE: Final = ("in_sight", "behind", "bottom")
"""The classes of places that the eyes distinguish."""
PLACES: Final = tuple(PIECES)
EYES: Final = ("base", "corner", "edge", *WHERE, "stayed", "moved", "keyhole_corner_up")
TECHNIQUES: Final = (
    "shortest plain made-pair keyhole-corner keyhole-edge keyhole-flip pseudo-pair keyhole-chain "
    "x-cross pseudo-x-cross"
).split()

_AMOUNTS: Final = ("", "2", "'")
TOKENS: Final = (
    "start",
    "rotated",
    *(face + wide + amount for face in FACES for wide in ("", "w") for amount in (*_AMOUNTS, "*")),
)
"""A token in a line of ``behind``: a move, ``*`` for any amount, or how a sequence began."""

_MIDDLES: Final = ("U", "U2", "U'", "U*")
_MIRRORED: Final = {"L": "R", "R": "L"}
_MOST_S: Final = 10
_LEAST_TURN_S: Final = 0.001
_LEAST_EXTRA_S: Final = -0.1


@dataclass(frozen=True, slots=True)
class Behind:
    """The extra cost of the last of some moves after the ones before it."""

    moves: tuple[str, ...]
    """Two tokens, or three of which the middle one is a turn of U."""
    extra_ms: int

    def mirrored(self) -> Behind:
        """The same for the other hand."""
        return Behind(tuple(_mirrored_token(token) for token in self.moves), self.extra_ms)


@dataclass(frozen=True, slots=True)
class Features:
    """All prices of one person's hands and eyes, in milliseconds."""

    turn: Mapping[str, tuple[int, int, int]]
    """By face: a quarter turn clockwise, a half turn, a quarter turn counter-clockwise."""
    wide: Mapping[str, int]
    """By face: the extra for turning two layers."""
    rotation: Mapping[str, tuple[int, int, int]]
    """By axis."""
    behind: tuple[Behind, ...]
    """Mirror images written out; the last line that fits is used."""
    eyes: Mapping[str, int]
    """By name, those of ``EYES``."""
    places: Mapping[str, str]
    """For each of the twenty places its class, one of ``WHERE``."""
    techniques: Mapping[str, int]
    """Time to see each technique; missing ones take no time."""

    def mirrored(self) -> Features:
        """The mirror image: left and right exchanged, every direction inverted."""
        return Features(
            turn={f: self.turn[_MIRRORED.get(f, f)][::-1] for f in FACES},
            wide={f: self.wide[_MIRRORED.get(f, f)] for f in FACES},
            rotation={
                axis: triple if axis == "x" else triple[::-1]
                for axis, triple in self.rotation.items()
            },
            behind=tuple(line.mirrored() for line in self.behind),
            eyes=self.eyes,
            places={_mirrored_place(place): where for place, where in self.places.items()},
            techniques=self.techniques,
        )


def _mirrored_token(token: str) -> str:
    if token in TOKENS[:2]:
        return token
    face = _MIRRORED.get(token[0], token[0])
    wide = "w" if token[1:2] == "w" else ""
    amount = token[1 + len(wide) :]
    return face + wide + {"": "'", "'": ""}.get(amount, amount)


def _mirrored_place(place: str) -> str:
    faces = {_MIRRORED.get(letter, letter) for letter in place}
    return next(name for name in PLACES if set(name) == faces)


def parse_features(table: Mapping[str, Any], source: str) -> Features:
    """Check a table of prices against the form that ``usual.schema.json`` describes.

    Raises :class:`~livecube.errors.UsageError` that names ``source`` and the entry.
    """
    _only(table, ("turn", "wide", "rotation", "hands", "eyes"), f"{source}: the file", "sections")
    turn = _section(table, "turn", FACES, source)
    wide = _section(table, "wide", FACES, source)
    rotation = _section(table, "rotation", "xyz", source)
    hands = _table(table.get("hands", {}), f"{source}: [hands]")
    _only(hands, ("behind",), f"{source}: [hands]", "entries")
    eyes = _table(table.get("eyes"), f"{source}: [eyes]")
    _only(eyes, (*EYES, "places", "techniques"), f"{source}: [eyes]", "entries")
    techniques = _table(eyes.get("techniques", {}), f"{source}: [eyes.techniques]")
    _only(techniques, TECHNIQUES, f"{source}: [eyes.techniques]", "techniques")
    return Features(
        {face: _triple(turn[face], f"{source}: [turn] {face}") for face in FACES},
        {face: _ms(wide[face], f"{source}: [wide] {face}", 0) for face in FACES},
        {axis: _triple(rotation[axis], f"{source}: [rotation] {axis}") for axis in "xyz"},
        _lines(hands.get("behind", []), f"{source}: [hands] behind"),
        {name: _ms(eyes.get(name), f"{source}: [eyes] {name}", 0) for name in EYES},
        _places(eyes.get("places"), f"{source}: [eyes.places]"),
        {
            name: _ms(value, f"{source}: [eyes.techniques] {name}", 0)
            for name, value in techniques.items()
        },
    )


def _lines(lines: object, where: str) -> tuple[Behind, ...]:
    if not isinstance(lines, list):
        raise UsageError(f'{where} must be a list of lines like {{ moves = "R F", extra = 0.1 }}')
    result: list[Behind] = []
    for number, line in enumerate(lines, start=1):
        at = f"{where}, line {number}"
        entry = _table(line, at)
        _only(entry, ("moves", "extra", "only"), at, "entries")
        only = entry.get("only", False)
        if not isinstance(only, bool):
            raise UsageError(f"{at}: only = {only!r} must be true or false")
        read = Behind(_tokens(entry.get("moves"), at), _ms(entry.get("extra"), at, _LEAST_EXTRA_S))
        result += [read] if only else [read, read.mirrored()]
    return tuple(result)


def _tokens(text: object, where: str) -> tuple[str, ...]:
    tokens = tuple(text.split(" ")) if isinstance(text, str) else ()
    good = len(tokens) in (2, 3) and all(token in TOKENS for token in tokens)
    if not good or tokens[-1] in TOKENS[:2] or (len(tokens) == 3 and tokens[1] not in _MIDDLES):
        raise UsageError(
            f'{where}: moves = {text!r} must be two moves with a blank between, like "R F\'", '
            'or three with a turn of U between them, like "R U* F"; R* is any turn of R'
        )
    if tokens[1] in TOKENS[:2]:
        raise UsageError(f"{where}: {tokens[1]!r} can only stand before the other moves")
    return tokens


def _places(value: object, where: str) -> dict[str, str]:
    table = _table(value, where)
    _only(table, WHERE, where, "classes")
    result: dict[str, str] = {}
    for name in WHERE:
        listed = table.get(name)
        if not isinstance(listed, list):
            raise UsageError(f'{where} {name} must be a list of places like ["UFR", "UF"]')
        for place in listed:
            if not isinstance(place, str) or place not in PLACES:
                raise UsageError(
                    f"{where} {name}: {place!r} is not a place; they are {', '.join(PLACES)}"
                )
            if place in result:
                raise UsageError(f"{where} {name}: {place} is listed twice")
            result[place] = name
    missing = [place for place in PLACES if place not in result]
    if missing:
        raise UsageError(f"{where}: {', '.join(missing)} must be in one of the three lists")
    return result


def _section(table: Mapping[str, Any], name: str, entries: str, source: str) -> dict[str, Any]:
    where = f"{source}: [{name}]"
    section = _table(table.get(name), where)
    _only(section, entries, where, "entries")
    for entry in entries:
        if entry not in section:
            raise UsageError(f"{where} {entry} is missing; add it in seconds")
    return section


def _only(
    table: Mapping[str, Any], known: tuple[str, ...] | list[str] | str, where: str, what: str
) -> None:
    for name in table:
        if name not in list(known):
            raise UsageError(f"{where}: {name!r} is unknown; the {what} are {', '.join(known)}")


def _table(value: object, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise UsageError(f"{where} must be there, with entries of its own")
    return value


def _triple(value: object, where: str) -> tuple[int, int, int]:
    if not isinstance(value, list) or len(value) != 3:
        raise UsageError(
            f"{where} must be three numbers of seconds (clockwise, half, counter-clockwise), "
            "like [0.1, 0.15, 0.1]"
        )
    one, two, three = (_ms(number, where, _LEAST_TURN_S) for number in value)
    return one, two, three


def _ms(value: object, where: str, least: float) -> int:
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise UsageError(f"{where}: {value!r} is not a number of seconds")
    if not least <= value <= _MOST_S:  # false for nan, too
        raise UsageError(f"{where}: {value} is not between {least} and {_MOST_S} seconds")
    return round(1000 * value)
