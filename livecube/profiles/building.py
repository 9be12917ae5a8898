"""From a table that follows the schema to a profile; checks what no schema can express."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from livecube.cube.geometry import FACES, parse_piece
from livecube.cube.position import parse_turn
from livecube.decoding import Write
from livecube.profiles.checks import Check
from livecube.profiles.fields import Entries, Field
from livecube.profiles.states import PieceCode, PieceNames, StickerCode
from livecube.profiles.values import PIECE_ROWS, Claim, Layout, Profile, TurnList

if TYPE_CHECKING:
    from collections.abc import Mapping

    from livecube.profiles.fields import Order
    from livecube.profiles.schema import Path

__all__ = ["WrongError", "built"]

_PIECES: Final = {"corners": 8, "twists": 8, "edges": 12, "flips": 12}
_CENTRES: Final = frozenset(range(4, 54, 9))


class WrongError(ValueError):
    """An entry of the right form that makes no sense; ``path`` is its path."""

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(reason)
        self.path = path
        self.reason = reason


def built(table: Mapping[str, Any]) -> Profile:
    """The profile in a table that follows the schema.

    Raises :class:`WrongError`.
    """
    state = _state(table)
    order: Order = table["order"]
    layouts = tuple(
        _Packet(entry, ("packet", index), order, table, state).layout()
        for index, entry in enumerate(table["packet"])
    )
    send = table.get("send", {})
    profile = Profile(
        name=table["name"],
        order=order,
        claim=Claim(**table["claim"]),
        layouts=layouts,
        turns=_codes(table.get("turns", {})),
        state=state,
        per_second=table.get("clock", {}).get("per_second", 1000),
        transform=table.get("transform"),
        on_connect=_writes(send.get("connect", [])),
        on_gap=_writes(send.get("gap", [])),
    )
    _check_whole(profile)
    return profile


def _codes(table: Mapping[str, int]) -> dict[int, int]:
    codes: dict[int, int] = {}
    for name, code in table.items():
        if code in codes:
            raise WrongError(("turns", name), f"has the code {code} of another turn")
        codes[code] = parse_turn(name)
    return codes


def _writes(entries: list[dict[str, str]]) -> tuple[Write, ...]:
    return tuple(Write(entry["to"], bytes.fromhex(entry["hex"])) for entry in entries)


def _state(table: Mapping[str, Any]) -> PieceCode | StickerCode | None:
    if "pieces" in table and "stickers" in table:
        raise WrongError(("stickers",), "is given beside pieces; give only one of them")
    if "pieces" in table:
        pieces = table["pieces"]
        return PieceCode(
            _names(pieces, "corners", "corner_places"),
            _names(pieces, "edges", "edge_places"),
            pieces.get("says", "piece"),
            pieces.get("twist", "clockwise"),
        )
    return _stickers(table["stickers"]) if "stickers" in table else None


def _names(pieces: Mapping[str, Any], key: str, places_key: str) -> PieceNames:
    for which in (key, places_key):
        seen: set[int] = set()
        for index, name in enumerate(pieces.get(which, ())):
            try:
                piece = parse_piece(name)
            except ValueError as error:
                raise WrongError(("pieces", which, index), f"is wrong: {error}") from None
            if piece in seen:
                raise WrongError(("pieces", which, index), f"names {name} twice")
            seen.add(piece)
    return PieceNames(tuple(pieces[key]), tuple(pieces.get(places_key, pieces[key])))


def _stickers(table: Mapping[str, Any]) -> StickerCode:
    colours = tuple(table["colours"][face] for face in FACES)
    if len(set(colours)) < len(colours):
        raise WrongError(("stickers", "colours"), "gives two colours the same number")
    facelets = tuple(table.get("facelets", range(54)))
    if len(set(facelets)) < len(facelets):
        raise WrongError(("stickers", "facelets"), "names a facelet twice")
    if not set(range(54)) - _CENTRES <= set(facelets):
        raise WrongError(("stickers", "facelets"), "leaves out a facelet that is not a centre")
    return StickerCode(facelets, colours)


class _Packet:
    """Makes a layout from one packet table."""

    def __init__(
        self,
        entry: Mapping[str, Any],
        path: Path,
        order: Order,
        table: Mapping[str, Any],
        state: PieceCode | StickerCode | None,
    ) -> None:
        self.entry, self.path, self.order, self.table = entry, path, order, table
        self.code = state

    def layout(self) -> Layout:
        entry = self.entry
        longest = entry.get("longest", entry["length"])
        if longest < entry["length"]:
            raise WrongError((*self.path, "longest"), "is less than length")
        return Layout(
            characteristic=entry["from"],
            shortest=entry["length"],
            longest=longest,
            match=self._match(),
            check=self._check() if "check" in entry else None,
            counter=self._optional("counter"),
            wrap=self._wrap("counter"),
            clock=self._clock(),
            clock_wrap=self._wrap("clock"),
            battery=self._optional("battery"),
            turns=self._turns() if "turn" in entry else None,
            state=self._state(),
            again=self._again(),
            mask=self._mask(longest),
        )

    def _again(self) -> bool:
        """Whether packets come without a turn, too; then they must tell whether there was one."""
        again: bool = self.entry.get("again", False)
        if again and "turn" in self.entry and not {"counter", "clock"} & self.entry.keys():
            raise WrongError((*self.path, "again"), "needs a counter or a clock beside it")
        return again

    def _mask(self, longest: int) -> bytes:
        mask = bytes.fromhex(self.entry.get("mask", ""))
        if len(mask) > longest:
            raise WrongError(
                (*self.path, "mask"), f"is longer than the {longest} bytes of the packet"
            )
        return mask

    def _field(self, table: Mapping[str, Any], path: Path) -> Field:
        start = 8 * table["at"] + table.get("bit", 0)
        field = Field(start, table["bits"], table.get("order", self.order))
        self._inside(field, path)
        return field

    def _inside(self, field: Field, path: Path, key: str = "length") -> None:
        length = self.entry.get(key, self.entry["length"])
        if field.start < 0 or field.end > 8 * length:
            raise WrongError(path, f"lies beyond the {length} bytes of the packet")

    def _optional(self, key: str) -> Field | None:
        if key not in self.entry:
            return None
        return self._field(self.entry[key], (*self.path, key))

    def _wrap(self, key: str) -> int | None:
        """The wrap of the counter or the clock, if the profile gives one."""
        wrap: int | None = self.entry.get(key, {}).get("wrap")
        if wrap is not None and wrap > 1 << self.entry[key]["bits"]:
            path = (*self.path, key, "wrap")
            raise WrongError(path, f"is {wrap}, more than its bits can count")
        return wrap

    def _match(self) -> tuple[tuple[Field, int], ...]:
        found = []
        for index, table in enumerate(self.entry.get("match", ())):
            path = (*self.path, "match", index)
            field = self._field(table, path)
            self._fits(table["value"], field, path)
            found.append((field, table["value"]))
        return tuple(found)

    def _fits(self, value: int, field: Field, path: Path) -> None:
        if value >= field.values:
            raise WrongError(path, f"has the value {value}, which {field.bits} bits cannot hold")

    def _check(self) -> Check:
        table, path = self.entry["check"], (*self.path, "check")
        if table["at"] < 0:
            return self._check_at_end(table, path)
        field = self._field(table, path)
        first, last = table.get("first", 0), table.get("last", field.start // 8)
        if not first < last <= self.entry["length"]:
            raise WrongError(
                path, f"covers the bytes from {first} to before {last}: none, or too many"
            )
        if first < field.end / 8 and field.start / 8 < last:
            raise WrongError(path, "covers itself")
        return self._computed(table, path, field, first, last)

    def _check_at_end(self, table: Mapping[str, Any], path: Path) -> Check:
        """A check value that is counted from the packet's end, and ends it."""
        size = table["bits"] // 8
        if table["at"] != -size or "last" in table:
            raise WrongError(path, f"must end the packet: at = -{size}, and no last")
        first = table.get("first", 0)
        if first >= self.entry["length"] - size:
            raise WrongError(path, f"covers nothing in {self.entry['length']} bytes")
        field = Field(0, table["bits"], table.get("order", self.order))
        return self._computed(table, path, field, first, -size)

    def _computed(
        self, table: Mapping[str, Any], path: Path, field: Field, first: int, last: int
    ) -> Check:
        names = ("polynomial", "initial", "final", "reflect_in", "reflect_out")
        given = {name: table[name] for name in names if name in table}
        for name in names[:3]:
            if name in given:
                self._fits(given[name], field, (*path, name))
        if ("polynomial" in given) != (table["kind"] == "crc"):
            raise WrongError(path, "must have a polynomial if it is a crc, and only then")
        return Check(table["kind"], field, first, last, **given)

    def _clock(self) -> Field | None:
        field = self._optional("clock")
        if field is not None and "clock" not in self.table:
            raise WrongError((*self.path, "clock"), "needs a table [clock] with per_second")
        return field

    def _row(self, key: str, count: int, length: str = "length") -> Entries:
        table, path = self.entry[key], (*self.path, key)
        row = Entries(self._field(table, path), count, table.get("stride", table["bits"]))
        if count > 1 and abs(row.stride) < row.first.bits:
            raise WrongError(path, "has a stride that is less than its bits")
        for field in row.fields:
            self._inside(field, path, length)
        return row

    def _turns(self) -> TurnList:
        table, path = self.entry["turn"], (*self.path, "turn")
        if "turns" not in self.table:
            raise WrongError(path, "needs a table [turns] with the codes")
        count = table.get("count", 1)
        if count > 1 and "counter" not in self.entry:
            raise WrongError(path, "lists several turns, which needs a counter beside it")
        codes = self._row("turn", count, "longest")
        behind = self.entry["check"]["at"] if "check" in self.entry else 0
        if behind < 0 and codes.first.end > 8 * (self.entry["length"] + behind):
            raise WrongError(path, "stands in the check value of the shortest packet")
        for name, code in self.table["turns"].items():
            self._fits(code, codes.first, ("turns", name))
        none = table.get("none")
        if none in self.table["turns"].values():
            raise WrongError(path, f"has none = {none}, which is the code of a turn")
        elapsed = None
        if "elapsed" in self.entry:
            if "clock" not in self.entry:
                raise WrongError((*self.path, "elapsed"), "needs a clock beside it")
            elapsed = self._row("elapsed", count)
        return TurnList(codes, none, elapsed)

    def _state(self) -> tuple[Entries, ...]:
        given = [key for key in (*PIECE_ROWS, "stickers") if key in self.entry]
        if not given:
            return ()
        if "turn" in self.entry:
            raise WrongError(self.path, "has turns and a position; make two packets of it")
        if isinstance(self.code, PieceCode) and given == list(PIECE_ROWS):
            return tuple(self._row(key, _PIECES[key]) for key in PIECE_ROWS)
        if isinstance(self.code, StickerCode) and given == ["stickers"]:
            return (self._row("stickers", len(self.code.facelets)),)
        needed = "stickers with a table [stickers]"
        raise WrongError(
            self.path, f"must have {', '.join(PIECE_ROWS)} with a table [pieces], or {needed}"
        )


def _check_whole(profile: Profile) -> None:
    kinds: list[object] = []
    for index, layout in enumerate(profile.layouts):
        path: Path = ("packet", index)
        kind = (layout.characteristic, layout.shortest, layout.longest, layout.match)
        if kind in kinds:
            raise WrongError(path, "is like an earlier packet; add a match to distinguish them")
        kinds.append(kind)
        for key in ("counter", "clock"):
            field, others = getattr(layout, key), [getattr(one, key) for one in profile.layouts]
            if field is not None and any(o is not None and o.bits != field.bits for o in others):
                raise WrongError((*path, key), "must have the same width in all packets")
        for key, values in (("counter", "numbers"), ("clock", "clock_values")):
            if len({getattr(one, values) for one in profile.layouts} - {0}) > 1:
                raise WrongError((*path, key), "must wrap at the same number in all packets")
    if not any(layout.turns or layout.state for layout in profile.layouts):
        raise WrongError(("packet", 0), "and all others have neither turns nor a position")
