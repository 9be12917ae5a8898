"""The book of beginnings for somebody's own hands: made in pieces, resumed, and thrown away."""

from __future__ import annotations

import asyncio
import json
import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from called import called
from examples import part_of, thorough
from slower_hands import other_hands
from test_formats import kind_validator
from test_own_kept import home as home

from livecube.advice.advisor import Advisor
from livecube.composition import own_book
from livecube.composition.assembly import known_techniques
from livecube.composition.own_book import in_order, make_beside, make_pieces, often_asked
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import (
    _book_path,
    _path,
    forget_search,
    keep_book,
    kept_book,
    load_search,
)
from livecube.search import answers as answers_module
from livecube.search.answers import Answers, make_book
from livecube.search.book import (
    NO_BOOK,
    Book,
    all_questions,
    asked,
    ceiling_ms,
    usual_book,
    usual_cross,
)
from livecube.search.hand_arrays import hand_arrays
from livecube.search.ways import FastestSearch

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.hands.automaton import Automaton

USUAL = load_hands()
PLAIN = [int(n) for n in all_questions() if ceiling_ms(asked(int(n))[2], USUAL) is None]
NUMBERS = PLAIN[::500]


@pytest.fixture
def search(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> FastestSearch:
    found = FastestSearch(lambda: load_search(USUAL).tables, other_hands())
    monkeypatch.setattr("livecube.edges.cache._book_path", lambda mark: tmp_path / f"{mark}.npz")
    return found


def answered(book: Book) -> dict[int, list[tuple[int, ...]]]:
    """Each question's answers: prices and sequences."""
    told = {}
    for at, number in enumerate(book.questions.tolist()):
        entries = book.ways[book.ends[at] : book.ends[at + 1]].tolist()
        tokens = [book.entries.tokens[entry].tolist() for entry in entries]
        ms = [int(book.entries.ms[entry]) for entry in entries]
        ways = [tuple(t for t in row if t < 255) for row in tokens]
        told[number] = [(cost, *way) for cost, way in zip(ms, ways, strict=True)]
    return told


class KilledError(Exception):
    """Ends the making of a book somewhere."""


@pytest.mark.parametrize("piece", part_of([1, 3, 7], 3))
def test_a_kill_loses_at_most_a_piece_wherever_it_comes(
    search: FastestSearch, piece: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    hands, whole = search.automaton, answered(make_book(search, NUMBERS))
    real, made = answers_module.book_ways, 0

    def counted(its: FastestSearch, number: int) -> list[Any]:
        nonlocal made
        made += 1
        if made == end:
            raise KilledError
        return real(its, number)

    monkeypatch.setattr(answers_module, "book_ways", counted)
    clock = iter(range(10**6))

    def pieces() -> None:
        # The clock is looked at once a question; a piece is over after ten seconds.
        make_pieces(search, NUMBERS, piece, lambda: float(next(clock)))

    kills = 0
    for kill in (1, 2, piece, piece + 2, 2 * piece + 3, 10**6):
        before = len(kept_book(hands).questions)
        made, end = 0, kill
        try:
            pieces()
        except KilledError:
            kills += 1
            after = len(kept_book(hands).questions)
            assert before + (kill - 1) - after <= piece
            assert after >= before
    assert kills >= 4
    assert answered(kept_book(hands)) == whole
    made, end = 0, 10**6
    pieces()
    assert made == 0, "what is made is not made again"


def test_the_book_of_other_hands_is_never_used_and_a_damaged_one_is_none(
    search: FastestSearch,
) -> None:
    hands = search.automaton
    assert kept_book(hands) is NO_BOOK
    assert kept_book(USUAL).questions.tolist() == all_questions().tolist()
    book = make_book(search, NUMBERS[:5])
    keep_book(book, hands)
    assert answered(kept_book(hands)) == answered(book)
    from livecube.edges import cache

    path, theirs = cache._book_path(hands.fingerprint), load_hands("left")
    shutil.copy(path, cache._book_path(theirs.fingerprint))
    assert kept_book(theirs) is NO_BOOK
    content = path.read_bytes()
    for damaged in (b"", b"no archive", content[: len(content) // 2], content[:-3]):
        path.write_bytes(damaged)
        assert kept_book(hands) is NO_BOOK
    forget_search(hands.fingerprint)
    assert not path.exists()


def test_a_book_that_is_thrown_away_does_not_come_back(search: FastestSearch) -> None:
    hands, looked = search.automaton, 0

    def now() -> float:
        nonlocal looked
        looked += 1
        if looked == 12:
            forget_search(hands.fingerprint)
        return looked * own_book._PIECE_S / 4

    make_pieces(search, NUMBERS, now=now)
    assert looked >= 12
    assert kept_book(hands) is NO_BOOK


def test_books_are_joined_and_answers_found_meanwhile_stay(search: FastestSearch) -> None:
    arrays = hand_arrays(search.automaton)
    whole = make_book(search, NUMBERS)
    some, more = make_book(search, NUMBERS[:9]), make_book(search, NUMBERS[5:])
    assert answered(some.joined(more, arrays)) == answered(whole)
    assert answered(more.joined(some, arrays)) == answered(whole)
    assert whole.joined(some, arrays) is whole
    assert answered(NO_BOOK.joined(whole, arrays)) == answered(whole)
    rows = whole.entries.tokens.tolist()
    assert len({tuple(row) for row in rows}) == len(rows), "each sequence stands once"


@pytest.mark.parametrize("solves", [1, thorough(3)])
def test_the_questions_of_virtual_solves_come_first_and_none_is_missing(solves: int) -> None:
    order = in_order(solves)
    assert sorted(order) == all_questions().tolist()
    often = often_asked(solves)
    assert often == order[: len(often)]
    assert len(often) > 100 * solves
    late = [ceiling_ms(asked(number)[2], USUAL) is not None for number in order[10_000:]]
    assert late == sorted(late)


@pytest.fixture
def linked() -> Iterator[Automaton]:
    """Other hands whose bounds are kept: those of the usual hands, which hold for these too."""
    hands = other_hands()
    load_search(USUAL)
    pieces, still, six = (
        _path(f"{name}-{hands.fingerprint}") for name in ("pieces", "still", "cross")
    )
    for theirs, name in ((pieces, "pieces"), (still, "still")):
        if not theirs.exists():
            theirs.hardlink_to(_path(f"{name}-{USUAL.fingerprint}"))
    crosses = usual_cross(USUAL)
    assert crosses is not None
    np.save(six, crosses)
    yield hands
    for path in (pieces, still, six):
        path.unlink(missing_ok=True)
    _book_path(hands.fingerprint).unlink(missing_ok=True)


def is_at_work(pid: int) -> bool:
    """Whether a process is there and has not ended."""
    try:
        told = Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return False
    return told.rpartition(")")[2].split()[0] != "Z"


@pytest.mark.thorough
async def test_the_book_is_made_beside_a_run_and_ends_with_it(
    linked: Automaton, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(own_book, "_REST_S", 0.0)
    monkeypatch.setattr(own_book, "_LOOK_S", 0.1)
    monkeypatch.setattr(own_book, "_PIECE_S", 0.2)
    monkeypatch.setattr(own_book, "_SOLVES", 1)
    last = in_order(1)[-1]  # the process comes to it in a minute or two
    own = make_book(FastestSearch(lambda: load_search(USUAL).tables, linked), [last])
    advisor = Advisor(Answers(linked, own), known_techniques())
    looks = 0

    def looked() -> None:
        nonlocal looks
        looks += 1

    making = asyncio.create_task(make_beside(advisor, looked))
    while len(advisor.answers.book.questions) < 10:
        await asyncio.sleep(0.1)
        assert not making.done()
    (process,) = multiprocessing.active_children()
    assert process.pid is not None
    assert os.getpriority(os.PRIO_PROCESS, process.pid) == own_book._LOWEST
    assert looks > 0
    making.cancel()
    with pytest.raises(asyncio.CancelledError):
        await making
    assert not multiprocessing.active_children()
    assert last in advisor.answers.book.questions
    assert last not in kept_book(linked).questions
    done = kept_book(linked)
    assert 9 <= len(done.questions) < len(all_questions())
    await make_beside(Advisor(Answers(USUAL, usual_book(USUAL)), known_techniques()))


@pytest.mark.thorough
def test_a_killed_run_leaves_no_process_behind(linked: Automaton, tmp_path: Path) -> None:
    script = tmp_path / "run.py"
    script.write_text(
        "import asyncio, multiprocessing, sys\n"
        "sys.path[:0] = sys.argv[1].split(':')\n"
        "from livecube.composition import own_book\n"
        "from livecube.edges.cache import keep_compiled_code\n"
        "keep_compiled_code()\n"
        "def main():\n"
        "    from slower_hands import other_hands\n"
        "    from livecube.advice.advisor import Advisor\n"
        "    from livecube.composition.assembly import known_techniques\n"
        "    from livecube.search.answers import Answers\n"
        "    advisor = Advisor(Answers(other_hands()), known_techniques())\n"
        "    own_book._REST_S, own_book._LOOK_S = 0.0, 0.1\n"
        "    asyncio.run(own_book.make_beside(advisor, lambda: print("
        "*(one.pid for one in multiprocessing.active_children()), flush=True)))\n"
        "if __name__ == '__main__':\n"
        "    main()\n"
    )
    path = ":".join(sys.path)
    with subprocess.Popen(
        [sys.executable, str(script), path], stdout=subprocess.PIPE, text=True, env={**os.environ}
    ) as run:
        assert run.stdout is not None
        pid = int(run.stdout.readline())
        assert is_at_work(pid)
        run.send_signal(signal.SIGKILL)
        run.wait()
    while is_at_work(pid):
        time.sleep(0.05)
    assert len(kept_book(linked).questions) < len(all_questions()), "it ended before its work did"


@pytest.mark.thorough
def test_hands_say_how_far_the_book_is(home: Path, tmp_path: Path) -> None:
    folder = tmp_path / "home"
    shutil.copytree(home, folder)
    told = json.loads(called("hands", "--person", "Ada", "--json", folder=folder).out)
    assert told["book"] is None
    assert "book of beginnings" not in called("hands", "--person", "Ada", folder=folder).out
    from livecube.history.people import HANDS, People
    from livecube.history.store import History
    from livecube.own.table import LearnedTable, table_state

    hands = other_hands()
    with History(folder / "data") as history:
        person = People(history).one("Ada").person
        state = json.loads(People(history).learned(person, HANDS) or "")
        state["table"] = table_state(LearnedTable(hands, 412), USUAL)
        People(history).note_learned("Ada", HANDS, json.dumps(state), 412)
    try:
        keep_book(
            make_book(FastestSearch(lambda: load_search(USUAL).tables, hands), PLAIN[:3]), hands
        )
        told = json.loads(called("hands", "--person", "Ada", "--json", folder=folder).out)
        kind_validator("own-hands", "own").validate(told)
        assert told["book"] == {"answers": 3, "of": len(all_questions())}
        said = called("hands", "--person", "Ada", folder=folder).out
    finally:
        forget_search(hands.fingerprint)
    assert f"has 3 of {len(all_questions())} answers; live and practice make" in said
