"""The search finds the same fastest ways as plain enumeration, and so does the shipped book."""

from __future__ import annotations

import ast
import inspect
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise
from random import Random
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from examples import part_of, thorough

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turn, apply_turns, inverse_turns
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import load_crosses, load_search
from livecube.hands.automaton import MOVES, NEVER
from livecube.search import fastest_arrays, shortest_kernel
from livecube.search.answers import Answers, make_book
from livecube.search.book import (
    FIRST_ROTATION,
    NO_BOOK,
    asked,
    ceiling_ms,
    packed,
    question_numbers,
    unpacked_book,
    unpacked_cross,
    usual_book,
    usual_cross,
)
from livecube.search.bounds import cross_seconds, left_over
from livecube.search.fastest_arrays import KINDS, SECOND_AT, Kept, Scratch
from livecube.search.hand_arrays import UPRIGHT, hand_arrays
from livecube.search.situation import (
    CROSS_AT,
    CROSSES,
    PIECE_MOVES,
    PLACES_AT,
    Situation,
    slot_bits,
)
from livecube.search.task import (
    ALL_TURNS,
    LONGEST,
    LONGEST_WAY,
    NO_D,
    NO_TAIL,
    TURNED_BACK,
    Task,
    Written,
    fastest_of,
    task_rows,
)
from livecube.techniques.plain import plain_task

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.geometry import Array
    from livecube.hands.automaton import Automaton
    from livecube.search.book import Book
    from livecube.search.ways import FastestSearch, Way

_DOWN = FACES.index("D")
_D = 3 * _DOWN
_ROOM = 24


@pytest.fixture(scope="module")
def hands() -> Automaton:
    return load_hands()


@pytest.fixture(scope="module")
def search(hands: Automaton) -> FastestSearch:
    return load_search(hands)


