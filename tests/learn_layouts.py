"""Generated cubes for the learner: random packet layouts of all shapes, and recordings of them.

The truth is a profile; bytes outside its fields are noise or constant. An encrypted cube sends a
hash of its plain packets.
"""

from __future__ import annotations

import hashlib
import random
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from livecube.cube.geometry import PIECES
from livecube.cube.position import inverse_turns
from livecube.events import Packet
from livecube.learning.recording import Recording, Step
from livecube.learning.routine import REST_S, STEPS
from livecube.profiles.checks import Check
from livecube.profiles.fields import Entries, Field
from livecube.profiles.states import PieceCode, PieceNames, StickerCode
from livecube.profiles.values import Claim, Layout, Profile, TurnList
from livecube.virtual.profile_cube import ProfileCube

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.profiles.fields import Order

MAIN = "a1a9a3a6-6f0f-4a35-8e4c-0d4f6b1f5a01"
OTHER = "a1a9a3a6-6f0f-4a35-8e4c-0d4f6b1f5a02"
SHAPES = ("turn", "turn counted", "list", "list elapsed", "stickers", "pieces", "places")


@dataclass(frozen=True)
class Made:
    """A generated cube."""

    shape: str
    profile: Profile
    noise: tuple[Field, ...]
    constant: bytes
    beat: bytes | None
    """Another kind of packet on the same characteristic, some of whose bytes are noise."""
    streams: bool
    """Whether another characteristic sends noise all the time."""
    repeats: int
    secret: bytes | None = None

    def cube(self, rng: random.Random) -> ProfileCube:
        def fill(layout: Layout) -> bytearray:
            data = bytearray(self.constant or bytes(layout.shortest))
            for noise in self.noise:
                noise.write(data, rng.randrange(noise.values))
            return data

        return ProfileCube(self.profile, fill=fill)

    def sent(self, packet: bytes) -> bytes:
        if self.secret is None:
            return packet
        whole = b"".join(
            hashlib.sha256(self.secret + bytes([part]) + packet).digest() for part in range(4)
        )
        return whole[: max(16, len(packet))]


def made(seed: int, *, encrypted: bool = False) -> Made:
    """The generated cube of a seed; consecutive seeds have different shapes."""
    rng = random.Random(seed)
    found = _Layouter(rng, SHAPES[seed % len(SHAPES)]).made()
    return replace(found, secret=rng.randbytes(16)) if encrypted else found


