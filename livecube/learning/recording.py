"""Recordings: the asked turns, and the packets that the cube sent."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from livecube.events import Asked, Packet

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.events import CubeEvent

__all__ = ["Recording", "Step"]


@dataclass(frozen=True)
class Step:
    """The turns asked for at once, and all packets until the next step."""

    turns: tuple[int, ...] | None
    """None: a free sequence, any turns that end with the cube solved."""
    packets: list[Packet] = field(default_factory=list)
    """Their ``t`` is the host's time."""


@dataclass(frozen=True)
class Recording:
    """The steps of a routine, in order; the cube was solved before the first."""

    rest: list[Packet]
    """Packets before the first step, while the cube is at rest."""
    steps: list[Step]

    @classmethod
    def of(cls, events: Iterable[CubeEvent]) -> Recording:
        """The recording in the events of a log."""
        recording = cls([], [])
        packets = recording.rest
        for event in events:
            if isinstance(event, Asked):
                step = Step(event.turns)
                recording.steps.append(step)
                packets = step.packets
            elif isinstance(event, Packet):
                packets.append(event)
        return recording

    @property
    def asked(self) -> list[Step]:
        """The steps with given turns."""
        return [step for step in self.steps if step.turns is not None]

    @property
    def asked_turns(self) -> list[int]:
        """The turns of these steps, in order."""
        return [turn for step in self.steps for turn in step.turns or ()]

    @property
    def free(self) -> list[Step]:
        """The free sequences: steps with the owner's own turns."""
        return [step for step in self.steps if step.turns is None]

    @property
    def packets(self) -> list[Packet]:
        """All packets, in order."""
        return self.rest + [packet for step in self.steps for packet in step.packets]
