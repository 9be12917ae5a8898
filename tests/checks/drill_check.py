"""How long sets of drills take to draw, and how many turns set them up.

``python tests/checks/drill_check.py --sets 10`` draws ten sets of eight positions for each
technique.
"""

from __future__ import annotations

import argparse
import random
import time
from statistics import mean

from livecube.composition.assembly import drilled_techniques, load_advisor
from livecube.composition.scrambler import load_scrambler
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=10)
    parser.add_argument("--positions", type=int, default=8, help="of a set")
    parser.add_argument("--technique", action="append", help="only this one; may be repeated")
    asked = parser.parse_args()
    advisor, scrambler = load_advisor(), load_scrambler(1)
    from livecube.drills.place import pieces_that_count
    from livecube.drills.positions import Wish, drawn_set

    pieces = pieces_that_count(0)
    print("technique         positions  seconds a set  set-up: mean  ten or fewer  most")
    for technique in drilled_techniques():
        if technique.id not in (asked.technique or [technique.id]):
            continue
        spent, lengths = [], []
        for seed in range(asked.sets):
            began = time.process_time()
            places = drawn_set(advisor, Wish(technique, asked.positions), random.Random(seed))
            spent.append(time.process_time() - began)
            at = SOLVED_BYTES
            for place in places:
                path = scrambler.partly(at, place.position, pieces)
                lengths.append(len(path.turns))
                at = path.target
                for turn in place.row.turns_fixed:
                    at = at.translate(TURN_BYTES[turn])
        short = sum(length <= 10 for length in lengths) / len(lengths)
        print(
            f"{technique.id:18}{len(lengths) / asked.sets:9.1f}{mean(spent):15.2f}"
            f"{mean(lengths):14.1f}"
            f"{100 * short:13.0f} %{max(lengths):6}",
            flush=True,
        )


if __name__ == "__main__":
    main()