class _Plain:
    """All written sequences for a task, by trying all moves and rotations."""

    def __init__(self, hands: Automaton, task: Task, ceiling_ms: int) -> None:
        self.hands, self.task, self.ceiling_ms = hand_arrays(hands), task, ceiling_ms
        self.cheapest: dict[tuple[int, ...], int] = {}

    def _allowed(self, turns: tuple[int, ...], offset: int) -> list[int]:
        task = self.task
        if offset:
            allowed = [_D + 3 - offset]
        else:
            allowed = [turn for turn in range(18) if task.allowed >> turn & 1]
        if not turns:
            aside = [_D + a - 1 for a in (1, 2, 3) if task.prefix >> a & 1]
            allowed = aside + (allowed if task.prefix & 1 else [])
        faces = [turn // 3 for turn in turns[-2:]]
        between = len(faces) == 2 and OPPOSITE[faces[0]] == faces[1]
        barred = {*faces[-1:], *(faces[:1] if between else [])}
        return [turn for turn in allowed if turn // 3 not in barred]

    def _solved_at(self, situation: Situation) -> int | None:
        for offset in range(4):
            pieces = [p for p in range(8) if self.task.goal >> p & 1]
            home = (situation.places[pieces] == PLACES_AT[offset, pieces]).all()
            if situation.cross == CROSS_AT[offset] and home:
                return offset
        return None

    def go(
        self, position: Array, held: int, state: int, ms: int = 0,
        turns: tuple[int, ...] = (), offset: int = 0,
    ) -> None:  # fmt: skip
        """Go on from a position at which the cross layer must still be turned back by offset."""
        hands, before = self.hands, Situation.of_down(position, _DOWN)
        for turn in self._allowed(turns, offset):
            written = []
            for at in range(24):
                then = state if at == held else hands.rotated
                for move in hands.spelled[at, turn].tolist():
                    total = ms + int(hands.rotation[held, at] + hands.seconds[then, move])
                    if total <= self.ceiling_ms:
                        written.append((total, int(hands.after[at, move]), hands.then[then, move]))
            if not written:
                continue
            after = apply_turn(position, turn)
            now = Situation.of_down(after, _DOWN)
            if self.task.tied:
                corner, edge = (before.places != now.places)[[self.task.target, 4]]
                if corner != edge:
                    continue
            aside = not turns and turn >= _D and not self.task.allowed >> turn & 1
            solved = None if aside else self._solved_at(now)
            left = solved if solved and self.task.tail == TURNED_BACK else 0
            way = (*turns, turn)
            for total, to, then in written:
                if offset or solved == 0:
                    end, same = total + int(hands.finish[to]), _in_one_order(way)
                    if end <= min(self.ceiling_ms, self.cheapest.get(same, end)):
                        self.cheapest[same] = end
                else:
                    self.go(after, to, then, total, way, left)


def _in_one_order(turns: tuple[int, ...]) -> tuple[int, ...]:
    """The turns, of two opposite ones in a row the smaller first."""
    ordered = list(turns)
    for i in range(len(turns) - 1):
        if OPPOSITE[ordered[i] // 3] == ordered[i + 1] // 3:
            ordered[i : i + 2] = sorted(ordered[i : i + 2])
    return tuple(ordered)


def _near(random: Random, faces: str, most: int) -> list[int]:
    return [3 * FACES.index(random.choice(faces)) + random.choice((0, 2)) for _ in range(most)]


def _question(random: Random) -> tuple[Array, Task]:
    """A position a few turns from the goal of the task."""
    goal = random.choice([0b10001, 0b110011, 0b1010001, 0b11111111, random.randrange(256)])
    kind = random.randrange(4)
    if kind == 0:
        task = Task(goal, NO_D, 1, NO_TAIL, 0, tied=random.random() < 0.5)
        return apply_turns(SOLVED, _near(random, "URLF", 3)), task
    if kind == 1:
        return apply_turns(SOLVED, _near(random, "URFDL", 3)), Task(goal, ALL_TURNS)
    aside = random.randrange(4)
    task = Task(goal, NO_D, random.choice([1 << aside, 15]), TURNED_BACK)
    tail = [_D + random.randrange(3)] if random.random() < 0.7 else []
    head = [_D + 3 - aside] if aside else []
    return apply_turns(SOLVED, [*tail, *_near(random, "URL", 1), *head]), task


@cache
def _compared(seed: int, hands: Automaton) -> tuple[Array, Task, list[int], _Plain]:
    """A question, the holdings to begin from, and the result of plain enumeration."""
    random = Random(seed)
    position, task = _question(random)
    starts = random.sample(UPRIGHT, 2)
    plain = _Plain(hands, task, 420 if task.tail == NO_TAIL else 530)
    for start in starts:
        plain.go(position, start, plain.hands.start)
    return position, task, starts, plain


SEEDS = (1, 4, 2, 5, 8, 11, 17, 22)
"""Of questions that plain enumeration answers quickly, with turns back and without."""


@pytest.mark.parametrize("seed", part_of(SEEDS, 3))
def test_the_search_finds_what_plain_enumeration_finds(
    seed: int, hands: Automaton, search: FastestSearch
) -> None:
    position, task, starts, plain = _compared(seed, hands)
    found = search.ways(
        Situation.of_down(position, _DOWN), [task], starts,
        within_ms=plain.ceiling_ms, most=_ROOM, ceiling_ms=plain.ceiling_ms,
    )  # fmt: skip
    assert [way.ms for way in found] == sorted(plain.cheapest.values())[:_ROOM]
    assert all(plain.cheapest[_in_one_order(way.turns)] == way.ms for way in found)
    assert len({_in_one_order(way.turns) for way in found}) == len(found)


@pytest.mark.parametrize("seeds", [SEEDS[::2], thorough(SEEDS)], ids=["some", "all"])
def test_plain_enumeration_has_something_to_compare_with(
    hands: Automaton, seeds: Sequence[int]
) -> None:
    assert sum(len(_compared(seed, hands)[3].cheapest) > 0 for seed in seeds) >= 0.75 * len(seeds)


def _answers(book: Book, numbers: list[int]) -> list[list[tuple[list[int], int]]]:
    """For each question the tokens and prices of its ways, ties in a fixed order."""
    at = book.places_of(np.array(numbers))
    assert (at >= 0).all()
    return [
        sorted(
            (book.entries.tokens[way][book.entries.tokens[way] < 255].tolist(), int(ms))
            for way in book.ways[book.ends[q] : book.ends[q + 1]]
            for ms in [book.entries.ms[way]]
        )
        for q in at.tolist()
    ]


def test_a_part_of_the_shipped_book_made_anew_is_the_same(
    hands: Automaton, search: FastestSearch
) -> None:
    book = usual_book(hands)
    if not len(book.questions):
        pytest.skip("the book has not been made for these hands yet")
    numbers = Random(3).sample(book.questions.tolist(), 60)
    assert _answers(make_book(search, numbers), numbers) == _answers(book, numbers)


def test_a_book_is_the_same_when_it_was_packed_and_made_in_parts(
    hands: Automaton, search: FastestSearch
) -> None:
    # Cheap questions: the front right pair, offset 0, plain.
    numbers = [
        number
        for corner in range(0, 12, 2)
        for edge in range(4)
        for number in [((((1 << 8 | corner) << 8 | 128 + edge * 2) << 8 | 1) << 8 | 255) << 2]
    ]
    whole = make_book(search, numbers)
    parts = make_book(search, numbers, make_book(search, numbers[7:12]), threads=2)
    assert make_book(search, numbers[::-1], whole) is whole, "nothing is answered again"
    six = np.arange(12, dtype=np.uint8).reshape(6, 2)
    data = packed(parts, six, hands.fingerprint)
    back = unpacked_book(data, hands)
    assert back is not None
    assert _answers(back, numbers) == _answers(whole, numbers)
    assert min(map(len, _answers(back, numbers))) > 0
    cross = unpacked_cross(data, hands)
    assert cross is not None
    assert cross.tolist() == six.tolist()


def test_a_book_for_other_hands_is_not_read(hands: Automaton) -> None:
    data = packed(NO_BOOK, np.zeros((6, 1), dtype=np.uint8), "0" * 16)
    assert unpacked_book(data, hands) is None
    assert unpacked_cross(data, hands) is None


def test_the_book_finds_each_of_its_questions_and_no_other() -> None:
    book = replace(NO_BOOK, questions=np.array([3, 7, 9]))
    asked = np.arange(12)
    assert book.places_of(asked).tolist() == [-1, -1, -1, 0, -1, -1, -1, 1, -1, 2, -1, -1]
    assert NO_BOOK.places_of(asked).tolist() == [-1] * 12


def test_what_is_left_over_is_the_cheapest_way_to_end() -> None:
    """The turn back; of a second part a turn aside, three turns and a turn back at least.

    Where its offset is known, three turns of other layers and the turn back from there.
    """
    hands = hand_arrays(load_hands())
    left, more = left_over(hands)
    least = hands.seconds.min(axis=0).tolist()

    def before(then: list[int], turns: Sequence[int]) -> list[int]:
        turned = [
            min(
                least[move] + then[hands.after[at, move]]
                for move in range(36)
                if hands.turn_of[at, move] in turns
            )
            for at in range(24)
        ]
        return [
            min(int(hands.rotation[held, at]) + turned[at] for at in range(24))
            for held in range(24)
        ]

    aside, every = range(_D, _D + 3), range(18)
    finish = hands.finish.tolist()
    assert left[0].tolist() == finish
    for k in (1, 2, 3):
        assert left[k].tolist() == before(finish, [_D + 3 - k])
        standing = left[k].tolist()
        for _ in range(3):
            standing = before(standing, range(_D))
        assert left[SECOND_AT[k]].tolist() == standing
        assert more[SECOND_AT[k]] == min(standing[held] for held in UPRIGHT)
    inserted = before(finish, aside)
    for _ in range(3):
        inserted = before(inserted, every)
    assert left[4].tolist() == before(inserted, aside)  # more turns would not be cheaper
    assert more[:4].tolist() == [min(int(row[held]) for held in UPRIGHT) for row in left[:4]]
    ends = np.min([left[k] - more[k] for k in range(4)], axis=0)
    assert more[4] > 0
    for kind in range(5):
        here = hands.kind == kind
        assert ends[here].min() + more[4] <= left[4][here].min()


_SAMPLE = 5_000


@pytest.mark.parametrize(
    ("is_still", "piece"), [(False, 0), thorough(True, 1), thorough(False, 1), thorough(True, 0)]
)
def test_the_bounds_of_pieces_are_shortest_paths(
    search: FastestSearch, *, piece: int, is_still: bool
) -> None:
    """Each is what the best step leaves, and only the solved position has a price of its own."""
    tables, hands = search.tables, hand_arrays(search.automaton)
    units = (tables.still if is_still else tables.pieces)[piece].reshape(-1, 24, KINDS)
    left, more = left_over(hands)
    ends = [one - extra for one, extra in zip(left, more, strict=True)]
    ends = ends[:5] if is_still else [ends[row] for row in SECOND_AT]
    least = hands.seconds.min(axis=0)
    home = int(PLACES_AT[0, 4 * piece])
    rng = np.random.default_rng(1)
    crosses = np.append(rng.integers(0, CROSSES, _SAMPLE), CROSS_AT[0])
    places = np.append(rng.integers(0, 24, _SAMPLE), home)
    best = np.full((len(places), KINDS), 255)
    best[-1] = [min(one[hands.kind == kind].min() for one in ends) // 10 for kind in range(KINDS)]
    for holding in range(24):
        kind = hands.kind[holding]
        steps = [
            (hands.rotation[holding, to], hands.kind[to], crosses, places)
            for to in range(24)
            if hands.kind[to] != kind
        ]
        for move in range(36):
            turn, to = int(hands.turn_of[holding, move]), hands.after[holding, move]
            if turn < _D or not is_still:
                after = tables.moves[crosses, turn], PIECE_MOVES[piece, turn, places]
                steps.append((least[move], hands.kind[to], *after))
        for price, then, cross, place in steps:
            onward = units[cross, place, then].astype(np.int64) + int(price) // 10
            best[:, kind] = np.minimum(best[:, kind], onward)
    assert (units[crosses, places] == best).all()


def test_the_bounds_of_pairs_are_shortest_paths(search: FastestSearch) -> None:
    tables, hands = search.tables, hand_arrays(search.automaton)
    corners, edges = np.divmod(np.arange(576), 24)
    least = hands.seconds.min(axis=0)
    for units, turns, end in zip(
        tables.pair, (18, _D), (hands.finish, 0 * hands.finish), strict=True
    ):
        # Whole units of the exact milliseconds: a step leaves as many, or one less for rounding.
        best = np.full((576, 24), 255 * 10 + 9)
        best[24 * PLACES_AT[0, 0] + PLACES_AT[0, 4]] = end
        low = best.copy()
        for holding in range(24):
            for move in range(36):
                turn, to = int(hands.turn_of[holding, move]), hands.after[holding, move]
                if turn < turns:
                    after = 24 * PIECE_MOVES[0, turn, corners].astype(int)
                    after += PIECE_MOVES[1, turn, edges]
                    onward = 10 * units[after, to].astype(int) + int(least[move])
                    low[:, holding] = np.minimum(low[:, holding], onward)
            for to in set(range(24)) - {holding}:
                onward = 10 * units[:, to].astype(int) + int(hands.rotation[holding, to])
                low[:, holding] = np.minimum(low[:, holding], onward)
        assert ((low // 10 <= units) & (units <= (low + 9) // 10)).all()


@pytest.mark.thorough
def test_the_table_of_the_first_crosses_made_anew_is_the_shipped_one(hands: Automaton) -> None:
    assert (cross_seconds(*load_crosses(), hand_arrays(hands)) == usual_cross(hands)).all()


@pytest.mark.parametrize("text", ["R U R'", "F' U' F", "R U2 R' U R U' R'"])
def test_a_book_that_holds_one_question_answers_it_without_a_search(
    hands: Automaton, search: FastestSearch, text: str
) -> None:
    position = apply_turns(SOLVED, inverse_turns(parse_turns(text)))
    situation = Situation.of_down(position, _DOWN)
    (slot,) = slot_bits(situation.free)
    task, starts = plain_task(situation, slot), [UPRIGHT[slot]]
    seeking = Answers(hands, NO_BOOK, search)
    found = seeking.ways(situation, [task], starts)
    assert found
    assert len(seeking.book.questions) == 1
    known = Answers(hands, seeking.book)
    assert known.ways(situation, [task], starts) == found
    assert known.twin().ways(situation, [task], starts) == found
    assert known.ways(situation, [task], [UPRIGHT[slot - 1]]) == []  # another question
    assert Answers(hands).ways(situation, [task], starts) == []


def test_ways_at_most_50_ms_slower_than_the_best_are_fastest_and_no_more_than_eight() -> None:
    ways = [Written(300 + slower, (), (), 0, 0) for slower in (0, 0, 50, 50, 51, 200)]
    assert fastest_of(ways) == ways[:4]
    assert fastest_of(ways[:1] * 9) == ways[:1] * 8
    assert fastest_of([]) == []


def test_only_ways_in_two_parts_are_searched_for_below_a_ceiling(hands: Automaton) -> None:
    asked_for: list[object] = []

    def ways(_situation: object, _parts: object, _starts: object, **limits: int) -> list[Way]:
        asked_for.append(limits)
        return []

    search: Any = SimpleNamespace(ways=ways)
    begun = Situation.of_down(apply_turns(SOLVED, parse_turns("R F U D L")), _DOWN)
    for parts in ([Task(1)], [Task(1), Task(16)]):
        assert Answers(hands, NO_BOOK, search).ways(begun, parts, [0]) == []
    usual = {"within_ms": 50, "most": 8}
    assert asked_for == [usual, usual | {"ceiling_ms": 1900}]


@pytest.mark.parametrize(
    ("above", "dear", "has_search", "searched"),
    [
        (50, True, True, False),  # all that counts as fastest is below the ceiling
        (49, True, True, True),
        (49, False, True, False),
        (49, True, False, False),
    ],
)
def test_beyond_the_ceiling_of_the_book_only_a_search_answers_and_only_if_asked_to(
    hands: Automaton, monkeypatch: pytest.MonkeyPatch,
    above: int, dear: bool, has_search: bool, searched: bool,
) -> None:  # fmt: skip
    searches: list[object] = []

    def ways(*asked_for: object, **_: int) -> list[Way]:
        searches.append(asked_for)
        return []

    search: Any = SimpleNamespace(ways=ways)
    situation = Situation.of_down(apply_turns(SOLVED, parse_turns("R U R'")), _DOWN)
    parts, starts = [plain_task(situation, 0)], [UPRIGHT[0]]
    known = Answers(hands, usual_book(hands)).ways(situation, parts, starts)
    monkeypatch.setattr("livecube.search.answers.ceiling_ms", lambda *_: known[0].ms + above)
    answers = Answers(hands, usual_book(hands), search if has_search else None)
    found = answers.ways(situation, parts, starts, however_dear=dear)
    assert (found, searches) == (
        known if above == 50 else [], [(situation, parts, starts)] * searched,
    )  # fmt: skip


def test_the_first_turn_is_priced_with_the_rotations_before_it(hands: Automaton) -> None:
    answers, rotation = Answers(hands), FIRST_ROTATION + 5
    for tokens, count in (
        ((4, 9, 0), 1),
        ((rotation, 4, 9), 2),
        ((FIRST_ROTATION, 4, 9), 2),
        ((), 0),
    ):
        moves = answers.moves(tokens[:count])
        assert answers.first_ms(Written(0, (), tokens, 0, 0)) == hands.sequence_ms(moves)


def documented_shapes(of: type) -> dict[str, str]:
    """The shape that the text below a field begins with; of fields without one an empty text."""
    [body] = ast.parse(inspect.getsource(of)).body
    assert isinstance(body, ast.ClassDef)
    shapes = {one.target.id: "" for one in body.body
              if isinstance(one, ast.AnnAssign) and isinstance(one.target, ast.Name)}  # fmt: skip
    for field, text in pairwise(body.body):
        said = re.match(r"Shape (\([^)]*\))", ast.unparse(text).strip("'\""))
        if said and isinstance(field, ast.AnnAssign) and isinstance(field.target, ast.Name):
            shapes[field.target.id] = said[1]
    return shapes


def test_kernels_have_the_room_that_their_arrays_are_said_to_have() -> None:
    """A kernel would write beyond it unnoticed."""
    levels = LONGEST_WAY + 1  # one for each turn, and the one before the first
    scratch = fastest_arrays.empty_scratch()
    stands = scratch.stands.shape[0]
    words = {"levels": levels, "KINDS": KINDS, "LONGEST_WAY": LONGEST_WAY, "most": 9}
    said = documented_shapes(Scratch)
    assert said["children_of"] == "(levels, 18, 5)"
    # Bounds of a turn are told together; what has no shape has one number for each level.
    said |= dict.fromkeys(("bounds", "own", "at_offset"), "(KINDS,)")
    for name, shape in said.items():
        its = eval(shape or "(levels,)", {**words, "many": stands})
        assert getattr(scratch, name).shape == its, name
    kept = fastest_arrays.empty_kept(9)
    for name, shape in documented_shapes(Kept).items():
        assert getattr(kept, name).shape == eval(shape, words), name
    # Faces and "no turn" by turns, their number, four pairs, eight single pieces; by level the
    # cross, crosses, corners and edges as the slots see them, all pieces, what each turn needs.
    level = LONGEST + 1
    assert [array.shape for array in shortest_kernel.empty_scratch()] == [
        (7, 18), (7,), (4,), (8,),
        (level,), (level, 4), (level, 4), (level, 4), (level, 8), (level, 18), (level,), (level,),
    ]  # fmt: skip


def test_answers_are_kept_until_there_are_too_many(
    hands: Automaton, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("livecube.search.answers._REMEMBERED", 2)
    answers, pauses = Answers(hands, usual_book(hands)), []
    answers.pause = lambda: pauses.append(1)

    def is_looked_up(text: str) -> bool:
        situation = Situation.of_down(apply_turns(SOLVED, parse_turns(text)), _DOWN)
        (slot,) = slot_bits(situation.free)
        pauses.clear()
        assert answers.ways(situation, [plain_task(situation, slot)], [UPRIGHT[slot]])
        return len(pauses) > 1

    one, other, third = "R U R'", "R U' R'", "R U2 R'"
    asked_for = (one, other, one, other, third, one)
    assert [is_looked_up(text) for text in asked_for] == [True, True, False, False, True, True]


def test_no_way_in_the_whole_book_has_a_turn_of_b(hands: Automaton) -> None:
    """With the cross whole, hands can always do without; nor do plans use one."""
    tokens = usual_book(hands).entries.tokens
    turns = {str(move) for number, move in enumerate(MOVES) if (tokens == number).any()}
    assert {"F", "R'", "Uw", "Dw'"} <= turns
    assert not turns & {"B", "B2", "B'", "Bw", "Bw2", "Bw'"}


def test_the_number_of_a_question_tells_all_that_it_asks(hands: Automaton) -> None:
    book = usual_book(hands)
    tails = set()
    for number in Random(7).sample(book.questions.tolist(), 300):
        offset, places, task = asked(number)
        (again,) = question_numbers(offset, np.array([places]), 0, task_rows([task])).tolist()
        assert again == number
        tails.add(task.tail)
        home = PLACES_AT[offset].tolist()
        out = {piece % 4 for piece in range(8) if places[piece] != home[piece]}
        assert task.target in out
        assert all(task.goal >> piece & 1 or places[piece] == home[piece] for piece in range(8))
        assert (ceiling_ms(task, hands) is None) == (task.tail == NO_TAIL)
        none = question_numbers(
            offset, np.array([places]), 0, task_rows([task._replace(allowed=1)])
        )
        assert none.tolist() == [-1]
    assert tails == {NO_TAIL, TURNED_BACK}


def test_the_ceiling_is_lower_for_quicker_hands_only(hands: Automaton) -> None:
    plain, keyhole = Task(goal=0), Task(goal=0b10001, allowed=NO_D, tail=TURNED_BACK)
    ceilings = []
    for factor in (0.5, 0.8, 1.0, 1.5):
        prices = np.where(hands.seconds_ms < NEVER, hands.seconds_ms * factor, NEVER)
        rotations = hands.single_rotation_ms
        other = hands.priced(prices.astype(np.int32), rotations, hands.looking)
        assert ceiling_ms(plain, other) is None
        ceilings.append(ceiling_ms(keyhole, other))
    assert ceilings == [pytest.approx(750, abs=3), pytest.approx(1200, abs=3), 1500, 1500]
    assert ceiling_ms(keyhole, load_hands("left")) == 1500


def test_a_book_of_nothing_is_empty() -> None:
    assert len(NO_BOOK.questions) == len(NO_BOOK.ways) == 0
    assert NO_BOOK.ends.tolist() == [0]
    entries = NO_BOOK.entries
    assert [len(one) for one in (entries.tokens, entries.ms, entries.turns, entries.front)] == [
        0, 0, 0, 0
    ]  # fmt: skip
    assert NO_BOOK.places_of(np.array([0, 7])).tolist() == [-1, -1]
