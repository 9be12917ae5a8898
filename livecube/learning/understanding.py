"""What is understood of a cube while its owner is still led through the routine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.position import SOLVED, apply_turns
from livecube.events import TurnReport
from livecube.learning.judging import judge_all, worth
from livecube.profiles.decoder import decoder_class
from livecube.profiles.values import Claim

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.decoding import Decoder
    from livecube.events import Packet
    from livecube.learning.recording import Recording

__all__ = ["TRIED_AT", "Understanding", "come_to_the_same", "first_understanding"]

TRIED_AT: Final = (30, 36, 43, 55, 67, 79, 91, 103, 120)
"""When so many turns were asked for, it is tried to understand the cube."""
_RIGHT: Final = 0.9
"""A first hypothesis tells so many of the steps as they were asked for."""
_MOST_DOUBTS: Final = 4
"""If so many steps in a row come out otherwise, it is the hypothesis that is wrong."""


class Understanding:
    """A hypothesis that stands until too much contradicts it: packets in, turns out."""

    def __init__(self, decoder: Decoder) -> None:
        self._decoder = decoder
        self._doubts = 0

    def told(self, packet: Packet) -> list[int]:
        """The turns that a packet tells."""
        if packet.char not in self._decoder.notify:
            return []
        reports = self._decoder.received(packet.char, packet.data).reports
        return [report.turn for report in reports if isinstance(report, TurnReport)]

    def judge(self, asked: Sequence[int], told: Sequence[int]) -> bool:
        """A step is over: whether what was told comes to what was asked for."""
        right = come_to_the_same(asked, told)
        self._doubts = 0 if right else self._doubts + 1
        return right

    @property
    def stands(self) -> bool:
        """Whether it is still believed."""
        return self._doubts < _MOST_DOUBTS


def come_to_the_same(asked: Sequence[int], told: Sequence[int]) -> bool:
    """Whether the cube stands as it should, if by way of a slip that was corrected."""
    return bytes(apply_turns(SOLVED, [*asked]).tolist()) == bytes(
        apply_turns(SOLVED, [*told]).tolist()
    )


def first_understanding(recording: Recording) -> Understanding | None:
    """A hypothesis that tells nearly all of the steps so far, which has heard all of them."""
    judged = judge_all(recording, "unknown", Claim(name="unknown"))
    fitting = [
        one
        for one in judged
        if one.hearing.right >= _RIGHT * one.hearing.steps and not one.hearing.bad
    ]
    if not fitting:
        return None
    decoder = decoder_class(max(fitting, key=worth).profile)()
    decoder.connected()
    understanding = Understanding(decoder)
    for packet in recording.packets:
        understanding.told(packet)
    return understanding
