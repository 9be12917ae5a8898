"""What the finders of the learner find in drawn packets, near their limits: digests.

Other tests judge whether it is right: ``test_learning_fields.py``, ``test_learning.py``. This test
only shows every change. ``python tests/test_learning_golden.py`` rewrites the golden file; a digest
that changed says which finder to look at.
"""

from __future__ import annotations

import random
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pytest
from examples import thorough
from learn_layouts import MAIN, made, recording

from livecube.cube.geometry import PIECE_AT, TWIST_AT
from livecube.cube.position import SOLVED, apply_turn
from livecube.events import Packet
from livecube.learning.bits import Bits
from livecube.learning.checksums import find_check
from livecube.learning.clocks import find_clock, find_wrapped_clock
from livecube.learning.codes import (
    FoundTurns,
    find_elapsed,
    find_list,
    find_turns,
    labellings,
    lengthened,
)
from livecube.learning.counters import find_counters
from livecube.learning.inference import candidates
from livecube.learning.kinds import Kind, kinds_in
from livecube.learning.masked_clocks import find_masked_clock
from livecube.learning.pieces import find_pieces
from livecube.learning.recording import Recording, Step
from livecube.learning.routine import STEPS, Background
from livecube.learning.samples import samples_of, states_of
from livecube.learning.secrecy import balanced_share, looks_encrypted
from livecube.learning.slips import without_slips
from livecube.learning.stickers import find_stickers, shown_facelets
from livecube.learning.verifying import hear
from livecube.profiles.checks import Check
from livecube.profiles.fields import Entries, Field
from livecube.profiles.values import TurnList

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from learn_layouts import Made

    from livecube.cube.geometry import Array
    from livecube.profiles.fields import Order

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "learning.golden.txt"
ORDERS: Final[tuple[Order, Order]] = ("little", "big")
QUARTERS: Final = [turn for turn in range(18) if turn % 3 != 1]


def packets(
    rng: random.Random, length: int, fields: Sequence[tuple[Field, Sequence[int]]], count: int
) -> list[bytes]:
    """Packets of noise with these values in these fields."""
    made = []
    for number in range(count):
        data, taken = bytearray(length), bytearray(length)
        for field, values in fields:
            field.write(data, values[number] % field.values)
            field.write(taken, field.values - 1)
        around = rng.randbytes(length)
        whole = zip(data, taken, around, strict=True)
        made.append(bytes(byte | (other & ~mask) for byte, mask, other in whole))
    return made


