"""The program's fastest rows against the referee of seconds.

``python tests/checks/compare_fastest.py --positions N --seed S``
asks ``livecube hints --json`` about N positions a technique, and prints every difference.
``--plans N`` also compares N plans without looking with the referee's own beam, 200 wide: how much
more time they take, in percent (mean and most).
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import beside  # noqa: F401 - before helpers are imported
from click.testing import CliRunner
from referee import TECHNIQUES
from referee_cube import COLOURS
from referee_plan import best_plan
from referee_positions import places_for
from referee_seconds import SLACK_MS, Referee, learn_distances, merged

if TYPE_CHECKING:
    from referee_positions import Place

__all__ = ["COMPARED", "differences", "fastest_rows", "printed_table"]

COMPARED: Final = (
    "plain",
    "made-pair",
    "keyhole-corner",
    "keyhole-edge",
    "keyhole-flip",
    "pseudo-pair",
    "keyhole-chain",
    "x-cross",
    "cross",
)
_MOST_ROWS: Final = 8
_FEW: Final = 5
"""Up to this many positions of a technique, the referee's larger tables are not worth making."""


def printed_table() -> dict[str, Any]:
    """The output of ``livecube hands --table --json``."""
    from livecube.cli.hands import hands

    table: dict[str, Any] = json.loads(CliRunner().invoke(hands, ["--table", "--json"]).output)
    return table


def fastest_rows(place: Place) -> list[dict[str, Any]]:
    """The rows of ``livecube hints --json`` that are marked as fastest."""
    from livecube.cli.hints import hints

    arguments = [place.turns, "--cross", COLOURS[place.down], "--json"]
    done = CliRunner().invoke(hints, arguments)
    assert done.exit_code == 0, done.output
    rows = [json.loads(line) for line in done.output.splitlines()]
    return [row for found in rows for row in found["opportunities"] if row.get("fastest")]


def fastest_crosses(place: Place) -> list[dict[str, Any]]:
    """The crosses of ``livecube inspect --json``, which ranks them with the plans after them."""
    from livecube.cli.inspection import inspect

    done = CliRunner().invoke(inspect, [place.turns, "--cross", COLOURS[place.down], "--json"])
    assert done.exit_code == 0, done.output
    (found,) = json.loads(done.output)["crosses"]
    rows: list[dict[str, Any]] = found["crosses"]
    return sorted(rows, key=lambda row: float(row["seconds"]))


def targets_of(place: Place, technique: str) -> list[tuple[str, ...]]:
    """The slots that a technique can fill; for the plain cross there are none."""
    return [()] if technique == "cross" else [*TECHNIQUES[technique](place.view)]


def differences(
    referee: Referee, place: Place, technique: str, rows: list[dict[str, Any]]
) -> list[str]:
    """Differences between the program's rows for one technique and the referee.

    Compared are the ways, their prices, their order, and the prices by the table.
    """
    listed: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        if row["technique"] == technique:
            listed.setdefault(tuple(row["slots"]), []).append(row)
    own: dict[tuple[str, ...], dict[str, int]] = {}
    for targets in targets_of(place, technique):
        for way in referee.fastest(place.view, technique, targets) or []:
            kept = own.setdefault(targets, {})
            kept[way.turns] = min(way.ms, kept.get(way.turns, way.ms))
    result = []
    for slots in sorted(listed.keys() | own.keys()):
        where = f"{place.turns} / {place.down} {technique} {'+'.join(slots)}: "
        rows_here = listed.get(slots, [])
        theirs = [
            (round(1000 * row["seconds"]), merged(row["turns_fixed"].split())) for row in rows_here
        ]
        totals = [round(1000 * (row["seconds"] + row.get("looking", 0.0))) for row in rows_here]
        least = min(own.get(slots, {}).values(), default=0)
        mine = {t: ms for t, ms in own.get(slots, {}).items() if ms <= least + SLACK_MS}
        if totals[1:] != sorted(totals[1:]):  # a plan's own way stands before the others
            result.append(where + "not cheapest first")
        if len(theirs) != min(len(mine), _MOST_ROWS):
            result.append(where + f"{len(theirs)} ways instead of {len(mine)}")
        for ms, turns in theirs:
            if mine.get(turns) != ms:
                result.append(where + f"{turns} at {ms} ms, by the referee {mine.get(turns)}")
        cheapest = sorted(mine.values())[: len(theirs)]
        if sorted(ms for ms, _ in theirs) != cheapest:
            result.append(where + f"the cheapest take {cheapest} ms")
    return result


def plans_compared(referee: Referee, seed: str, count: int) -> str:
    """The comparison of plans without looking with those of the referee's beam."""
    from livecube.cli.hints import hints

    more = []
    places = (p for p in places_for("plain", seed, "inserted") if len(p.view.free) > 1)
    for place in islice(places, count):
        arguments = [place.turns, "--cross", COLOURS[place.down], "--no-looking", "--json"]
        found = json.loads(CliRunner().invoke(hints, arguments).output)["plan"]
        own = 1000 * found["seconds"]
        more.append(100 * (own / best_plan(referee, place.view, looking=False).turning_ms - 1))
    mean = sum(more) / len(more)
    return f"{count} plans take {mean:+.1f} % (mean), {max(more):+.1f} % (most) of the referee's"


def main() -> None:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--positions", type=int, default=20)
    parser.add_argument("--seed", default="1")
    parser.add_argument("--techniques", nargs="*", default=COMPARED)
    parser.add_argument("--plans", type=int, default=0)
    options = parser.parse_args()
    many = options.positions > _FEW
    if many:
        learn_distances(free=False, folder=Path(tempfile.gettempdir()))
    referee = Referee(printed_table(), whole_cross=many)
    total = 0
    for technique in options.techniques:
        inspected = technique in ("cross", "x-cross")
        places = places_for(
            "x-cross" if inspected else technique,
            options.seed,
            "scrambled" if inspected else "inserted",
        )
        asked = found = 0
        for place in islice(places, options.positions):
            asked += len(targets_of(place, technique))
            rows = fastest_crosses(place) if technique == "cross" else fastest_rows(place)
            for line in differences(referee, place, technique, rows):
                print(line, flush=True)
                found += 1
        total += found
        print(f"{technique}: {asked} questions, {found} differences", flush=True)
    if options.plans:
        print(plans_compared(referee, options.seed, options.plans))
    sys.exit(total > 0)


if __name__ == "__main__":
    main()
