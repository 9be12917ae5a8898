"""A first hypothesis about a cube's packets, used while the routine still runs."""

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
    from livecube.learning.judging import Judged
    from livecube.learning.recording import Recording

__all__ = ["TRIED_AT", "Understanding", "come_to_the_same", "first_understanding"]

TRIED_AT: Final = (30, 36, 43, 55, 67, 79, 91, 103, 120)
"""Numbers of asked turns after which the learner looks for a hypothesis."""
_RIGHT: Final = 0.9
"""Least share of the steps that a first hypothesis decodes as they were asked for."""
_MOST_DOUBTS: Final = 4
"""If this many steps in a row come out differently, the hypothesis is dropped."""


class Understanding:
    """A hypothesis that decodes packets into turns, and stands until too much contradicts it."""

    def __init__(self, decoder: Decoder) -> None:
        self._decoder = decoder
        self._doubts = 0

    def told(self, packet: Packet) -> list[int]:
        """The turns that a packet reports."""
        if packet.char not in self._decoder.notify:
            return []
        reports = self._decoder.received(packet.char, packet.data).reports
        return [report.turn for report in reports if isinstance(report, TurnReport)]

    def judge(self, asked: Sequence[int], told: Sequence[int]) -> bool:
        """Take in a step that is over; return whether its turns come to the asked ones."""
        right = come_to_the_same(asked, told)
        self._doubts = 0 if right else self._doubts + 1
        return right

    @property
    def stands(self) -> bool:
        """Whether it is kept: only a few steps contradict it."""
        return self._doubts < _MOST_DOUBTS


def come_to_the_same(asked: Sequence[int], told: Sequence[int]) -> bool:
    """Whether both sequences lead to the same position, as with a corrected slip."""
    return bytes(apply_turns(SOLVED, [*asked]).tolist()) == bytes(
        apply_turns(SOLVED, [*told]).tolist()
    )


def first_understanding(recording: Recording) -> Understanding | None:
    """A hypothesis that decodes nearly all steps so far; its decoder has got their packets."""
    judged = judge_all(recording, "unknown", Claim(name="unknown"), _tells_turns)
    fitting = [*filter(_fits, judged)]
    if not fitting:
        return None
    decoder = decoder_class(max(fitting, key=worth).profile)()
    decoder.connected()
    understanding = Understanding(decoder)
    for packet in recording.packets:
        understanding.told(packet)
    return understanding


def _fits(judged: Judged) -> bool:
    """Whether nearly all steps come out as they were asked for."""
    return judged.hearing.right >= _RIGHT * judged.hearing.steps and not judged.hearing.bad


def _tells_turns(judged: Judged) -> bool:
    """Whether it also decodes turns: no candidate that decodes positions is worth more."""
    return judged.candidate.layout.turns is not None and _fits(judged)
