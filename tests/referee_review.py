"""The referee of reviews: computes each number of a review again, from turns, times and table.

It shares no code with the program. :mod:`referee_seconds` merges the turns, :mod:`referee_hands`
prices them by the output of ``livecube hands --table --json``, and the virtual solver's cube
replays them. It takes the inferred holdings as given, since other tests judge them: the written
moves, and how sure they are.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from click.testing import CliRunner
from referee_cube import COLOURS, FACES
from referee_hands import HOLDINGS, Hands, held_as
from referee_seconds import merged

from livecube.cli.hands import hands
from livecube.virtual.looks import looks_after, whole_line

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

__all__ = ["Given", "complaints", "table"]

SURE: Final = 0.8
SIDES: Final = {"left": 1, "front": 2, "right": 3, "back": 4}
_NEAR: Final = 0.0011
"""Two figures that were rounded to a thousandth agree."""


@cache
def table() -> Hands:
    """The printed table of the usual hands."""
    return Hands(json.loads(CliRunner().invoke(hands, ["--table", "--json"]).output))


@dataclass
class Given:
    """A solve: its scramble, its turns and its inferred moves."""

    scramble: Sequence[int]
    turns: Sequence[int]
    times: Sequence[float]
    before: str
    """Rotations from white up, green in front into the holding at the first move."""
    lines: list[tuple[str, float]]
    """For each line of the written solve its moves, and how sure its holdings are."""
    _priced: dict[tuple[tuple[int, ...], tuple[int, ...]], float] = field(default_factory=dict)

    def count(self, turns: Sequence[int]) -> int:
        """Turns after merging."""
        return len(merged(names(turns)).split())

    def seconds(self, turns: Sequence[int], starts: Sequence[int], down: int) -> float:
        """Seconds of turns in their cheapest spelling."""
        key = tuple(turns), tuple(starts)
        if key not in self._priced:
            now = numbers(merged(names(turns)))
            self._priced[key] = table().cheapest_ms(now, starts, down) / 1000
        return self._priced[key]


def names(turns: Sequence[int]) -> list[str]:
    return [FACES[turn // 3] + ("", "2", "'")[turn % 3] for turn in turns]


def numbers(text: str) -> list[int]:
    return [3 * FACES.index(n[0]) + ("", "2", "'").index(n[1:]) for n in text.split()]


def face(colour: str) -> int:
    return FACES.index(next(f for f, name in COLOURS.items() if name == colour))


def complaints(told: dict[str, Any], given: Given) -> Iterator[str]:
    """Everything that is wrong in the object of a review."""
    if told["cross"] is None:
        return
    judge = _Judge(told, given)
    yield from judge.totals()
    for number, stage in enumerate(told["stages"]):
        for complaint in judge.stage(number, stage):
            yield f"{stage['stage']} {' '.join(stage['slots'])}: {complaint}"
    for row in told["openings"]:
        yield from judge.opening(row)


def unlike(what: str, told: float | None, found: float | None) -> Iterator[str]:
    """A complaint if two figures differ."""
    if told is None or found is None:
        if told != found:
            yield f"{what}: told {told}, found {found}"
    elif abs(told - found) > _NEAR:
        yield f"{what}: told {told}, found {found:.4f}"


class _Judge:
    def __init__(self, told: dict[str, Any], given: Given) -> None:
        self.told, self.given = told, given
        self.down = face(told["cross"])
        self.fronts = [n for n, h in enumerate(HOLDINGS) if h[5] == self.down]
        self.looks = looks_after([*given.scramble, *given.turns])[len(given.scramble) :]
        ends = [stage["end_turn"] - told["start_turn"] + 1 for stage in told["stages"]]
        self.ends = [max(ends[: i + 1]) for i in range(len(ends))]
        self.begins = [0, *self.ends[:-1]]
        held, sure, self.held = table().led_to(held_as(0, 2), given.before), False, []
        for text, confidence in given.lines:
            known = sure and confidence >= SURE and HOLDINGS[held][5] == self.down
            self.held.append(held if known else None)
            if text:
                held, sure = table().led_to(held, text), confidence >= SURE

    def totals(self) -> Iterator[str]:
        given, told = self.given, self.told
        yield from unlike("turns", told["turns"], sum(s["turns"] for s in told["stages"]))
        yield from unlike("seconds", told["seconds"], given.times[-1] - given.times[0])
        words = [word for text, _ in given.lines for word in text.split()]
        yield from unlike("rotations", told["rotations"], sum(w[0] in "xyz" for w in words))
        yield from unlike("wide turns", told["wide_turns"], sum("w" in w for w in words))
        regrips = [ms for text, _ in given.lines for ms in self._regrips(text)]
        yield from unlike("regrips", told["regrips"], len(regrips))
        for side in told["sides"]:
            its = [s for n, s in enumerate(told["stages"]) if side["side"] in self._places(n, s)]
            yield from unlike("pairs of a side", side["pairs"], len(its))
            yield from unlike("its turns", side["turns"], sum(s["turns"] for s in its) / len(its))
            yield from unlike(
                "its seconds", side["seconds"], sum(s["turning"] for s in its) / len(its)
            )
        yield from self._findings()

    @staticmethod
    def _regrips(text: str) -> list[int]:
        """Extra milliseconds of moves with a wrong grip before them; after a slice the hands start
        again."""
        parts, found = [""], list[int]()
        for word in text.split():
            parts = [*parts, ""] if word[0] in "MES" else [*parts[:-1], f"{parts[-1]} {word}"]
        for part in parts:
            found += [ms for ms in table().done_ms(part)[1] if ms >= 40]
        return found

    def _places(self, number: int, stage: dict[str, Any]) -> set[str]:
        """The place of a pair's slot at the first move of its line, if it is sure."""
        text, confidence = self.given.lines[number]
        if stage["stage"] != "pair" or stage["shared"] or stage["gap"] or confidence < SURE:
            return set()
        spins = "".join(f"{w} " for w in self._leading(text))
        before = table().led_to(held_as(0, 2), self.given.before)
        for earlier, _ in self.given.lines[:number]:
            before = table().led_to(before, earlier)
        held = HOLDINGS[table().led_to(before, spins)]
        colours = [face(colour) for colour in stage["slots"][0].split("-")]
        return {("", "left", "front", "right", "back", "")[held.index(c)] for c in colours}

    @staticmethod
    def _leading(text: str) -> list[str]:
        words = text.split()
        last = next((i for i, w in enumerate(words) if w[0] not in "xyz"), len(words))
        return words[:last]

    def _findings(self) -> Iterator[str]:
        told = self.told
        costs = [finding["cost"] for finding in told["findings"]]
        if costs != sorted(costs, reverse=True):
            yield "findings are out of order"
        expected = list[float]()
        spare_s, regrip_s = 0.0, 0.0
        for number, stage in enumerate(told["stages"]):
            against, spare = stage["against_plan"], stage["spare"]
            if against:
                expected += [against["slow"], against["order"]]
            if spare and against and against["slow"] >= 0.1:
                spare_s += max(0.0, min(spare["cost"], stage["predicted"] - stage["turned"]))
            elif spare:
                spare_s += spare["cost"]
            text, confidence = self.given.lines[number]
            if stage["stage"] in ("cross", "pair") and confidence >= SURE:
                regrip_s += sum(self._regrips(text)) / 1000
        expected += [spare_s, regrip_s]
        expected += [max((row["saved_predicted"] for row in told["openings"]), default=0.0)]
        predicted = sorted(f["cost"] for f in told["findings"] if f["kind"] == "predicted")
        expected = sorted(cost for cost in expected if cost >= 0.1)
        if len(predicted) != len(expected):
            yield f"findings cost {predicted}, found {expected}"
        for one, other in zip(predicted, expected, strict=False):
            yield from unlike("a finding", one, other)

    def stage(self, number: int, stage: dict[str, Any]) -> Iterator[str]:
        given, (begun, end) = self.given, (self.begins[number], self.ends[number])
        turns, (text, confidence) = given.turns, given.lines[number]
        yield from unlike("turns", stage["turns"], given.count(turns[begun:end]))
        began = given.times[begun - 1] if begun else given.times[0]
        if end > begun:
            yield from unlike("seconds", stage["seconds"], given.times[end - 1] - began)
            yield from unlike("pause", stage["pause"], given.times[begun] - began)
        yield from unlike("certainty", stage["confidence"], confidence)
        slices = any(word[0] in "MES" for word in text.split())
        predicted = None if slices else table().done_ms(text)[0] / 1000
        yield from unlike("predicted", stage["predicted"], predicted)
        if stage["stage"] != "pair" or stage["shared"] or stage["gap"]:
            if stage["alternatives"] or stage["against_plan"] or stage["spare"]:
                yield "judged, though there is nothing to judge"
            return
        held = self.held[number]
        told = stage["held"] and held_as(face(stage["held"]["up"]), face(stage["held"]["front"]))
        if told != held:
            yield f"held: told {told}, found {held}"
        starts = self.fronts if held is None else [held]
        turned = given.seconds(turns[begun:end], starts, self.down)
        yield from unlike("turned", stage["turned"], turned)
        best = 0.05
        for way in stage["alternatives"]:
            at = begun + way["after"]
            row, last = numbers(way["turns_fixed"]), self._pairs_on(number, len(way["slots"]))
            done, other = turns[: self.ends[last]], [*turns[:at], *row]
            saved = given.count(done) - given.count(other)
            yield from unlike("saved turns", way["saved_turns"], saved)
            before = given.seconds(done[begun:], starts, self.down)
            saved_s = before - given.seconds(other[begun:], starts, self.down)
            yield from unlike("saved seconds", way["saved_predicted"], saved_s)
            if way["saved_predicted"] < best - _NEAR:
                yield f"a later way saves {saved_s:.3f} s, an earlier one {best:.3f} s"
            best = max(best, way["saved_predicted"]) if way["after"] else best
            yield from self._row(way, at, starts if not way["after"] else self.fronts)
        if against := stage["against_plan"]:
            own, plan = against["own"], against["plan"]
            for one in (own, plan):
                yield from self._plan(one, begun, starts)
            yield from unlike("slow", against["slow"], turned - own["steps"][0]["seconds"])
            order = sum(own[k] - plan[k] for k in ("seconds", "looking"))
            if abs(against["order"] - order) > 2 * _NEAR:
                yield f"order: told {against['order']}, found {order:.4f}"
        yield from self._spare(stage, text, predicted, begun)

    def _pairs_on(self, number: int, pairs: int) -> int:
        stages = self.told["stages"]
        later = [i for i in range(number, len(stages)) if stages[i]["stage"] == "pair"]
        return later[min(pairs, len(later)) - 1]

    def _row(self, row: dict[str, Any], at: int, starts: Sequence[int]) -> Iterator[str]:
        """A row's own figures, and whether its moves do what it says."""
        turns = numbers(row["turns_fixed"])
        held = held_as(face(row["up"]), face(row["front"]))
        if held not in starts:
            yield f"{row['moves']} is written for another holding"
        yield from unlike(f"seconds of {row['moves']}", row["seconds"], self._written_s(row))
        yield from unlike("turns of a row", row["turns"], self.given.count(turns))
        yield from self._fills(at, turns, row["slots"])
        if row["technique"] == "shortest":
            yield "the yardstick is advised"

    def _written_s(self, row: dict[str, Any]) -> float:
        """The price of moves as they are written, until the cross is down again."""
        end = table().led_to(held_as(face(row["up"]), face(row["front"])), row["moves"])
        back = int(table().rotation[end, self.fronts].min())
        return (table().written_ms(row["moves"]) + back) / 1000

    def _fills(self, at: int, turns: Sequence[int], slots: Sequence[str]) -> Iterator[str]:
        look = self.looks[at]
        now, then = (whole_line(0, one, self.down) for one in (look, looks_after(turns, look)[-1]))
        if then is None or then.offset:
            yield "the cross is not whole and aligned then"
            return
        solved = (now.corners & now.edges) if now else frozenset()
        missing = (solved | set(slots)) - (then.corners & then.edges)
        if missing:
            yield f"not solved then: {', '.join(sorted(missing))}"

    def _plan(self, plan: dict[str, Any], at: int, starts: Sequence[int]) -> Iterator[str]:
        for key in ("seconds", "looking"):
            total = sum(step[key] for step in plan["steps"])
            if abs(plan[key] - total) > _NEAR * len(plan["steps"]):
                yield f"{key} of a plan: told {plan[key]}, found {total:.3f}"
        first = plan["steps"][0]
        held = held_as(face(first["up"]), face(first["front"]))
        if held not in starts:
            yield "a plan begins in another holding"
        for step in plan["steps"]:
            yield from unlike("seconds of a step", step["seconds"], self._written_s(step))

    def _spare(
        self, stage: dict[str, Any], text: str, predicted: float | None, begun: int
    ) -> Iterator[str]:
        """Rotations are counted where an equally quick way avoids them, and only there."""
        number = self.told["stages"].index(stage)
        held, spins = self.held[number], [w for w in text.split() if w[0] in "xyz"]
        spare = stage["spare"]
        if spare is None:
            return
        if held is None or predicted is None or not spins:
            yield "rotations are counted that are not sure, or none"
            return
        way = spare["way"]
        yield from unlike("rotations", spare["rotations"], len(spins))
        yield from self._row(way, begun, [held])
        if any(word[0] in "xyz" for word in way["moves"].split()) or way["slots"] != stage["slots"]:
            yield "a way that avoids rotations has one, or leads elsewhere"
        spent = sum(round(1000 * table().table["rotations"][spin]) for spin in spins) / 1000
        yield from unlike("their cost", spare["cost"], min(spent, predicted - way["seconds"]))
        if way["seconds"] > predicted + _NEAR:
            yield "a way that avoids rotations is slower"

    def opening(self, row: dict[str, Any]) -> Iterator[str]:
        last = min(len(row["slots"]), len(self.ends) - 1)
        done = self.given.turns[: self.ends[last]]
        saved = self.given.count(done) - row["turns"]
        yield from unlike("saved turns of an opening", row["saved_turns"], saved)
        saved_s = self.given.seconds(done, self.fronts, self.down) - row["seconds"]
        yield from unlike("saved seconds of an opening", row["saved_predicted"], saved_s)
        if row["saved_predicted"] < 0.05 - _NEAR:
            yield "an opening is told that saves nothing"
        yield from self._row(row, 0, self.fronts)
