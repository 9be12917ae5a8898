"""Why profiles are refused, and what their decoders report of disturbed streams.

Other tests judge whether it is right: ``test_profiles.py``, ``test_profile_files.py``. This test
only shows every change. ``python tests/test_profile_golden.py`` rewrites the golden file; read the
difference before you commit it.
"""

from __future__ import annotations

import random
import re
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from examples import part_of
from learn_layouts import SHAPES, made
from profile_texts import PLAIN, PROFILES, TEXTS

from livecube.errors import ProfileError
from livecube.profiles.decoder import decoder_class
from livecube.profiles.parsing import parse_profile
from livecube.profiles.writing import profile_text
from livecube.virtual.profile_cube import ProfileCube

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.profiles.values import Profile

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "profiles.golden.txt"
GIVEN: Final = TEXTS | {"plain": PLAIN}
STICKERS: Final = profile_text(made(SHAPES.index("stickers")).profile, "by a test")
WRITTEN: Final = GIVEN | {"stickers": STICKERS}


def spoiled(text: str) -> Iterator[str]:
    """A profile with one line left out, one line twice, or one number changed."""
    lines = text.splitlines()
    for at, line in enumerate(lines):
        yield "\n".join([*lines[:at], *lines[at + 1 :]])
        yield "\n".join([*lines[: at + 1], *lines[at:]])
        for number in re.finditer(r"(?<![\w-])\d+(?![\w-])", line):
            for other in (int(number[0]) + 1, int(number[0]) - 1, 40):
                changed = line[: number.start()] + str(other) + line[number.end() :]
                yield "\n".join([*lines[:at], changed, *lines[at + 1 :]])


def outcome(text: str) -> str:
    try:
        return sha256(repr(parse_profile(text, "a.toml")).encode()).hexdigest()[:8]
    except ProfileError as error:
        said = str(error)
        # Errors of TOML have the words of Python's reader.
        return said.split("this is not TOML")[0]


def outcomes(name: str) -> str:
    """The reasons why spoiled profiles are refused, and a digest of all outcomes."""
    found = [outcome(text) for text in spoiled(WRITTEN[name])]
    reasons = sorted({one for one in found if one.startswith("a.toml") and one[-1] != " "})
    digest = sha256("\n".join(found).encode()).hexdigest()[:8]
    return "\n".join([f"{name}: {len(found)} {digest}", *(f"  {one}" for one in reasons)])


def rough(profile: Profile, seed: int) -> Iterator[str]:
    """A session over a bad radio: lost, repeated, swapped and changed packets, new connections."""
    rng = random.Random(seed)
    cube, decoder, ms = ProfileCube(profile), decoder_class(profile)(), 900
    late: list[bytes] = []
    for number in range(260):
        sent: list[bytes] = []
        if number % 65 == 0:
            writes = decoder.connected()
            yield repr(writes)
            sent += [p for write in writes for p in cube.written(write.data, ms)]
        if number == 150:
            cube.restarted()
        if number % 50 == 20:
            sent += cube.set_battery(rng.choice((5, 80, 101)), ms)
        ms += rng.choice((30, 90, 300, 2500))
        sent += cube.turn(rng.randrange(18), ms)
        if rng.random() < 0.05:
            late, sent = sent, late
        elif rng.random() < 0.1:
            sent = [] if rng.random() < 0.6 else sent * 2
        while sent:
            data = sent.pop(0)
            if rng.random() < 0.04:
                at = rng.randrange(len(data))
                data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
            decoded = decoder.received(cube.events, data)
            yield repr(decoded)
            if rng.random() < 0.8:
                sent += [p for write in decoded.writes for p in cube.written(write.data, ms)]
    yield repr(decoder.received(cube.events, b""))
    yield repr(decoder.received("elsewhere", b"1"))
    yield repr((decoder.name, decoder.clock_wrap_ms, decoder.notify, cube.advertisement))
    yield repr(decoder.claims(cube.advertisement))


def talk(name: str) -> str:
    profile = PROFILES[name] if name in PROFILES else made(int(name)).profile
    digests = [
        sha256("\n".join(rough(profile, seed)).encode()).hexdigest()[:8] for seed in range(3)
    ]
    text = sha256(profile_text(profile, "by a test").encode()).hexdigest()[:8]
    return f"talk {name}: {' '.join(digests)}, written {text}"


TALKS: Final = [*PROFILES, *map(str, range(14))]


@pytest.mark.parametrize("name", part_of(TALKS, 4))
def test_a_rough_stream_is_told_as_it_was(name: str) -> None:
    assert talk(name) in GOLDEN.read_text(encoding="utf-8").splitlines()


@pytest.mark.thorough
@pytest.mark.parametrize("name", WRITTEN)
def test_spoiled_profiles_are_refused_as_they_were(name: str) -> None:
    parts = [part.strip() for part in GOLDEN.read_text(encoding="utf-8").split("\n\n")]
    assert outcomes(name) in parts


if __name__ == "__main__":
    parts = [*map(outcomes, WRITTEN), "\n".join(map(talk, TALKS))]
    GOLDEN.write_text("\n\n".join(parts) + "\n", encoding="utf-8")