def checks() -> Iterator[object]:
    for seed in range(40):
        rng, order = random.Random(seed), ORDERS[seed % 2]
        bits, length, count = rng.choice((8, 8, 16)), rng.randrange(2, 6), rng.randrange(15, 22)
        kind = rng.choice(("sum", "xor", "crc", "none"))
        at = -bits // 8 if seed % 3 == 0 else length
        check = Check("xor", Field(8 * length, bits, order), seed % 2, at)
        if kind == "sum" or (kind == "xor" and bits == 16):
            check = Check("sum", check.field, seed % 2, at, initial=rng.randrange(256))
        elif kind == "crc":
            polynomial = rng.choice((0x07, 0x31, 0xFF) if bits == 8 else (0x1021, 0x755B))
            turned = rng.random() < 0.5
            check = Check("crc", check.field, seed % 2, at, polynomial, 0, turned, turned, seed)
        sent = []
        for number in range(count):
            more = 0 if at >= 0 else number % 2
            # Some covered bytes move little.
            covered = bytes(rng.randrange(1 << rng.choice((3, 8))) for _ in range(length + more))
            data = bytearray(covered + bytes(bits // 8))
            if kind != "none":
                check.write(data)
            sent.append(bytes(data))
        yield find_check(sent, order)


def counters() -> Iterator[object]:
    for seed in range(60):
        rng, order = random.Random(seed), ORDERS[seed % 2]
        width, count = rng.randrange(3, 12), rng.randrange(18, 90)
        wrap = rng.choice((1 << width, rng.randrange(1 + (1 << (width - 1)), 1 + (1 << width))))
        made, number, asked, numbers = 0, rng.randrange(wrap), [], []
        for _ in range(count):
            step = rng.choice((1, 1, 1, 2, 3))
            made, number = made + step, number + step + (rng.random() < 0.06)
            asked.append(made)
            numbers.append(number)
        mask = rng.randrange(1 << width) if seed % 3 == 0 else 0
        field = Field(8 + seed % 5, width, order)
        sent = packets(rng, 4, [(field, [n % wrap ^ mask for n in numbers])], count)
        every = packets(
            rng, 4, [(field, [(numbers[0] + n) % wrap ^ mask for n in range(made)])], made
        )
        ends, whole = (Bits(some, order) for some in (sent, every))
        yield find_counters(ends, np.array(asked), whole, masked=bool(mask))


def clocks() -> Iterator[object]:
    for seed in range(24):
        rng, order = np.random.default_rng(seed), ORDERS[seed % 2]
        rate = (1000, 100, 32_768, 500)[seed % 4]
        count, width = int(rng.integers(19, 60)), int(rng.integers(10, 22))
        host = np.cumsum(rng.uniform(0.3, 2.5, count))
        ticks = (host * rate * (1 + rng.normal(0, 2e-5))).astype(int) + int(rng.integers(1 << 20))
        at = (8, 0, 32 - width)[seed % 3]  # at the ends of the packet too
        sent = packets(random.Random(seed), 4, [(Field(at, width, order), ticks.tolist())], count)
        late, bits = host + rng.uniform(0.0, 0.07, count), Bits(sent, order)
        yield find_clock(bits, late, {at - 1, at + width} & {*range(32)})
        yield find_clock(bits, late, {at + 9}, grain=4)


def wrapped_clocks() -> Iterator[object]:
    for seed in range(15):
        rng, order = np.random.default_rng(seed), ORDERS[seed % 2]
        rate, wrap = ((100, 1000), (50, 500), (10, 300), (128, 9000), (100, 400))[seed % 5]
        host = np.cumsum(rng.uniform(0.3, 2.5, int(rng.integers(19, 90))))
        ticks = (host * rate * (1 + seed % 3 * 1e-4)).astype(int) % wrap
        width = (wrap - 1).bit_length()
        at = 8 if order == "little" else 16 - width + 8 * (wrap != 400)
        sent = packets(
            random.Random(seed), 3, [(Field(at, width, order), ticks.tolist())], len(host)
        )
        late = host + rng.uniform(0.0, 0.07, len(host))
        yield find_wrapped_clock(Bits(sent, order), late, range(3))


def masked_clocks() -> Iterator[object]:
    for seed in range(18):
        rng, order = np.random.default_rng(seed), ORDERS[seed % 2]
        rate, count = (1000, 100, 500)[seed % 3], (80, 300)[seed % 2]
        host = np.cumsum(rng.uniform(0.3, 2.5, count))
        ticks = (host * rate).astype(int) ^ int(rng.integers(1 << 18))
        at, width = ((8, 18), (0, 24), (8, 24))[seed % 3]
        sent = packets(random.Random(seed), 4, [(Field(at, width, order), ticks.tolist())], count)
        late = host + rng.uniform(0.0, 0.04, count)
        yield find_masked_clock(Bits(sent, order), late, {*range(4), 32} if at else ())


def drawn(rng: random.Random, count: int) -> list[int]:
    return [rng.choice(QUARTERS) for _ in range(count)]


def turn_fields() -> Iterator[object]:
    for seed in range(40):
        rng, order = random.Random(seed), ORDERS[seed % 2]
        turns, width = drawn(rng, rng.randrange(20, 120)), rng.randrange(5, 18)
        codes = dict(zip(QUARTERS, rng.sample(range(1 << width), 12), strict=True))
        asked = [
            rng.choice((-1, rng.choice(QUARTERS))) if rng.random() < 0.04 else t for t in turns
        ]
        field = Field(3 + seed % 9, width, order)
        sent = packets(rng, 4, [(field, [codes[turn] for turn in turns])], len(turns))
        bits, labels = Bits(sent, order), np.array(asked)
        yield find_turns(bits, labels)
        yield [(one.tolist(), find_turns(bits, one)) for one in labellings(bits, labels)]


def lists() -> Iterator[object]:
    codes = {turn: turn for turn in QUARTERS}
    for seed in range(30):
        rng = random.Random(seed)
        turns, count = drawn(rng, rng.randrange(19, 60)), rng.randrange(1, 5)
        stride, masked, gap = rng.choice((5, 7, 8)), seed % 3 == 0, rng.randrange(0, 3)
        masks = [0, *(rng.randrange(32) * masked for _ in range(count - 1))]
        index = [at for at in range(len(turns)) if at % 9 >= gap]
        fields = [
            (Field(lag * stride, 5), [(turns[i - lag] if i >= lag else 31) ^ mask for i in index])
            for lag, mask in enumerate(masks)
        ]
        sent = packets(rng, 6, fields, len(index))
        found = FoundTurns(TurnList(Entries(Field(0, 5), 1, 5)), codes)
        told = np.array([-1 if rng.random() < 0.05 else turn for turn in turns])
        yield find_list(Bits(sent, "little"), found, told, np.array(index))
        behind, known = seed % 2, rng.randrange(1, 4)
        whole = [
            bytes([*turns[max(0, at - rng.randrange(known - 1, 6)) : at + 1][::-1]])
            + rng.randbytes(behind)
            for at in range(len(turns))
        ]
        wide = FoundTurns(TurnList(Entries(Field(0, 8), known, 8)), codes)
        yield lengthened(wide, whole[8:], behind, told, np.arange(8, len(turns)))


def elapsed() -> Iterator[object]:
    for seed in range(30):
        rng = random.Random(seed)
        width, count = rng.randrange(5, 18), rng.randrange(19, 40)
        values = rng.sample(range(1 << width), rng.choice((4, 5, 30)))
        steps = [rng.choice((*values, 3 << width)) for _ in range(count)]
        ticks = np.cumsum(steps)
        shown = [min(step, (1 << width) - 1) for step in steps]
        index = None if seed % 2 else np.cumsum([1 + (rng.random() < 0.1) for _ in steps])
        stride = (0, 20, -20)[seed % 3]
        row = Entries(Field(0, 4), 1 + (seed % 3 > 0), stride or 4)
        fields = [(Field(20 + seed % 9, width), shown)]
        if stride:  # now and then the second time is another
            earlier = [0, *shown[:-1]]
            if seed % 5 == 4:
                earlier[9] += 1
            fields.append((Field(20 + seed % 9 + stride, width), earlier))
        sent = packets(rng, 9, fields, count)
        yield find_elapsed(Bits(sent, "little"), row, ticks, 1 << 24, index)


def positions(turns: Sequence[int]) -> Array:
    found = [SOLVED]
    for turn in turns:
        found.append(apply_turn(found[-1], turn))
    return np.array(found[1:], dtype=np.uint8)


def state_fields() -> Iterator[object]:
    for seed in range(8):
        rng, order = random.Random(seed), ORDERS[seed % 2]
        count = rng.choice((12, 40, 60))
        at = positions([rng.randrange(18) for _ in range(count)])
        fields = []
        bit = seed % 3
        for first, pieces, width, twist in ((0, 8, 3, 2), (8, 12, 4, 1)):
            own = at[:, first : first + pieces]
            told, turned = PIECE_AT[own] - first, TWIST_AT[own].astype(np.int64)
            if seed % 2:
                told = np.argsort(told, axis=1).astype(np.uint8)
                turned = np.take_along_axis(turned, told.astype(np.int64), axis=1)
            # Numbers of its own for the pieces; twists from another sticker of one of them.
            names = np.array(rng.sample(range(pieces), pieces))
            turned = (turned + np.where(told == 2, 1, 0)) % (3 if twist == 2 else 2)
            for values, wide, told_at in ((names[told], width, bit), (turned, twist, bit + 60)):
                fields += [
                    (Field(told_at + wide * k, wide, order), values[:, k].tolist())
                    for k in range(pieces)
                ]
            bit += 90
        sent = packets(rng, 26, fields, count)
        yield find_pieces(Bits(sent, order), at)
        colours = rng.sample(range(8), 6)
        facelets = shown_facelets(at)
        shown = [
            (Field(5 + 3 * k, 3, order), [colours[v % 6] for v in facelets[:, k].tolist()])
            for k in range(48)
        ]
        yield find_stickers(Bits(packets(rng, 19, shown, count), order), at)


def slips() -> Iterator[object]:
    for seed in range(6):
        rng = random.Random(seed)
        count = rng.choice((10, 14, 18))
        asked = [rng.randrange(18) for _ in range(count)]
        made = list(asked)
        for _ in range(1 + seed % 2):
            made[rng.randrange(6, count)] = rng.randrange(18)
        facelets = shown_facelets(positions(made))
        width = (3, 4, 8)[seed % 3]
        fields = [
            (Field(width * k, width), facelets[:, k].tolist()) for k in range(facelets.shape[1])
        ]
        sent = packets(rng, 54, fields, count)
        steps = [
            ((turn,), [Packet(0.0, "a", data)] if rng.random() < 0.95 else [])
            for turn, data in zip(asked, sent, strict=True)
        ]
        yield without_slips(steps, "little")


def kinds() -> Iterator[object]:
    for seed in range(20):
        rng = random.Random(seed)
        lengths = [rng.randrange(1, 9) for _ in range(rng.randrange(1, 4))]
        types = rng.sample(range(16), rng.randrange(1, 9))
        sent = [
            Packet(
                0.0,
                rng.choice("ab"),
                bytes([rng.choice(types) | 16 * (seed % 3), *rng.randbytes(n)]),
            )
            for n in rng.choices(lengths, (1, 5, 20)[: len(lengths)], k=rng.randrange(30, 200))
        ]
        yield kinds_in(sent, ORDERS[seed % 2])
        same = [bytes([1] * (seed % 4)) + rng.randbytes(7) for _ in range(38 + seed % 6)]
        yield looks_encrypted(same), balanced_share(same)


def spoilt(cube: Made, seed: int) -> Recording:
    """A short recording with slips, and with packets that were lost, late or out of order."""
    rng = random.Random(seed)
    found = recording(cube, seed, (*rng.sample(STEPS[:-1], rng.randrange(3, 22)), None))
    for number, step in enumerate(found.steps):
        own = step.packets
        if own and rng.random() < 0.1:
            del own[rng.randrange(len(own)) :]
        if own and number and rng.random() < 0.06:
            found.steps[number - 1].packets.append(own.pop(0))
        if rng.random() < 0.04:
            own.reverse()
        if step.turns is not None and rng.random() < 0.06:
            found.steps[number] = Step((rng.randrange(18),), own)
    if rng.random() < 0.2:
        found.rest.extend(found.steps[0].packets)
    return found


def hearings() -> Iterator[object]:
    for seed in range(56):
        cube = made(seed % 14)
        yield hear(cube.profile, spoilt(cube, seed))


def samples() -> Iterator[object]:
    for seed in range(42):
        cube = made(seed)
        found, length = spoilt(cube, seed), cube.profile.layouts[0].shortest
        steps = [
            (step.turns or (), [p for p in step.packets if len(p.data) == length])
            for step in found.steps
        ]
        for split in (False, True):
            for one in samples_of(steps, split=split):
                yield one.made.tolist(), one.index.tolist(), one.counter
        states = states_of(steps)
        yield states and (len(states.packets), states.positions.tobytes(), states.counters)


def news() -> Iterator[object]:
    for seed in range(60):
        rng, background = random.Random(seed), Background()
        kinds, at_rest, later = rng.randrange(1, 3), rng.randrange(1, 7), rng.randrange(2, 20)
        for number in range(60):
            kind, values = rng.randrange(kinds), at_rest if number < seed % 12 else later
            data = bytes(rng.randrange(values) for _ in range(2 + kind))
            packet = Packet(0.0, "ab"[kind], data)
            if number < seed % 12:
                background.take(packet)
            else:
                yield background.is_news(packet)


def layouts() -> Iterator[object]:
    for seed in (1, 2, 7, 8, 5):
        cube = made(seed)
        found = recording(cube, seed, (*STEPS[:40], None))
        kind = Kind(MAIN, cube.profile.layouts[0].shortest)
        asked = [(step.turns or (), [*filter(kind.holds, step.packets)]) for step in found.asked]
        for order in ORDERS:
            yield candidates(kind, asked, order, [*filter(kind.holds, found.free[0].packets)])


FINDERS: Final[dict[str, Callable[[], Iterator[object]]]] = {
    one.__name__: one
    for one in (
        checks, counters, clocks, wrapped_clocks, masked_clocks, turn_fields, lists, elapsed,
        state_fields, slips, kinds, samples, hearings, news, layouts,
    )
}  # fmt: skip


def digest(name: str) -> str:
    """How many draws found something, and a digest of all that was found."""
    found = [*map(repr, FINDERS[name]())]
    nothing = sum(one in ("None", "[]") for one in found)
    return f"{name}: {len(found)} {nothing} {sha256(chr(10).join(found).encode()).hexdigest()[:12]}"


LONG: Final = (
    *("masked_clocks", "state_fields", "slips", "samples", "hearings", "layouts", "counters"),
    *("clocks",),
)


@pytest.mark.parametrize("name", [thorough(one) if one in LONG else one for one in FINDERS])
def test_finders_find_what_they_found(name: str) -> None:
    assert digest(name) in GOLDEN.read_text(encoding="utf-8").splitlines()


if __name__ == "__main__":
    GOLDEN.write_text("\n".join([*map(digest, FINDERS), ""]), encoding="utf-8")
