"""Cubes whose firmware is written byte by byte, and owners who slip; no code of profiles is used.

A layout is a list of parts; each puts its bytes into a packet. The owner goes through the routine,
makes wrong turns, corrects them or not, pauses, and loses packets. The truth is which turns were
made, and when.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final, Literal

from livecube.cube.position import inverse_turn, inverse_turns
from livecube.events import Packet
from livecube.learning.recording import Recording, Step
from livecube.learning.routine import REST_S, STEPS

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["SLIPS", "Firmware", "Slip", "Wild", "recorded", "session", "way_home", "wild"]

MAIN: Final = "b2b9a3a6-6f0f-4a35-8e4c-0d4f6b1f5b01"
OTHER: Final = "b2b9a3a6-6f0f-4a35-8e4c-0d4f6b1f5b02"
Slip = Literal["wrong", "corrected", "corrected late", "lost", "late", "pause"]
Orientation = Literal["", "same length", "other length", "other characteristic", "again"]
"""What a cube streams: its attitude, or again and again the packet with the latest turn."""
SLIPS: Final[tuple[Slip, ...]] = ("wrong", "corrected", "corrected late", "lost", "late", "pause")


@dataclass(frozen=True)
class Wild:
    """The packets of one kind of cube."""

    seed: int
    parts: tuple[str, ...]
    """Parts in order: type, code, history, counter, clock, noise, battery, const."""
    codes: dict[int, int]
    history: int
    newest_first: bool
    counter_bits: int
    counter_wrap: int
    counter_first: int
    counter_big: bool
    clock_bytes: int
    clock_rate: int
    clock_big: bool
    check: str
    """sum, xor, crc8, or nothing."""
    check_from: int
    mask: bytes
    """Exclusive or with the whole packet; empty: none."""
    types: tuple[int, int]
    orientation: Orientation
    varying: bool
    """Whether the length of a packet depends on the number of turns in the last two seconds."""
    repeats: int
    battery: int
    clock_wrap: int = 0
    """Ticks after which the clock starts again; 0: when its bytes are used up."""

    @property
    def clock_values(self) -> int:
        return self.clock_wrap or 1 << 8 * self.clock_bytes

    @property
    def half_turns(self) -> bool:
        return 1 in self.codes

    @property
    def told_by_profiles(self) -> bool:
        """Whether a profile can describe all of it."""
        return not self.mask and not (self.varying and self.check)

    def __str__(self) -> str:
        told = [*self.parts, f"history {self.history}" * bool(self.history)]
        if "counter" in self.parts:
            told.append(f"counter {self.counter_bits} bits modulo {self.counter_wrap}")
        if "clock" in self.parts:
            told.append(f"clock {8 * self.clock_bytes} bits at {self.clock_rate}/s")
            told.append(f"from 0 after {self.clock_wrap}" * bool(self.clock_wrap))
        told += [self.check, "masked" * bool(self.mask), self.orientation, "varying" * self.varying]
        return ", ".join(filter(None, told))


def wild(seed: int) -> Wild:
    """The cube of a seed."""
    rng = random.Random(f"wild {seed}")
    turns = list(range(18)) if rng.random() < 0.6 else [t for t in range(18) if t % 3 != 1]
    orientation: Orientation = rng.choice(("", "", "same length", "same length", "other length",
                              "other characteristic"))  # fmt: skip
    parts = ["code", *rng.sample(("noise", "noise", "battery", "const"), rng.randrange(3))]
    has_counter = rng.random() < 0.75
    parts += ["counter"] * has_counter + ["clock"] * (rng.random() < 0.7)
    rng.shuffle(parts)
    if orientation == "same length" or rng.random() < 0.4:
        parts.insert(rng.choice((0, 0, len(parts))), "type")
    bits, wrap = rng.choice(
        ((8, 256), (8, 256), (8, 256), (16, 65536), (16, 65536), (4, 16), (5, 32), (6, 64),
         (7, 128), (10, 1024), (12, 4096), (8, 100), (8, 240), (8, 250), (8, 255), (4, 10),
         (6, 60))
    )  # fmt: skip
    history = rng.randrange(2, 7) if has_counter and rng.random() < 0.5 else 0
    varying = history > 0 and rng.random() < 0.15
    layout = Wild(
        seed=seed,
        parts=tuple(sorted(parts, key=lambda part: varying and part == "code")),
        codes=dict(zip(turns, rng.sample(range(1, 256), len(turns)), strict=True))
        if rng.random() < 0.4
        else {turn: 1 + number for number, turn in enumerate(turns)},
        history=history,
        newest_first=varying or rng.random() < 0.6,
        counter_bits=bits,
        counter_wrap=wrap,
        counter_first=rng.choice((0, 0, 1)),
        counter_big=rng.random() < 0.5,
        clock_bytes=rng.choice((2, 2, 3, 4)),
        clock_rate=rng.choice((1000, 1000, 1000, 1024, 100, 10, 500, 250, 128, 200, 50)),
        clock_big=rng.random() < 0.5,
        check=rng.choice(("", "", "sum", "xor", "crc8")),
        check_from=rng.randrange(2),
        mask=rng.randbytes(64) if rng.random() < 0.08 else b"",
        types=(rng.randrange(1, 128), rng.randrange(128, 256)),
        orientation=orientation,
        varying=varying,
        repeats=rng.choice((1, 1, 1, 2)),
        battery=rng.randrange(20, 100),
    )  # fmt: skip
    layout = replace(layout, clock_wrap=_clock_wrap(layout))
    return replace(layout, orientation="again") if _sends_again(layout) else layout


def _sends_again(layout: Wild) -> bool:
    """Whether it sends its latest packet again: some that count turns and stream nothing else."""
    numbered = "counter" in layout.parts and not layout.orientation and not layout.varying
    return numbered and random.Random(f"again {layout.seed}").random() < 0.3


def _clock_wrap(layout: Wild) -> int:
    """For one cube of ten a wrap of its clock at a round number; drawn apart from the rest."""
    rng = random.Random(f"wrap {layout.seed}")
    if rng.random() >= 0.1:
        return 0
    wraps = [seconds * layout.clock_rate for seconds in (10, 20, 60)] + [10000, 50000]
    longest = min(1 << 8 * layout.clock_bytes, 60 * layout.clock_rate + 1)
    return rng.choice([0, *(w for w in wraps if 10 * layout.clock_rate <= w < longest)])


def _crc8(byte: int) -> int:
    for _ in range(8):
        byte = (byte << 1 ^ (0x07 if byte & 0x80 else 0)) & 0xFF
    return byte


_CRC8: Final = [_crc8(byte) for byte in range(256)]


class Firmware:
    """One cube of a kind; ``made`` turns have been made since it was switched on."""

    def __init__(self, layout: Wild, rng: random.Random, made: int = 0) -> None:
        self.layout, self.rng, self.made = layout, rng, made
        self.latest: list[tuple[int, float]] = []
        self.turned = [rng.uniform(-1, 1) for _ in range(4)]

    def turn(self, turn: int, cube_s: float) -> list[bytes]:
        """Make a turn; a half turn without a code is two quarters, 80 ms apart."""
        if turn not in self.layout.codes:
            return self.turn(turn - 1, cube_s - 0.08) + self.turn(turn - 1, cube_s)
        self.made += 1
        self.latest.insert(0, (turn, cube_s))
        del self.latest[12:]
        data = bytearray()
        for part in self.layout.parts:
            data += self._part(part, cube_s)
        return [self._sealed(data)] * self.layout.repeats

    def attitude(self, cube_s: float) -> tuple[str, bytes]:
        """A packet of its stream."""
        layout = self.layout
        if layout.orientation == "again":
            return MAIN, self._sealed(
                bytearray(b"".join(self._part(part, cube_s) for part in layout.parts))
            )
        self.turned = [x + self.rng.gauss(0, 0.02) for x in self.turned]
        numbers = b"".join(
            int(max(-1, min(1, x)) * 32767).to_bytes(2, "little", signed=True) for x in self.turned
        )
        if layout.orientation == "other characteristic":
            return OTHER, numbers
        parts = [self._part(part, cube_s) for part in layout.parts]
        length = sum(map(len, parts)) + (layout.orientation == "other length")
        if layout.orientation == "other length":
            return MAIN, (numbers * 8)[: length + bool(layout.check)]
        at = layout.parts.index("type")
        start = sum(map(len, parts[:at]))
        data = bytearray((numbers * 8)[:length])
        data[start] = layout.types[1]
        return MAIN, self._sealed(data)

    def _part(self, part: str, cube_s: float) -> bytes:
        layout, rng = self.layout, self.rng
        match part:
            case "type":
                return bytes([layout.types[0]])
            case "code":
                return self._codes(cube_s)
            case "counter":
                number = (self.made - 1) % layout.counter_wrap + layout.counter_first
                number %= 1 << layout.counter_bits if layout.counter_first else layout.counter_wrap
                order: Literal["big", "little"] = "big" if layout.counter_big else "little"
                return number.to_bytes(1 + (layout.counter_bits > 8), order)
            case "clock":
                ticks = int(cube_s * layout.clock_rate) % layout.clock_values
                return ticks.to_bytes(layout.clock_bytes, "big" if layout.clock_big else "little")
            case "noise":
                return rng.randbytes(1)
            case "battery":
                return bytes([max(1, layout.battery - int(cube_s) // 900 % 15)])
            case _:
                return b"\x5a"

    def _codes(self, cube_s: float) -> bytes:
        layout = self.layout
        codes = [layout.codes[turn] for turn, _ in self.latest[: layout.history + 1]]
        if layout.varying:
            recent = sum(cube_s - at < 2.0 for _, at in self.latest[: layout.history + 1])
            return bytes(codes[: max(2, recent)] + [0] * (2 - len(codes)))
        codes += [0] * (layout.history + 1 - len(codes))
        return bytes(codes if layout.newest_first else codes[::-1])

    def _sealed(self, data: bytearray) -> bytes:
        layout = self.layout
        covered = data[layout.check_from :]
        if layout.check == "sum":
            data.append(sum(covered) & 255)
        elif layout.check == "xor":
            value = 0
            for byte in covered:
                value ^= byte
            data.append(value)
        elif layout.check == "crc8":
            value = 0
            for byte in covered:
                value = _CRC8[value ^ byte]
            data.append(value)
        return bytes(a ^ b for a, b in zip(data, layout.mask or bytes(len(data)), strict=False))


@dataclass
class Owner:
    """A person with a cube, and a radio with delays of 5 to 60 ms."""

    layout: Wild
    rng: random.Random
    made: int = 0
    cube_s: float = 0.0
    done: list[tuple[int, float]] = field(default_factory=list)
    rate_hz: float = 8.0

    def __post_init__(self) -> None:
        self.firmware = Firmware(self.layout, self.rng, self.made)
        self.host_s = self.rng.uniform(0, 1e4) - self.cube_s
        self.heard = 0.0
        self.streamed = self.cube_s

    def turned(self, turn: int, pause_s: float, *, lost: bool = False) -> list[Packet]:
        """The packets of a pause and of the turn after it."""
        packets = self.waited(pause_s)
        self.done.append((turn, self.cube_s))
        sent = self.firmware.turn(turn, self.cube_s)
        return packets + ([] if lost else [self._arrived(MAIN, data) for data in sent])

    def waited(self, seconds: float) -> list[Packet]:
        """The packets of a pause without turns."""
        end, packets = self.cube_s + seconds, []
        while self.layout.orientation and self.streamed < end:
            self.cube_s = max(self.cube_s, self.streamed)
            packets.append(self._arrived(*self.firmware.attitude(self.cube_s)))
            # Over a long pause a radio is quiet: the owner has put the cube down.
            self.streamed += 1 / self.rate_hz if seconds < 20 else 5.0
        self.cube_s = end
        return packets

    def _arrived(self, characteristic: str, data: bytes) -> Packet:
        at = self.host_s + self.cube_s * (1 + 3e-5) + self.rng.uniform(0.005, 0.06)
        self.heard = max(self.heard, at)
        return Packet(round(self.heard, 6), characteristic, data)


def recorded(
    layout: Wild,
    seed: int,
    slips: Sequence[Slip] = (),
    steps: Sequence[tuple[int, ...] | None] = STEPS,
) -> Recording:
    """A recording of the routine, with slips at random steps, and the way home after a detour."""
    rng = random.Random(f"owner {seed}")
    asked = [number for number, step in enumerate(steps) if step is not None]
    at = dict(zip(rng.sample(asked, len(slips)), slips, strict=True))
    start = rng.choice((0, 0, rng.randrange(layout.counter_wrap)))
    owner = Owner(layout, rng, start, rng.uniform(0, 3000))
    found = Recording(owner.waited(REST_S), [])
    behind: list[Packet] = []
    mend: list[int] = []
    for number, turns in enumerate(steps):
        step, slip = Step(turns), at.get(number)
        step.packets.extend(behind)
        behind = []
        made = [*mend, *turns] if turns is not None else way_home(owner)
        mend = []
        if slip is not None and turns is not None:
            wrong = rng.choice([t for t in range(18) if t % 3 != 1 and t not in turns])
            if slip == "wrong":
                made = [wrong]
            elif slip == "corrected":
                made = [wrong, inverse_turn(wrong), *turns]
            elif slip == "corrected late":
                made, mend = [wrong], [inverse_turn(wrong), *turns]
            elif slip == "pause":
                step.packets.extend(owner.waited(rng.uniform(40, 900)))
        for turn in made:
            packets = owner.turned(turn, rng.uniform(0.3, 1.2), lost=slip == "lost")
            step.packets.extend(packets)
        if slip == "late":
            behind, step.packets[:] = (
                step.packets[-layout.repeats :],
                step.packets[: -layout.repeats],
            )
        step.packets.extend(owner.waited(0.4))
        found.steps.append(step)
    return found


def way_home(owner: Owner) -> list[int]:
    """Fifteen more turns, then all of them undone."""
    detour = [owner.rng.randrange(18) for _ in range(15)]
    return [*detour, *inverse_turns([*(turn for turn, _ in owner.done), *detour])]


def session(
    layout: Wild, seed: int, made: int, cube_s: float, count: int, loss: float = 0.0
) -> tuple[list[Packet], list[tuple[int, float]]]:
    """Packets of another day, and the turns with their times.

    No more turns in a row are lost than a counter with this wrap can tell.
    """
    owner = Owner(layout, random.Random(f"session {seed}"), made, cube_s)
    packets, missed = [], 0
    for number in range(count):
        turn = owner.rng.randrange(18)
        missed += 1 if turn in layout.codes else 2
        lost = number > 0 and owner.rng.random() < loss and missed < layout.counter_wrap // 2
        missed *= lost
        packets += owner.turned(turn, owner.rng.choice((0.1, 0.3, 0.3, 2.0)), lost=lost)
    return packets, owner.done