@dataclass
class _Layouter:
    rng: random.Random
    shape: str
    order: Order = "little"
    step: int = 1
    noise: list[Field] = field(default_factory=list)

    def made(self) -> Made:
        rng = self.rng
        self.order = rng.choice(("little", "big"))
        self.step = rng.choice((1, 4, 8))
        typed = rng.random() < 0.5
        places, length = self._placed(self._parts(), 8 if typed else 0)
        layout, codes, state = self._layout(places, length)
        check = self._check(length) if rng.random() < 0.6 else None
        length += 0 if check is None else check.field.bits // 8
        match = ((Field(0, 8, self.order), rng.randrange(1, 256)),) if typed else ()
        layout = replace(layout, shortest=length, longest=length, match=match, check=check)
        profile = Profile(
            name="made",
            order=self.order,
            claim=Claim(name="MADE"),
            layouts=(layout,),
            turns=codes,
            state=state,
            per_second=rng.choice((1000, 1024)),
        )
        beat = None
        if rng.random() < 0.4:
            other = length + rng.choice((1, 2)) if not typed or rng.random() < 0.5 else length
            beat = bytes([match[0][1] ^ 0x5A if match else 0xB7]) + bytes(other - 1)
        return Made(
            self.shape, profile, tuple(self.noise), self._constant(length, layout), beat,
            streams=rng.random() < 0.3, repeats=rng.choice((1, 1, 2)),
        )  # fmt: skip

    # The fields and their places.

    def _parts(self) -> list[tuple[str, int]]:
        rng, shape = self.rng, self.shape
        parts = [("noise", rng.choice((3, 8, 11, 16))) for _ in range(rng.randrange(1, 4))]
        parts += [("gap", rng.choice((4, 8))) for _ in range(rng.randrange(2))]
        if shape != "turn" and (shape.startswith(("turn", "list")) or rng.random() < 0.5):
            parts.append(("counter", rng.choice((8, 8, 16, 5))))
        if shape == "list elapsed" or rng.random() < 0.7:
            parts.append(("clock", rng.choice((16, 16, 24, 32))))
        self.width = rng.choice((5, 6, 8))
        self.count = rng.randrange(2, 8) if shape.startswith("list") else 1
        self.elapsed = rng.choice((11, 12)) if shape == "list elapsed" else 0
        pad = rng.choice((0, 0, 3, 8 - self.width % 8)) if self.count > 1 else 0
        self.stride = self.width + self.elapsed + pad
        if shape == "stickers":
            self.colour_bits = rng.choice((3, 3, 4))
            self.shown = rng.choice((48, 54))
            parts.append(("stickers", self.colour_bits * self.shown))
        elif shape in ("pieces", "places"):
            self.twist_bits, self.wide = rng.choice(((2, 0), (2, 1), (4, 0)))
            parts += [("corners", 8 * (3 + self.wide)), ("twists", 8 * self.twist_bits)]
            parts += [("edges", 12 * 4), ("flips", 12 * (1 + self.wide))]
        else:
            parts.append(("turn", self.stride * self.count))
        rng.shuffle(parts)
        return parts

    def _placed(self, parts: list[tuple[str, int]], at: int) -> tuple[dict[str, int], int]:
        places: dict[str, int] = {}
        for name, bits in parts:
            at = -(-at // self.step) * self.step
            if name == "noise":
                self.noise.append(Field(at, bits, self.order))
            elif name != "gap":
                places[name] = at
            self.__dict__.setdefault("bits", {})[name] = bits
            at += bits
        return places, -(-at // 8)

    def _field(self, places: dict[str, int], name: str) -> Field | None:
        if name not in places:
            return None
        return Field(places[name], self.__dict__["bits"][name], self.order)

    def _layout(self, places: dict[str, int], length: int) -> tuple[Layout, dict[int, int], Any]:
        counter, clock = self._field(places, "counter"), self._field(places, "clock")
        layout = Layout(MAIN, length, length, counter=counter, clock=clock)
        if "turn" in places:
            turns, codes = self._turns(places["turn"])
            return replace(layout, turns=turns), codes, None
        if "stickers" in places:
            row = Entries(
                Field(places["stickers"], self.colour_bits, self.order), self.shown,
                self.colour_bits,
            )  # fmt: skip
            return replace(layout, state=(row,)), {}, self._stickers()
        widths = {"corners": 3 + self.wide, "twists": self.twist_bits,
                  "edges": 4, "flips": 1 + self.wide}  # fmt: skip
        rows = tuple(
            Entries(
                Field(places[name], bits, self.order),
                8 if name in ("corners", "twists") else 12,
                bits,
            )
            for name, bits in widths.items()
        )
        return replace(layout, state=rows), {}, self._pieces()

    def _turns(self, at: int) -> tuple[TurnList, dict[int, int]]:
        rng = self.rng
        turns = rng.choice((list(range(18)), [t for t in range(18) if t % 3 != 1]))
        numbers = rng.sample(range(1 << self.width), len(turns) + 1)
        stride, back = self.stride, self.count > 1 and rng.random() < 0.4
        start = at + (self.count - 1) * stride if back else at
        stride = -stride if back else stride
        row = Entries(Field(start, self.width, self.order), self.count, stride)
        elapsed = None
        if self.elapsed:
            elapsed = Entries(
                Field(start + self.width, self.elapsed, self.order), self.count, stride
            )
        none = numbers[-1] if self.count > 1 else None
        return TurnList(row, none, elapsed), dict(zip(numbers, turns, strict=False))

    def _stickers(self) -> StickerCode:
        rng = self.rng
        facelets = [f for f in range(54) if self.shown == 54 or f % 9 != 4]
        if rng.random() < 0.5:
            rng.shuffle(facelets)
        return StickerCode(tuple(facelets), tuple(rng.sample(range(8), 6)))

    def _pieces(self) -> PieceCode:
        rng = self.rng

        def names(kind: list[str], size: int) -> PieceNames:
            spun = []
            for name in kind:
                faces = _clockwise(name)
                by = rng.randrange(size)
                spun.append("".join(faces[by:] + faces[:by]))
            rng.shuffle(spun)
            places = tuple(rng.sample(spun, len(spun))) if rng.random() < 0.5 else tuple(spun)
            return PieceNames(tuple(spun), places)

        return PieceCode(
            names(PIECES[:8], 3), names(PIECES[8:], 2),
            "piece" if self.shape == "pieces" else "place",
            rng.choice(("clockwise", "counterclockwise")),
        )  # fmt: skip

    def _check(self, length: int) -> Check:
        rng = self.rng
        kind = rng.choice(("sum", "xor", "crc 8", "crc 16"))
        bits = 16 if kind == "crc 16" else 8
        where, first = Field(8 * length, bits, self.order), rng.randrange(2)
        if kind == "sum":
            return Check("sum", where, first, length, initial=rng.randrange(256))
        if kind == "xor":
            return Check("xor", where, first, length, initial=rng.randrange(256))
        polynomial = rng.choice((0x1021, 0x8005)) if bits == 16 else rng.randrange(1, 256, 2)
        turned = rng.random() < 0.5
        start, final = rng.randrange(1 << bits), rng.choice((0, (1 << bits) - 1))
        return Check("crc", where, first, length, polynomial, start, turned, turned, final)

    def _constant(self, length: int, layout: Layout) -> bytes:
        return bytes(length)


def _clockwise(name: str) -> list[str]:
    from livecube.cube.geometry import FACES, face_of
    from livecube.profiles.states import spots

    return [FACES[face_of(facelet)] for facelet in spots(name)]


# Recordings.


class Owner:
    """A person who turns a generated cube, and a radio with delays of 5 to 60 ms."""

    def __init__(self, cube: Made, seed: int) -> None:
        self.rng = random.Random(seed)
        self.of, self.cube = cube, cube.cube(self.rng)
        self.cube_s = self.rng.uniform(0, 300)
        self.host_s = self.rng.uniform(0, 1e5) - self.cube_s
        self.heard = 0.0
        self.done: list[int] = []

    def turned(self, turn: int, pause_s: float) -> list[Packet]:
        """The packets of a pause and of the turn after it."""
        packets = self.waited(pause_s)
        self.done.append(turn)
        whole = turn % 3 != 1 or turn in self.of.profile.turns.values()
        for number, part in enumerate([turn] if whole else [turn - 1] * 2):
            self.cube_s += 0.08 * number
            for data in self.cube.turn(part, round(self.cube_s * 1000)):
                packets += [self._arrived(MAIN, self.of.sent(data))] * self.of.repeats
        return packets

    def waited(self, pause_s: float) -> list[Packet]:
        """The packets of a pause without turns."""
        packets = []
        end = self.cube_s + pause_s
        while (step := min(0.25, end - self.cube_s)) > 1e-9:
            self.cube_s += step
            if self.of.streams:
                packets.append(self._arrived(OTHER, self.rng.randbytes(9)))
            if self.of.beat is not None and self.rng.random() < 0.15:
                beat = self.of.beat[:2] + self.rng.randbytes(len(self.of.beat) - 2)
                packets.append(self._arrived(MAIN, self.of.sent(beat)))
        return packets

    def _arrived(self, characteristic: str, data: bytes) -> Packet:
        at = self.host_s + self.cube_s * (1 + 5e-5) + self.rng.uniform(0.005, 0.06)
        self.heard = max(self.heard, at)
        return Packet(round(self.heard, 6), characteristic, data)


def recording(
    cube: Made, seed: int, steps: tuple[tuple[int, ...] | None, ...] = STEPS
) -> Recording:
    """A recording of the routine by an obedient owner, who solves the cube by a detour."""
    owner = Owner(cube, seed)
    found = Recording(owner.waited(REST_S), [])
    for turns in steps:
        step = Step(turns)
        for turn in turns if turns is not None else way_home(owner):
            step.packets.extend(owner.turned(turn, owner.rng.uniform(0.3, 1.2)))
        step.packets.extend(owner.waited(0.4))
        found.steps.append(step)
    return found


def way_home(owner: Owner) -> Iterator[int]:
    """Fifteen more turns, then all of them undone."""
    detour = [owner.rng.randrange(18) for _ in range(15)]
    return iter([*detour, *inverse_turns([*owner.done, *detour])])


def fresh(cube: Made, seed: int, turns: int, loss: float) -> list[Packet]:
    """Packets of another session, some of them lost."""
    owner = Owner(cube, seed)
    packets = [
        packet
        for _ in range(turns)
        for packet in owner.turned(owner.rng.randrange(18), owner.rng.choice((0.1, 0.3, 2.0)))
    ]
    return [packet for packet in packets if owner.rng.random() >= loss]
