"""Every row of the advice is correct, judged by the referee's cube.

``python tests/checks/advice_check.py --positions 10000`` checks more positions than the test does
and prints the figures, among them how odd the fastest rows at beginnings (the cross whole) are: two
wide turns, a turn of B where another of these rows has none, a face twice in a row. Nobody begins
a pair with the cross at a side, but the advisor may be asked so: such rows are counted apart.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import islice, pairwise
from typing import TYPE_CHECKING, Final

import beside  # noqa: F401 - before helpers are imported
from advice_positions import cases
from advising import written_ms
from hands_cube import played_in_hands, turns_in
from referee import LIMITS, TECHNIQUES, answers
from referee_accepts import accepted
from referee_cube import COLOURS, FACELETS, FACES, OPPOSITE, TURNS, View
from referee_cube import slots as every_slot
from referee_search import canonical
from referee_two_steps import GOES_ON, answers_in_two, does_both, merges
from technique_comparison import differences

from livecube.cube.holding import Holding, parse_colour
from livecube.cube.notation import moves_text, parse_moves
from livecube.cube.position import SOLVED, apply_turns, parse_turn, turn_name
from livecube.edges.automaton_file import load_hands
from livecube.search.task import FASTEST_MS, MOST_WAYS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from advice_positions import Case
    from referee import Answers, Question, Questions

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.hands.automaton import Automaton

__all__ = ["IN_INSPECTION", "Figures", "check", "row_differences", "told"]

YARDSTICK: Final = "shortest"
IN_INSPECTION: Final = ("x-cross", "pseudo-x-cross")
ODD: Final = ("two wide turns", "a turn of B that could be avoided", "a face twice in a row")
PIECES: Final = [
    place
    for place, (point, normal) in enumerate(FACELETS)
    if sum(map(abs, point)) > 1
    and place == min(i for i, (other, _) in enumerate(FACELETS) if other == point)
]
"""One sticker of every piece."""


@dataclass(frozen=True)
class Told:
    """The statements of a row as text, without values of the program."""

    technique: str
    slots: tuple[str, ...]
    turns: tuple[str, ...]
    moves: str
    up: str
    front: str
    count: int
    top_kept: int
    pairs_kept: int
    plain_turns: int | None
    ms: int
    """Of turning."""
    shortest: bool = True
    fastest: bool = True


def told(row: Opportunity) -> Told:
    """A row as text."""
    return Told(
        row.technique,
        row.slots,
        tuple(map(turn_name, row.turns_fixed)),
        moves_text(row.moves),
        row.holding.up,
        row.holding.front,
        row.turns,
        row.top_kept,
        row.pairs_kept,
        row.plain and row.plain.turns,
        round(1000 * row.seconds),
        row.shortest,
        row.fastest,
    )


def row_differences(view: View, row: Told) -> Iterator[str]:
    """The wrong statements of a row."""
    after = View(View.played(view.where, row.turns), view.down)
    if after.offset != 0 or not {*view.solved, *row.slots} <= set(after.solved):
        yield "does not solve the cross, S and its slots"
    if played_in_hands(view.where, row.moves, row.up, row.front) != after.where:
        yield f"{row.moves} [{row.up} up, {row.front} front] is another sequence"
    if not len(row.turns) == row.count == turns_in(row.moves) or merges(row.turns):
        yield f"does not have {row.count} turns"
    held = Holding.of(parse_colour(row.up), parse_colour(row.front))
    ms = written_ms(_hands(), parse_moves(row.moves), held, FACES.index(view.down))
    if ms != row.ms:
        yield f"takes {ms} ms, not {row.ms}"
    if not _keeps_to_its_constraint(view, row):
        yield "breaks its constraint"
    if (kept := _top_kept(view, after, row.slots)) != row.top_kept:
        yield f"keeps {kept} upper-layer pieces, not {row.top_kept}"
    if (pairs := _pairs_kept(view, after, row.slots)) != row.pairs_kept:
        yield f"keeps {pairs} made pairs, not {row.pairs_kept}"


@lru_cache(maxsize=1)
def _hands() -> Automaton:
    return load_hands()


@lru_cache(maxsize=256)
def _questions(view: View, technique: str) -> Questions:
    return TECHNIQUES[technique](view)


def _question(view: View, technique: str, slots: tuple[str, ...]) -> Question | None:
    return _questions(view, technique).get(slots)


def _keeps_to_its_constraint(view: View, row: Told) -> bool:
    question = _question(view, row.technique, row.slots)
    if question is None:
        return False
    if row.technique in GOES_ON:
        return does_both(view, row.technique, row.slots, row.turns)
    return accepted(view, question, row.turns)


def _top_kept(before: View, after: View, slots: tuple[str, ...]) -> int:
    up = OPPOSITE[before.down]
    targets = {point for slot in slots for point in _pieces_of(before, slot)}
    top = [
        piece
        for piece in PIECES
        if TURNS[up][before.where[piece]] != before.where[piece]
        and FACELETS[piece][0] not in targets
    ]
    was, now = before.now(top), after.now(top)
    most = 0
    for _ in range(4):
        most = max(most, sum(a == b for a, b in zip(was, now, strict=True)))
        now = now.translate(TURNS[up])
    return most


def _pieces_of(view: View, slot: str) -> list[tuple[int, int, int]]:
    return [FACELETS[home][0] for home in (view.corner(slot), view.edge(slot))]


def _pairs_kept(before: View, after: View, slots: tuple[str, ...]) -> int:
    others = [slot for slot in every_slot(before.down) if slot not in slots]
    return sum(before.joined(slot) and after.joined(slot) for slot in others)


@dataclass
class Figures:
    """Counts of the checked rows."""

    sources: Counter[str] = field(default_factory=Counter)
    offsets: Counter[int | None] = field(default_factory=Counter)
    crosses: Counter[str] = field(default_factory=Counter)
    rows: Counter[tuple[str, str]] = field(default_factory=Counter)
    """Counts by technique and by kind."""
    compared: Counter[str] = field(default_factory=Counter)
    """Targets whose whole list was compared with the slow search."""
    sequences: int = 0
    """Sequences in those lists."""
    beginnings: Counter[bool] = field(default_factory=Counter)
    """Positions with a whole cross and a free slot, by whether the cross is held down."""
    odd: dict[bool, Counter[str]] = field(
        default_factory=lambda: {True: Counter(), False: Counter()}
    )
    """Their fastest rows that are odd, by how, and the number of all."""
    wrong: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """The figures, and everything that is wrong."""
        return [
            f"{self.sources.total()} positions: {dict(self.sources)}",
            f"offsets {dict(self.offsets)}, crosses {dict(self.crosses)}",
            f"{self.rows.total()} rows: "
            + ", ".join(f"{name}, {what}: {n}" for (name, what), n in sorted(self.rows.items())),
            f"{self.compared.total()} lists of {self.sequences} sequences compared whole: "
            f"{dict(self.compared)}",
            *map(self._oddities, (True, False)),
            f"{len(self.wrong)} differences",
            *self.wrong[:20],
        ]

    def _oddities(self, is_down: bool) -> str:
        odd, held = self.odd[is_down], "down" if is_down else "elsewhere"
        return (
            f"{self.beginnings[is_down]} beginnings with the cross {held}, {odd['rows']} fastest "
            "rows: " + ", ".join(f"{odd[what]} with {what}" for what in ODD)
        )


def check(advisor: Advisor, case: Case, figures: Figures, *, whole: bool) -> None:
    """Check all rows about one case; ``whole``: the lists too, by the slow search."""
    place, view = case.place, case.place.view
    position = apply_turns(SOLVED, map(parse_turn, place.turns.split()))
    held = case.holding and Holding.of(*map(parse_colour, case.holding))
    advice = advisor.advise(
        position, FACES.index(place.down), held, inspection=case.inspection, plans=False
    )
    rows = [told(row) for row in advice.opportunities]
    found = [*_about_rows(view, case, rows), *_about_all(view, case, rows), *_about_fastest(rows)]
    if view.offset is not None and view.free:
        is_down = case.holding is None or case.holding[0] == COLOURS[OPPOSITE[view.down]]
        figures.beginnings[is_down] += 1
        figures.odd[is_down] += (odd := oddities(rows))
        if is_down:
            found += [f"has {odd[what]} rows with {what}" for what in ODD[1:] if odd[what]]
    if (advice.offset, set(advice.solved_slots)) != (view.offset, set(view.solved)):
        found.append(f"offset {advice.offset}, solved {advice.solved_slots}")
    if whole:
        found += _about_lists(case, rows, figures)
    found += _about_chains(case, rows, figures)
    figures.wrong += [f"{place} {case.holding}: {text}" for text in found]
    figures.sources[case.source] += 1
    figures.offsets[view.offset] += 1
    figures.crosses[place.down] += 1
    figures.rows.update((row.technique, "shortest") for row in rows if row.shortest)
    figures.rows.update((row.technique, "fastest") for row in rows if row.fastest)


def _about_rows(view: View, case: Case, rows: Iterable[Told]) -> Iterator[str]:
    for row in rows:
        for text in row_differences(view, row):
            yield f"{row.technique} {row.slots} {' '.join(row.turns)}: {text}"
        if case.holding and (row.up, row.front) != case.holding:
            yield f"{row.moves} is for {row.up} up, {row.front} in front"


def _about_all(view: View, case: Case, rows: list[Told]) -> Iterator[str]:
    """Whether each target is listed, each row once, and compared with the right plain turns."""
    have = {(row.technique, row.slots) for row in rows}
    for technique, questions in ((name, _questions(view, name)) for name in TECHNIQUES):
        slots = {row_slots for name, row_slots in have if name == technique}
        wanted = set(questions) if case.inspection or technique not in IN_INSPECTION else set()
        # A first part may solve the second by luck; then there is no second part.
        if slots != wanted and not (technique in GOES_ON and slots < wanted):
            yield f"{technique} is offered for {slots} instead of {wanted}"
    twice = Counter((row.technique, row.slots, row.turns) for row in rows)
    if twice and max(twice.values()) > 1:
        yield f"{twice.most_common(1)} is listed twice"
    plain: dict[tuple[str, ...], int] = {}
    for row in rows:
        if row.technique == "plain":
            plain[row.slots] = min(row.count, plain.get(row.slots, row.count))
    for row in rows:
        if len(row.slots) == 1 and row.plain_turns != plain.get(row.slots):
            yield f"{row.technique} {row.slots} is compared with {row.plain_turns}"


def _about_fastest(rows: list[Told]) -> Iterator[str]:
    """Whether rows marked as fastest are among the cheapest rows into their slots."""
    for target in {(row.technique, row.slots) for row in rows}:
        ours = [row for row in rows if (row.technique, row.slots) == target]
        fastest = [row.ms for row in ours if row.fastest]
        unproven = target[0] == "pseudo-x-cross"  # its quick rows need not be the fastest
        if not unproven and not all(row.fastest or row.shortest for row in ours):
            yield f"{target} has rows without a chance"
        if target[0] == YARDSTICK:
            if fastest:
                yield f"{target} is a yardstick, and has fastest rows"
        elif not fastest:
            if target[0] not in GOES_ON:
                yield f"{target} has no fastest row"
        elif len(fastest) > MOST_WAYS or max(fastest) > min(fastest) + FASTEST_MS:
            yield f"{target} has fastest rows of {fastest} ms"
        elif min(row.ms for row in ours) < min(fastest) and target[0] not in GOES_ON:
            yield f"{target} has a row faster than its fastest of {min(fastest)} ms"


def oddities(rows: Iterable[Told]) -> Counter[str]:
    """How many of the fastest rows are odd, by how, and how many there are."""
    counts: Counter[str] = Counter()
    fastest = [(row, row.moves.split()) for row in rows if row.fastest]
    without = {
        (row.technique, row.slots) for row, moves in fastest if not any(m[0] == "B" for m in moves)
    }
    for row, moves in fastest:
        counts["rows"] += 1
        counts[ODD[0]] += sum("w" in move for move in moves) > 1
        turns_b = any(move[0] == "B" for move in moves)
        counts[ODD[1]] += turns_b and (row.technique, row.slots) in without
        counts[ODD[2]] += any(a[0] == b[0] for a, b in pairwise(moves))
    return counts


def _about_lists(case: Case, rows: list[Told], figures: Figures) -> Iterator[str]:
    for technique in TECHNIQUES:
        if technique in (*IN_INSPECTION, *GOES_ON):
            continue
        expected = answers(case.place.turns, case.place.down, technique, slack=0)
        yield from _about_list(technique, expected, rows, LIMITS[technique], figures)


def _about_chains(case: Case, rows: list[Told], figures: Figures) -> Iterator[str]:
    """All keyhole chains of every position: they are rare."""
    expected = answers_in_two(case.place.view, "keyhole-chain")
    yield from _about_list("keyhole-chain", expected, rows, LIMITS["keyhole-chain"], figures)


def _about_list(
    technique: str, expected: Answers, rows: list[Told], limit: int, figures: Figures
) -> Iterator[str]:
    found: dict[tuple[str, ...], list[str]] = {}
    for row in rows:
        if row.technique == technique and row.shortest:
            same = found.setdefault(row.slots, [])
            if (text := canonical(row.turns)) not in same:  # both orders may be as quick
                same.append(text)
    for text in differences(expected, found, limit):
        yield f"{technique} {text}"
    known = [answer for answer in expected.values() if answer.length is not None]
    figures.compared[technique] += len(known)
    figures.sequences += sum(len(answer.sequences) for answer in known)


def main() -> None:
    """The long run."""
    parser = argparse.ArgumentParser(description="Check rows of the advice with the referee.")
    parser.add_argument("--positions", type=int, default=10_000)
    parser.add_argument("--seed", default="1")
    parser.add_argument(
        "--whole", type=int, default=7, help="compare the lists of every n-th position"
    )
    chosen = parser.parse_args()
    from livecube.composition.assembly import load_advisor

    advisor, figures, started = load_advisor(), Figures(), time.monotonic()
    for number, case in enumerate(islice(cases(chosen.seed), chosen.positions)):
        check(advisor, case, figures, whole=number % chosen.whole == 0)
        if number % 500 == 499:
            print(f"{number + 1} after {time.monotonic() - started:.0f} s", flush=True)
    print(*figures.lines(), f"{time.monotonic() - started:.0f} s", sep="\n")


if __name__ == "__main__":
    main()
