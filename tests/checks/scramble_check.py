"""The randomness of states, and the lengths of scrambles. Not part of the suite.

``python tests/checks/scramble_check.py --draws 100000 --scrambles 10000`` draws states and prints
for every piece the chi-square probability of its places and orientations. It then makes scrambles,
and prints the distributions of their lengths and times.
"""

from __future__ import annotations

import argparse
import time
from typing import TYPE_CHECKING

import numpy as np

from livecube.cube.geometry import EDGES, HOME, NEXT_STICKER, PIECE_AT, PIECES, TWIST_AT
from livecube.cube.notation import check_position, parse_turns
from livecube.cube.position import SOLVED, SOLVED_BYTES, apply_turns
from livecube.errors import PositionError
from livecube.scrambling.states import random_state, seeded_draw
from livecube.scrambling.two_phase import MOST_TURNS

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt


def draw_states(count: int, seed: int) -> list[bytes]:
    draw = seeded_draw(seed)
    return [random_state(draw) for _ in range(count)]


def is_possible(position: bytes) -> bool:
    """Whether turns can reach the position: parity, twist and flip."""
    try:
        check_position(np.frombuffer(position, dtype=np.uint8))
    except PositionError:
        return False
    return True


def probability(counts: npt.NDArray[np.int64]) -> float:
    """The probability of counts at least this uneven if all cases are equally probable.

    By the Wilson–Hilferty approximation of chi-square (1931; from memory), which is good to
    some parts in a hundred where it matters here.
    """
    from math import erfc, sqrt

    freedom = len(counts) - 1
    expected = counts.sum() / len(counts)
    chi_square = float(((counts - expected) ** 2 / expected).sum())
    spread = 2 / (9 * freedom)
    deviation = ((chi_square / freedom) ** (1 / 3) - (1 - spread)) / sqrt(spread)
    return erfc(deviation / sqrt(2)) / 2


def probabilities(states: Sequence[bytes]) -> dict[str, float]:
    """For each piece: its places, its orientations; and both parities of the corners."""
    positions = np.frombuffer(b"".join(states), dtype=np.uint8).reshape(-1, 20)
    found: dict[str, float] = {}
    for piece, name in enumerate(PIECES):
        first, places, ways = (0, 8, 3) if piece < 8 else (8, 12, 2)
        where = PIECE_AT[positions[:, piece]].astype(np.int64) - first
        turned = TWIST_AT[positions[:, piece]].astype(np.int64)
        found[f"{name} place"] = probability(np.bincount(where, minlength=places))
        found[f"{name} turned"] = probability(np.bincount(turned, minlength=ways))
    corners = PIECE_AT[positions[:, :8]].astype(np.int64)
    before = np.triu(np.ones((8, 8), dtype=bool), 1)
    swaps = ((corners[:, :, None] > corners[:, None, :]) & before).sum(axis=(1, 2))
    found["corner parity"] = probability(np.bincount(swaps % 2, minlength=2))
    pairs = PIECE_AT[positions[:, 0]].astype(np.int64) * 8 + PIECE_AT[positions[:, 1]]
    possible = np.bincount(pairs, minlength=64).reshape(8, 8)[~np.eye(8, dtype=bool)]
    found["first two corners"] = probability(possible)
    return found


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--draws", type=int, default=100_000)
    parser.add_argument("--scrambles", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=2026)
    parser.add_argument("--superflip", action=argparse.BooleanOptionalAction, default=True)
    arguments = parser.parse_args()
    states = draw_states(arguments.draws, arguments.seed)
    for name, value in probabilities(states).items():
        print(f"{name:<20}{value:8.4f}")
    print(f"possible cubes      {sum(map(is_possible, states))} of {len(states)}")
    _scrambles(states[: arguments.scrambles])
    if arguments.superflip:
        _superflip()


def _scrambles(states: Sequence[bytes]) -> None:
    from livecube.composition.scrambler import load_scrambler

    scrambler = load_scrambler(0)
    lengths, seconds, wrong = [], [], 0
    for state in states:
        began = time.perf_counter()
        path = scrambler.to(SOLVED_BYTES, state)
        seconds.append(time.perf_counter() - began)
        lengths.append(len(path.turns))
        wrong += path.target != state
    for length, count in enumerate(np.bincount(lengths)):
        if count:
            print(f"{length} turns            {count:8d}")
    p50, p99, most = np.percentile(seconds, [50, 99, 100]) * 1000
    print(f"ms: median {p50:.1f}, p99 {p99:.1f}, most {most:.1f}; wrong: {wrong}")


def _superflip() -> None:
    """Every edge flipped: it takes most turns of all, 20 at least (Reid 1995; from memory)."""
    from livecube.composition.scrambler import load_scrambler

    turns = parse_turns("U R2 F B R B2 R U2 L B2 R U' D' R2 F R' L B2 U2 F2")
    position = apply_turns(SOLVED, turns).tobytes()
    flipped = bytes(NEXT_STICKER[HOME[EDGES.start :]].tolist())
    assert position == SOLVED_BYTES[: EDGES.start] + flipped
    path = load_scrambler(0).to(SOLVED_BYTES, position)
    assert path.target == position
    assert 20 <= len(path.turns) <= MOST_TURNS
    print(f"superflip           {len(path.turns)} turns")


if __name__ == "__main__":
    main()
