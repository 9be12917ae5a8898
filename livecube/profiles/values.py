"""A profile as a value: the packets of one kind of cube."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from operator import xor
from typing import TYPE_CHECKING, Final

from livecube.profiles.fields import all_hold

if TYPE_CHECKING:
    from collections.abc import Mapping

    from livecube.decoding import Advertisement, Write
    from livecube.profiles.checks import Check
    from livecube.profiles.fields import Entries, Field, Order
    from livecube.profiles.states import PieceCode, StickerCode

__all__ = ["PIECE_ROWS", "Claim", "Layout", "Profile", "TurnList"]

PIECE_ROWS: Final = ("corners", "twists", "edges", "flips")
"""The rows of a position by its pieces, in the order of :class:`PieceCode`."""


@dataclass(frozen=True)
class Claim:
    """How a cube is recognized by its advertisement: every field that is not None must fit."""

    name: str | None = None
    """Prefix of its name."""
    service: str | None = None
    manufacturer: int | None = None

    def fits(self, advertisement: Advertisement) -> bool:
        """Whether the advertisement is of such a cube."""
        if (self.name, self.service, self.manufacturer) == (None, None, None):
            return False
        companies = [company for company, _ in advertisement.manufacturer_data]
        return (
            (self.name is None or (advertisement.name or "").startswith(self.name))
            and (self.service is None or self.service in advertisement.services)
            and (self.manufacturer is None or self.manufacturer in companies)
        )


@dataclass(frozen=True)
class TurnList:
    """The latest turns, the newest first; often only one.

    A packet that is too short for all of them holds the first ones.
    """

    codes: Entries
    none: int | None = None
    """The code of an entry without a turn."""
    elapsed: Entries | None = None
    """For each turn, the ticks since the turn before it."""


@dataclass(frozen=True)
class Layout:
    """One kind of packet. A field that is None is not in the packet. Lengths are in bytes."""

    characteristic: str
    shortest: int
    longest: int
    match: tuple[tuple[Field, int], ...] = ()
    """Fields with the values that distinguish this kind from others."""
    check: Check | None = None
    counter: Field | None = None
    """Number of the newest turn before this packet."""
    wrap: int | None = None
    """The counter starts again after this number of turns; None: after all values of its bits."""
    clock: Field | None = None
    clock_wrap: int | None = None
    """The clock starts again at 0 after this many ticks; None: after all values of its bits."""
    battery: Field | None = None
    turns: TurnList | None = None
    state: tuple[Entries, ...] = ()
    """The rows of the position: four by pieces, one by stickers, or none."""
    again: bool = False
    """Whether the cube also sends it when no turn was made: the first one shows no new turn."""
    mask: bytes = b""
    """Combined with the packet's first bytes by exclusive or, before anything is read."""

    @property
    def numbers(self) -> int:
        """Number of values of the counter; 0 without a counter."""
        return 0 if self.counter is None else self.wrap or self.counter.values

    def number(self, data: bytes) -> int | None:
        """The counter's value, from 0 to below :attr:`numbers`; None without a counter."""
        return None if self.counter is None else self.counter.read(data) % self.numbers

    @property
    def clock_values(self) -> int:
        """Number of values of the clock; 0 without a clock."""
        return 0 if self.clock is None else self.clock_wrap or self.clock.values

    def ticks(self, data: bytes) -> int | None:
        """The clock, from 0 to below :attr:`clock_values`; None without a clock."""
        return None if self.clock is None else self.clock.read(data) % self.clock_values

    def end(self, data: bytes | bytearray) -> int:
        """The number of bytes before a check value at the packet's end."""
        return len(data) - (0 if self.check is None else self.check.behind)

    def plain(self, data: bytes) -> bytes:
        """The packet without its mask; the same function puts the mask on."""
        if not self.mask:
            return data
        return bytes(map(xor, data, self.mask)) + data[len(self.mask) :]

    def fits(self, data: bytes) -> bool:
        """Whether these bytes, without the mask, are of this kind."""
        return self.shortest <= len(data) <= self.longest and all_hold(self.match, data)


@dataclass(frozen=True)
class Profile:
    """The description of one kind of cube."""

    name: str
    order: Order
    claim: Claim
    layouts: tuple[Layout, ...]
    turns: Mapping[int, int]
    """Code → turn (0 to 17)."""
    state: PieceCode | StickerCode | None = None
    per_second: int = 1000
    """Ticks of the clock in a second."""
    transform: str | None = None
    on_connect: tuple[Write, ...] = ()
    on_gap: tuple[Write, ...] = ()

    @cached_property
    def notify(self) -> tuple[str, ...]:
        """The characteristics that send packets."""
        return tuple(dict.fromkeys(layout.characteristic for layout in self.layouts))

    @cached_property
    def clock_values(self) -> int | None:
        """Number of values of the clock, the same in all packets; None without a clock."""
        return next((lay.clock_values for lay in self.layouts if lay.clock is not None), None)

    @cached_property
    def tells_turns(self) -> bool:
        """Whether the cube sends turns; if not, the decoder derives them from positions."""
        return any(layout.turns is not None for layout in self.layouts)
