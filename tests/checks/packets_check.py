"""How long many packets of every kind take: through each decoder alone, and through a replay.

``python tests/checks/packets_check.py --packets 20000`` prints processor seconds for the decoders
in code, those of installed profiles and some that are learned from generated cubes. The replay is
that of the command line, with hints. Packets come some hundred milliseconds or some seconds apart.
"""

from __future__ import annotations

import argparse
import json
import random
import tempfile
import time
from pathlib import Path
from typing import Final
from unittest.mock import patch

import beside  # noqa: F401 - before helpers are imported
from called import called
from fuzz_decoders import names, pair

from livecube.conformance.attacks import one_hostile
from livecube.profiles.writing import profile_text

STREAMS: Final = {"turns": 1, "lossy": 1, "jumps": 25, "jumps and turns": 25, "hostile": 1}
"""By kind of stream, the turns before a packet that arrives."""
GAPS_S: Final = (0.3, 4.0)


def stream(kind: str, name: str, count: int, gap_s: float) -> list[tuple[float, bytes]]:
    """So many packets of a decoder's cube with the seconds at which they arrive."""
    make_decoder, make_cube = pair(name)
    cube, rng, t = make_cube(), random.Random(1), 0.0
    asked = [write.data for write in make_decoder().connected()]
    sent = [(t, data) for write in asked for data in cube.written(write, 0)]
    hostile = kind == "hostile"
    good = [data for _ in range(300 * hostile) for data in cube.turn(rng.randrange(18), 0)]
    while len(sent) < count:
        t += gap_s
        turns = STREAMS[kind] if kind != "jumps and turns" or len(sent) % 2 else 1
        for _ in range(turns):
            packets = cube.turn(rng.randrange(18), int(t * 1000))
        if hostile:
            packets = (one_hostile(good, rng),)
        if kind != "lossy" or rng.random() < 0.8:
            sent += [(t, data) for data in packets]
    return sent


def alone(name: str, packets: list[tuple[float, bytes]]) -> float:
    """Processor seconds of the decoder."""
    make_decoder, make_cube = pair(name)
    decoder, characteristic = make_decoder(), make_cube().events
    decoder.connected()
    began = time.process_time()
    for _, data in packets:
        decoder.received(characteristic, data)
    return time.process_time() - began


def replayed(name: str, packets: list[tuple[float, bytes]], folder: Path) -> float:
    """Processor seconds of ``livecube replay --packets`` with hints."""
    make_decoder, make_cube = pair(name)
    decoder, characteristic = make_decoder(), make_cube().events
    header = {"livecube_log": 1, "started": "", "source": decoder.name, "clock": "host"}
    lines = [
        {"t": round(t, 3), "mark": "packet", "char": characteristic, "hex": data.hex()}
        for t, data in packets
    ]
    log = folder / "packets.jsonl"
    log.write_text("".join(json.dumps(line) + "\n" for line in (header, *lines)), encoding="utf-8")
    profile = getattr(decoder, "profile", None)
    if profile is not None and name.startswith("learned"):
        text = profile_text(profile, "a check")
        (folder / f"{profile.name}.toml").write_text(text, encoding="utf-8")
    began = time.process_time()
    with patch("livecube.composition.decoders.profile_folder", lambda: folder):
        done = called("replay", "--packets", "--json", str(log), folder=folder)
    assert done.status == 0, done.err
    return time.process_time() - began


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--packets", type=int, default=20_000)
    parser.add_argument("--decoder", action="append", help="only this one; may be repeated")
    arguments = parser.parse_args()
    slowest = [0.0, 0.0]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name in arguments.decoder or names():
            replayed(name, stream("jumps", name, 10, 4.0), folder)  # loads tables
            for kind in STREAMS:
                for gap_s in GAPS_S:
                    packets = stream(kind, name, arguments.packets, gap_s)
                    spent = alone(name, packets), replayed(name, packets, folder)
                    slowest = [*map(max, slowest, spent)]
                    print(
                        f"{name}, {kind}, {gap_s} s apart: {len(packets):,} packets, decoder "
                        f"{spent[0]:.1f} s, replay {spent[1]:.1f} s",
                        flush=True,
                    )
    print(
        f"slowest decoder: {slowest[0]:.1f} s of processor time, slowest replay {slowest[1]:.1f} s"
    )


if __name__ == "__main__":
    main()
