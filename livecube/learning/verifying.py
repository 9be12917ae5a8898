"""Whether a profile tells what was turned: its own decoder hears the whole recording."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from livecube.cube.position import SOLVED, TURN_BYTES
from livecube.events import BadPacket, GapReport, StateReport, TurnReport
from livecube.profiles.decoder import decoder_class

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.decoding import Decoder
    from livecube.events import Packet, Report
    from livecube.learning.recording import Recording
    from livecube.profiles.values import Profile

__all__ = ["Hearing", "hear", "quarters"]


@dataclass(slots=True)
class Hearing:
    """What a decoder made of a recording."""

    right: int = 0
    """Asked steps that were told right, and with nothing lost came to the right position."""
    wrong: int = 0
    free: list[int] = field(default_factory=list)
    """Turns told in the free sequence."""
    lost: bool = False
    """Whether it told of lost turns."""
    bad: int = 0
    """Bad packets."""
    solved: bool = False
    """Whether the cube was solved after the free sequence."""

    @property
    def perfect(self) -> bool:
        """Whether nothing was wrong, lost or bad."""
        return self.solved and not (self.wrong or self.lost or self.bad)


def hear(profile: Profile, recording: Recording) -> Hearing:
    """Let the profile's decoder hear a recording."""
    hearing, decoder = Hearing(), decoder_class(profile)()
    position: bytes = SOLVED.tobytes()
    expected: bytes = position
    decoder.connected()
    _, position = _told(decoder, recording.rest, position, hearing)
    hearing.lost = False
    for number, step in enumerate(recording.steps):
        turns, position = _told(decoder, step.packets, position, hearing)
        if step.turns is None:
            hearing.free += turns
            expected = SOLVED.tobytes()
            hearing.solved = position == expected
            continue
        for turn in step.turns:
            expected = expected.translate(TURN_BYTES[turn])
        # The first position that is heard of tells no turn.
        told = quarters(turns) == quarters(step.turns) or (number == 0 and not turns)
        if told and (hearing.lost or position == expected):
            hearing.right += 1
        else:
            hearing.wrong += 1
    return hearing


def _told(
    decoder: Decoder, packets: Iterable[Packet], position: bytes, hearing: Hearing
) -> tuple[list[int], bytes]:
    turns: list[int] = []
    for packet in packets:
        if packet.char in decoder.notify:
            for report in decoder.received(packet.char, packet.data).reports:
                position = _after(report, position, hearing)
                if isinstance(report, TurnReport):
                    turns.append(report.turn)
    return turns, position


def _after(report: Report, position: bytes, hearing: Hearing) -> bytes:
    match report:
        case TurnReport(turn):
            return position.translate(TURN_BYTES[turn])
        case StateReport(told):
            return told
        case GapReport():
            hearing.lost = True
        case BadPacket():
            hearing.bad += 1
    return position


def quarters(turns: Sequence[int]) -> list[tuple[int, int]]:
    """Turns as faces and clockwise quarters; neighbours of one face are summed."""
    summed: list[tuple[int, int]] = []
    for turn in turns:
        face, count = turn // 3, turn % 3 + 1
        if summed and summed[-1][0] == face:
            summed[-1] = face, (summed[-1][1] + count) % 4
        else:
            summed.append((face, count))
    return summed
