"""Codes of random positions lead back to them, and slips in them are noticed.

``python tests/checks/code_check.py --positions 1000000``: every position in a random holding or
none; for one in a hundred, every code with one wrong character or two neighbours exchanged.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.code import parse_code, position_code
from livecube.cube.holding import HOLDINGS
from livecube.errors import PositionError
from livecube.scrambling.states import random_state, seeded_draw

if TYPE_CHECKING:
    from collections.abc import Iterator

CHARACTERS: Final = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_PART: Final = 10_000
_EVERY: Final = 100


def slips(code: str) -> Iterator[str]:
    """The code with each single wrong character, and with each two neighbours exchanged."""
    letters = code.replace("-", "")
    for at, letter in enumerate(letters):
        for other in CHARACTERS:
            if other != letter:
                yield letters[:at] + other + letters[at + 1 :]
    for at, (one, two) in enumerate(pairwise(letters)):
        if one != two:
            yield letters[:at] + two + one + letters[at + 2 :]


def is_refused(code: str) -> bool:
    try:
        parse_code(code)
    except PositionError:
        return True
    return False


def compared(seed: int, count: int) -> tuple[int, int, int]:
    """How many codes were wrong, how many slips were tried, and how many were not noticed."""
    rng, draw = random.Random(seed), seeded_draw(seed)
    wrong = tried = unnoticed = 0
    for number in range(count):
        position = np.frombuffer(random_state(draw), dtype=np.uint8)
        holding = rng.choice((None, *HOLDINGS))
        code = position_code(position, holding)
        found, held = parse_code(code)
        wrong += not (found == position).all() or held != holding
        if number % _EVERY == 0:
            refused = [is_refused(slip) for slip in slips(code)]
            tried += len(refused)
            unnoticed += refused.count(False)
    return wrong, tried, unnoticed


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--positions", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    began = time.perf_counter()
    sizes = [min(_PART, asked.positions - at) for at in range(0, asked.positions, _PART)]
    with ProcessPoolExecutor() as workers:
        seeds = range(asked.seed * 1_000_000, asked.seed * 1_000_000 + len(sizes))
        wrong, tried, unnoticed = map(sum, zip(*workers.map(compared, seeds, sizes), strict=True))
    print(f"{asked.positions:,} codes, {wrong} wrong; {tried:,} slips, {unnoticed} not noticed")
    print(f"{time.perf_counter() - began:.0f} s")
    sys.exit(int(bool(wrong or unnoticed)))


if __name__ == "__main__":
    main()
