"""Writes the captures of the invented cubes in fixtures/: ``python tests/checks/make_captures.py``.

A simulated owner goes through the learner's routine; the packets are those of a simulated cube
that follows the profile, late by 5 to 60 ms.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import beside  # noqa: F401 - before helpers are imported
from learn_layouts import MAIN, Made, recording

from livecube.edges.log_files import LogWriter
from livecube.edges.profile_files import load_profile
from livecube.events import Asked, CubeEvent, Packet
from livecube.logs.lines import Header

ROOT = Path(__file__).parent.parent.parent
NAMES = ("skerry", "cairn")


def capture(name: str, seed: int) -> list[CubeEvent]:
    """The events that a recorder of the routine would have."""
    profile = load_profile(ROOT / "protocols" / f"{name}.toml")
    cube = Made(name, profile, (), b"", None, streams=False, repeats=1)
    found = recording(cube, seed)
    events: list[CubeEvent] = []
    began = found.packets[0].t - 1.0
    last = 0.0
    for step in found.steps:
        events.append(Asked(round(last + 0.1, 6), step.turns))
        for packet in step.packets:
            last = packet.t - began
            char = profile.notify[0] if packet.char == MAIN else packet.char
            events.append(Packet(round(last, 6), char, packet.data))
    return events


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=ROOT / "fixtures", metavar="FOLDER")
    folder = parser.parse_args().folder
    for seed, name in enumerate(NAMES, start=1):
        path = folder / f"{name}.capture.jsonl"
        path.unlink(missing_ok=True)
        with LogWriter(path, Header("2026-03-01T18:20:00Z", "capture", "host")) as writer:
            for event in capture(name, seed):
                writer.write(event)


if __name__ == "__main__":
    main()
