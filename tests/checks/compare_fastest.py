"""The program's fastest rows against the referee of seconds.

``python tests/checks/compare_fastest.py --positions N --seed S``
asks the advisor about N positions a technique, and prints every difference. ``--kept FILE`` keeps
what was compared: after an interruption the next call goes on from there.
``--plans N`` also compares N plans without looking with the referee's own beam, 200 wide: how much
more time they take, in percent (mean and most).
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from dataclasses import asdict, dataclass
from functools import cache
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import beside  # noqa: F401 - before helpers are imported
from click.testing import CliRunner
from referee import TECHNIQUES
from referee_cube import COLOURS, FACES
from referee_plan import best_plan
from referee_positions import places_for
from referee_seconds import MOST_MS_OF, SECOND_PARTS, SLACK_MS, Referee, learn_distances, merged

if TYPE_CHECKING:
    from collections.abc import Iterator

    from referee_positions import Place

    from livecube.advice.advisor import Advisor
    from livecube.cube.geometry import Array

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
    "pseudo-x-cross",
)
IN_INSPECTION: Final = ("cross", "x-cross", "pseudo-x-cross")
_MOST_ROWS: Final = 8
_FEW: Final = 5
"""Up to this many positions of a technique, the referee's larger tables are not worth making."""


@dataclass(frozen=True)
class Compared:
    """The result for one place."""

    place: str
    """Technique, seed and number of the place."""
    questions: int
    differences: list[str]


def printed_table() -> dict[str, Any]:
    """The output of ``livecube hands --table --json``."""
    from livecube.cli.hands import hands

    table: dict[str, Any] = json.loads(CliRunner().invoke(hands, ["--table", "--json"]).output)
    return table


@cache
def _advisor() -> Advisor:
    from livecube.composition.assembly import load_advisor

    return load_advisor()


def fastest_rows(place: Place, technique: str) -> list[dict[str, Any]]:
    """The rows of one technique that ``livecube hints --json`` marks as fastest."""
    from livecube.techniques.registry import TECHNIQUES as KNOWN

    position, face = _asked(place)
    if technique == "cross":
        return [row.as_json() for row in _advisor().crosses(position, face)]
    asked = technique, *SECOND_PARTS.get(technique, ())
    advisor = _advisor().only([one for one in KNOWN if one.id in asked])
    found = advisor.advise(position, face, shortest=False, plans=False)
    rows = [row.as_json() for row in found.opportunities if row.fastest]
    if technique == "pseudo-x-cross":  # the referee finds no slower ones
        rows = [row for row in rows if row["seconds"] <= MOST_MS_OF[technique] / 1000]
    return rows


def _asked(place: Place) -> tuple[Array, int]:
    """The position of a place, and the face of its cross."""
    from livecube.cube.position import SOLVED, apply_turns, parse_turn

    position = apply_turns(SOLVED, map(parse_turn, place.turns.split()))
    return position, FACES.index(place.down)


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


def compared(
    referee: Referee, technique: str, seed: str, count: int, kept: Path | None
) -> Iterator[Compared]:
    """What is compared for one technique, place by place; known results are taken from ``kept``."""
    inspected = technique in IN_INSPECTION
    places = places_for(
        "x-cross" if technique == "cross" else technique,
        seed,
        "scrambled" if inspected else "inserted",
    )
    known = [] if kept is None or not kept.exists() else kept.read_text().splitlines()
    done = {one.place: one for one in (Compared(**json.loads(line)) for line in known)}
    for number, place in enumerate(islice(places, count)):
        name = f"{technique} {seed} {number}"
        if name not in done:
            rows = fastest_rows(place, technique)
            wrong = differences(referee, place, technique, rows)
            done[name] = Compared(name, len(targets_of(place, technique)), wrong)
            if kept is not None:
                with kept.open("a") as file:
                    file.write(json.dumps(asdict(done[name])) + "\n")
        yield done[name]


def main() -> None:
    """Compare and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--positions", type=int, default=20)
    parser.add_argument("--seed", default="1")
    parser.add_argument("--techniques", nargs="*", default=COMPARED)
    parser.add_argument("--kept", type=Path, help="file for what was compared")
    parser.add_argument("--plans", type=int, default=0)
    options = parser.parse_args()
    many = options.positions > _FEW
    if many:
        learn_distances(free=False, folder=Path(tempfile.gettempdir()))
    referee = Referee(printed_table(), whole_cross=many)
    total = 0
    for technique in options.techniques:
        asked = found = 0
        for one in compared(referee, technique, options.seed, options.positions, options.kept):
            print(*one.differences, sep="\n", end="\n" * bool(one.differences), flush=True)
            asked += one.questions
            found += len(one.differences)
        total += found
        print(f"{technique}: {asked} questions, {found} differences", flush=True)
    if options.plans:
        print(plans_compared(referee, options.seed, options.plans))
    sys.exit(total > 0)


if __name__ == "__main__":
    main()
