"""A profile as TOML text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from livecube.cube.geometry import FACES
from livecube.cube.position import turn_name
from livecube.profiles.states import PieceCode
from livecube.profiles.values import PIECE_ROWS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.decoding import Write
    from livecube.profiles.checks import Check
    from livecube.profiles.fields import Entries, Field, Order
    from livecube.profiles.states import StickerCode
    from livecube.profiles.values import Layout, Profile

__all__ = ["profile_text"]


def profile_text(profile: Profile, comment: str = "") -> str:
    """The profile as TOML; :func:`~livecube.profiles.parsing.parse_profile` reads it back equal."""
    return "\n".join(_lines(profile, comment)) + "\n"


def _lines(profile: Profile, comment: str) -> Iterator[str]:
    yield from (f"# {line}".rstrip() for line in comment.splitlines())
    yield "profile = 1"
    yield from _entries({"name": profile.name, "order": profile.order})
    if profile.transform is not None:
        yield from _entries({"transform": profile.transform})
    yield from ("", "[claim]")
    yield from _entries(vars(profile.claim))
    if profile.clock_values is not None:
        yield from ("", "[clock]", f"per_second = {profile.per_second}")
    if profile.turns:
        yield from ("", "[turns]")
        for code, turn in sorted(profile.turns.items(), key=lambda item: item[1]):
            yield f'"{turn_name(turn)}" = {code}'
    if profile.state is not None:
        yield from _state(profile.state)
    yield from _send(profile)
    for layout in profile.layouts:
        yield from ("", "[[packet]]")
        yield from _entries(_packet(layout, profile.order))


def _entries(table: dict[str, Any]) -> Iterator[str]:
    return (f"{key} = {_value(value)}" for key, value in table.items() if value is not None)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    return str(value)


def _state(code: PieceCode | StickerCode) -> Iterator[str]:
    if isinstance(code, PieceCode):
        yield from ("", "[pieces]")
        for names, key in ((code.corners, "corner"), (code.edges, "edge")):
            yield from _entries({f"{key}s": names.pieces})
            if names.places != names.pieces:
                yield from _entries({f"{key}_places": names.places})
        yield from _entries({"says": code.says, "twist": code.twist})
        return
    colours = dict(zip(FACES, code.colours, strict=True))
    yield from ("", "[stickers]")
    yield from _entries({"colours": colours, "facelets": code.facelets})


def _send(profile: Profile) -> Iterator[str]:
    if profile.on_connect or profile.on_gap:
        yield from ("", "[send]")
        sent = {"connect": profile.on_connect, "gap": profile.on_gap}
        yield from _entries({key: _writes(writes) for key, writes in sent.items() if writes})


def _writes(writes: Sequence[Write]) -> list[dict[str, str]]:
    return [{"to": write.characteristic, "hex": write.data.hex(" ")} for write in writes]


def _packet(layout: Layout, order: Order) -> dict[str, Any]:
    table: dict[str, Any] = {"from": layout.characteristic, "length": layout.shortest}
    if layout.longest != layout.shortest:
        table["longest"] = layout.longest
    if layout.again:
        table["again"] = True
    if layout.mask:
        table["mask"] = layout.mask.hex(" ")
    if layout.match:
        table["match"] = [_field(field, order) | {"value": value} for field, value in layout.match]
    if layout.check is not None:
        table["check"] = _check(layout.check, order)
    for key in ("counter", "clock", "battery"):
        if (field := getattr(layout, key)) is not None:
            table[key] = _field(field, order)
    for key, wrap in (("counter", layout.wrap), ("clock", layout.clock_wrap)):
        if wrap is not None:
            table[key]["wrap"] = wrap
    if layout.turns is not None:
        turns = layout.turns
        table["turn"] = _row(turns.codes, order)
        if turns.codes.count > 1:
            table["turn"]["count"] = turns.codes.count
        if turns.none is not None:
            table["turn"]["none"] = turns.none
        if turns.elapsed is not None:
            table["elapsed"] = _row(turns.elapsed, order)
    keys = PIECE_ROWS if len(layout.state) > 1 else ("stickers",)
    return table | {key: _row(row, order) for key, row in zip(keys, layout.state, strict=False)}


def _field(field: Field, order: Order) -> dict[str, Any]:
    table: dict[str, Any] = {"at": field.start // 8}
    if field.start % 8:
        table["bit"] = field.start % 8
    table["bits"] = field.bits
    return table if field.order == order else table | {"order": field.order}


def _row(row: Entries, order: Order) -> dict[str, Any]:
    table = _field(row.first, order)
    return table if row.stride == row.first.bits else table | {"stride": row.stride}


def _check(check: Check, order: Order) -> dict[str, Any]:
    table: dict[str, Any] = {"kind": check.kind, **_field(check.field, order)}
    table |= {"first": check.first, "last": check.last}
    if check.last < 0:
        table["at"] = table.pop("last")
    if check.kind == "crc":
        table["polynomial"] = check.polynomial
    for key in ("initial", "final", "reflect_in", "reflect_out"):
        if getattr(check, key):
            table[key] = getattr(check, key)
    table.pop("bit", None)
    return table
