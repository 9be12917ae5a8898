"""A test bench for a decoder: feeds it packets, or a simulated cube, and checks its reports."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from livecube.cube.notation import facelets_text, parse_facelets
from livecube.cube.position import SOLVED, TURN_BYTES
from livecube.decoding import Decoded, Write
from livecube.errors import PositionError
from livecube.events import (
    AttitudeReport,
    BadPacket,
    BatteryReport,
    GapReport,
    StateReport,
    TurnReport,
    is_attitude,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from livecube.decoding import Decoder
    from livecube.events import Report
    from livecube.virtual.cube import SimulatedCube

__all__ = ["Bench", "Bends", "Follower", "fed", "look_at"]


Bends: TypeAlias = "Callable[[list[bytes]], list[bytes]]"
"""The effect of a radio: from the packets that were sent to the packets that arrive."""


def fed(decoder: Decoder, characteristic: str, packets: Iterable[bytes]) -> list[Report]:
    """Give packets to a decoder; return all its reports, after checking each."""
    reports: list[Report] = []
    for data in packets:
        decoded = decoder.received(characteristic, data)
        look_at(decoder, decoded)
        reports += decoded.reports
    return reports


def look_at(decoder: Decoder, decoded: Decoded) -> None:
    """Check the types of a decoder's answer, and that no value in it is out of range."""
    assert isinstance(decoded, Decoded), f"{decoded!r} is no Decoded"
    for write in decoded.writes:
        assert isinstance(write, Write), f"{write!r} is no Write"
    for report in decoded.reports:
        _look_at_report(report, decoder.clock_wrap_ms)


def _look_at_report(report: Report, wrap_ms: float | None) -> None:
    match report:
        case TurnReport(turn, seq, cube_ms):
            assert 0 <= turn < 18, f"{report}: turns are 0 to 17"
            _look_at_numbers(report, seq, cube_ms, wrap_ms)
        case StateReport(position, seq, cube_ms):
            assert _is_position(position), f"{report}: no position"
            _look_at_numbers(report, seq, cube_ms, wrap_ms)
        case BatteryReport(percent):
            assert 0 <= percent <= 100, f"{report}: a charge is 0 to 100"
        case GapReport(lost):
            assert lost is None or lost > 0, f"{report}: a gap without a lost turn"
        case AttitudeReport(quaternion):
            assert is_attitude(quaternion), f"{report}: no rotation; four numbers, not all 0"
        case BadPacket(reason):
            assert reason, "a BadPacket without its reason"
        case _:
            raise AssertionError(f"{report!r} is no report")


@lru_cache(maxsize=4096)  # millions of hostile packets state the same few positions
def _is_position(position: bytes) -> bool:
    array = np.frombuffer(position, dtype=np.uint8)
    if array.shape != (20,) or array.max() >= 54:
        return False
    try:
        return parse_facelets(facelets_text(array)).tobytes() == position
    except PositionError:
        return False


def _look_at_numbers(
    report: Report, seq: int | None, cube_ms: int | None, wrap_ms: float | None
) -> None:
    assert seq is None or seq >= 0, f"{report}: a negative number"
    if cube_ms is not None:
        assert wrap_ms is not None, f"{report}: a time, but the decoder names no clock"
        assert 0 <= cube_ms <= wrap_ms, f"{report}: the clock wraps at {wrap_ms} ms"


@dataclass
class Follower:
    """Follows reports as a tracker does: keeps the position and the turns."""

    position: bytes | None = field(default_factory=SOLVED.tobytes)
    """None: unknown, after a gap."""
    turns: list[int] = field(default_factory=list)
    seqs: list[int | None] = field(default_factory=list)
    lost: int | None = 0
    """Turns lost in all gaps together; None: one gap does not state its number."""

    def take(self, report: Report) -> None:
        """Take in one report."""
        match report:
            case TurnReport(turn, seq):
                self.turns.append(turn)
                self.seqs.append(seq)
                self.position = self.position and self.position.translate(TURN_BYTES[turn])
            case StateReport(position):
                self.position = position
            case GapReport(lost):
                self.position = None
                self.lost = None if lost is None or self.lost is None else self.lost + lost


class Bench:
    """A simulated cube and its decoder, with a radio between them that ``bends`` packets.

    ``bends`` takes the packets that the cube sends about one turn, and returns those that arrive,
    in order. It bends answers to the decoder's writes, too.
    """

    def __init__(self, decoder: Decoder, cube: SimulatedCube, bends: Bends) -> None:
        self.decoder, self.cube, self.bends = decoder, cube, bends
        self.follower = Follower()
        self.made: list[int] = []
        self.told: list[Report] = []

    def connect(self, cube_ms: int) -> None:
        """Connect, or connect again; the cube answers the decoder's writes."""
        self._answer(self.decoder.connected(), cube_ms)

    def begin(self, bends: Bends) -> None:
        """Begin to record turns and reports, with a radio that ``bends``; the position is known."""
        self.bends = bends
        self.follower = Follower(self.cube.position)
        self.made, self.told = [], []

    def turn(self, turn: int, cube_ms: int) -> None:
        """Turn the cube; its packets arrive as ``bends`` returns them."""
        self.made.append(turn)
        self.deliver(list(self.cube.turn(turn, cube_ms)), cube_ms)

    def idle(self, cube_ms: int) -> None:
        """Let the cube send packets that are due without a turn."""
        self.deliver(list(self.cube.idle(cube_ms)), cube_ms)

    def deliver(self, packets: list[bytes], cube_ms: int) -> None:
        """Give bent packets to the decoder, and its writes to the cube."""
        for data in self.bends(packets):
            decoded = self.decoder.received(self.cube.events, data)
            look_at(self.decoder, decoded)
            self.told += decoded.reports
            for report in decoded.reports:
                self.follower.take(report)
            self._answer(decoded.writes, cube_ms)

    def _answer(self, writes: tuple[Write, ...], cube_ms: int) -> None:
        for write in writes:
            answers = self.cube.written(write.data, cube_ms)
            if answers:
                self.deliver(list(answers), cube_ms)
