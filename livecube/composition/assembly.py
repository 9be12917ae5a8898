"""Putting the parts together: decoders found, tables loaded, pipelines made."""

from __future__ import annotations

import gc
from typing import TYPE_CHECKING, Final, cast

from livecube.edges.apart import (
    STEPS,
    are_tables_kept,
    compile_fastest,
    compile_holdings,
    compile_shortest,
    make_apart,
    make_bounds,
    make_pairs,
)
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import (
    are_bounds_kept,
    keep_compiled_code,
    kept_book,
    kept_pair_table,
    load_bounds,
    load_openings,
    load_search,
    load_tables,
)
from livecube.errors import UsageError
from livecube.installed import installed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor, Focus
    from livecube.decoding import Decoder
    from livecube.edges.habits_file import Habits
    from livecube.hands.automaton import Automaton
    from livecube.holding.follower import HoldingFollower
    from livecube.search.fastest_arrays import SecondsTables
    from livecube.techniques.base import Technique

__all__ = [
    "ADVISOR_STEPS",
    "drilled_techniques",
    "find_decoder",
    "find_technique",
    "focus_on",
    "known_techniques",
    "late_advisor",
    "load_advisor",
    "load_holdings",
    "quick_advisor",
    "set_level",
    "technique_names",
]

KEYHOLES: Final = "keyhole"
"""Stands for every technique that is a keyhole."""
ADVISOR_STEPS: Final = STEPS + 1
"""Number of calls of ``step`` by ``load_advisor``."""


def load_advisor(
    step: Callable[[int], None] = lambda steps: None,
    hands: Automaton | None = None,
    *,
    holdings_next: bool = False,
) -> Advisor:
    """The advisor with its tables, ready to answer at once; ``hands``: None for the usual ones.

    On a machine's first start other processes compile kernels and build tables. That takes some
    seconds; ``step`` is called with the number of finished parts. ``holdings_next``:
    :func:`load_holdings` comes next, so its kernels are compiled, too.
    """
    keep_compiled_code()
    # Imported after the line above: numba looks for its cache when kernels are defined.
    from livecube.advice.advisor import Advisor
    from livecube.cube.geometry import FACES
    from livecube.cube.notation import parse_turns
    from livecube.cube.position import SOLVED, apply_turns
    from livecube.search.answers import Answers
    from livecube.search.engine import Engine
    from livecube.stages.cases import orientation_classes, permutation_classes
    from livecube.techniques.base import Level

    hands = hands or load_hands()
    done = 0

    def count() -> None:
        nonlocal done
        done += 1
        step(1)

    book = kept_book(hands)
    are_missing = not are_tables_kept()
    make_apart(make_bounds, compiling=(compile_fastest,), step=count)
    search = load_search(hands)
    kernels = compile_shortest, *(compile_holdings,) * holdings_next
    make_apart(make_pairs, compiling=kernels, anyway=are_missing, step=count)
    answers = Answers(hands, book, search)
    engine = Engine(load_tables(count))
    if (pairs := kept_pair_table()) is not None:
        engine.pairs = pairs
    advisor = Advisor(answers, known_techniques(), Level.CALM, engine)
    # One slot is free here, so that every kernel is compiled or loaded before it is needed: a
    # kernel loaded later would wait for compilations in another thread.
    advisor.advise(apply_turns(SOLVED, parse_turns("R U R'")), FACES.index("D"))
    # The classes of last layers are worked out when the first one is seen, which must not happen
    # in the middle of a solve.
    orientation_classes()
    permutation_classes()
    gc.collect()
    # Leftovers of compilers and tables stay as long as the program runs. A garbage collection
    # that scans all of them would delay an answer by many milliseconds, and the end by more.
    gc.freeze()
    step(ADVISOR_STEPS - done)
    return advisor


def late_advisor(level: str, hands: Automaton | None = None) -> Advisor:
    """An advisor for one position, at once: it loads what a question needs when it is asked.

    The search for the fastest ways is made ready only if neither the book nor, on a machine's first
    start, the search for openings has an answer; then that takes some seconds.
    """
    keep_compiled_code()
    from livecube.advice.advisor import Advisor
    from livecube.search.answers import Answers
    from livecube.search.engine import PATIENCE, PATIENCE_AT_FIRST, Engine
    from livecube.search.ways import FastestSearch

    hands = hands or load_hands()

    def bounds() -> SecondsTables:
        make_apart(make_bounds, compiling=(compile_fastest,))
        return load_bounds(hands)

    openings = None if are_bounds_kept(hands) else load_openings(hands)
    answers = Answers(hands, kept_book(hands), FastestSearch(bounds, hands), openings)
    pairs = kept_pair_table()
    # Without the pair table no session has compiled the kernel yet.
    engine = Engine(load_tables(), PATIENCE_AT_FIRST if pairs is None else PATIENCE)
    if pairs is not None:
        engine.pairs = pairs
    gc.freeze()
    advisor = Advisor(answers, known_techniques(), engine=engine)
    set_level(advisor, level)
    return advisor


def quick_advisor(level: str, hands: Automaton | None = None) -> Advisor | None:
    """An advisor for the book and for openings only, ready at once and without a kernel.

    None if there is no book for these hands.
    """
    keep_compiled_code()
    from livecube.advice.advisor import Advisor
    from livecube.search.answers import Answers
    from livecube.search.book import usual_book

    hands = hands or load_hands()
    book = usual_book(hands)
    if not len(book.questions):
        return None
    answers = Answers(hands, book, openings=load_openings(hands))
    advisor = Advisor(answers, known_techniques())
    set_level(advisor, level)
    return advisor


def load_holdings(own: Habits | None = None) -> HoldingFollower:
    """The follower that infers holdings, ready at once; ``own``: a person's own habits.

    Raises :class:`~livecube.errors.UsageError` if the habits make no sense.
    """
    keep_compiled_code()
    from livecube.edges.holding_file import ready_model
    from livecube.holding.follower import HoldingFollower

    return HoldingFollower(ready_model(own))


def known_techniques() -> tuple[Technique, ...]:
    """Our techniques and those of third parties: the entry points of ``livecube.techniques``.

    Raises :class:`~livecube.errors.UsageError` if one cannot be loaded.
    """
    keep_compiled_code()
    from livecube.techniques.registry import TECHNIQUES

    techniques: list[Technique] = []
    for entry in installed("livecube.techniques"):
        try:
            techniques.append(entry.load()())
        except Exception as error:
            raise UsageError(
                f"technique {entry.name!r} ({entry.value}) cannot be loaded: {error}; "
                "repair or uninstall it"
            ) from None
    return (*TECHNIQUES, *techniques)


def drilled_techniques() -> tuple[Technique, ...]:
    """The known techniques without the yardstick, which is not a technique to drill."""
    from livecube.techniques.base import traits

    return tuple(one for one in known_techniques() if not traits(one).is_yardstick)


def technique_names() -> tuple[str, ...]:
    """The techniques that a lesson or a task can ask for."""
    return tuple(one.id for one in drilled_techniques())


def find_technique(name: str) -> Technique:
    """The technique with this name.

    Raises :class:`~livecube.errors.UsageError`, which names the known ones.
    """
    techniques = known_techniques()
    for technique in techniques:
        if technique.id == name:
            return technique
    known = ", ".join(technique.id for technique in techniques)
    raise UsageError(f"no technique is called {name!r}; known: {known}")


def focus_on(names: Sequence[str], within_s: float) -> Focus:
    """A focus on techniques by their ids; ``keyhole`` stands for all keyholes.

    Raises :class:`~livecube.errors.UsageError` for a technique that is not known, or that is not
    done while solving.
    """
    from livecube.advice.advisor import Focus
    from livecube.techniques.base import traits

    done = {one.id: traits(one) for one in drilled_techniques() if not traits(one).in_inspection}
    keyholes = {name for name, its in done.items() if its.is_keyhole}
    for name in names:
        if name not in (*done, KEYHOLES):
            known = ", ".join((*done, KEYHOLES))
            raise UsageError(f"there is no technique {name!r} to practise; choose from {known}")
    chosen = {one for name in names for one in (keyholes if name == KEYHOLES else {name})}
    return Focus(frozenset(chosen), within_s)


def set_level(advisor: Advisor, name: str) -> None:
    """Set the level of an advisor; ``name`` is one of ``LEVEL_NAMES``."""
    from livecube.advice.words import parse_level

    advisor.level = parse_level(name)


def find_decoder(name: str) -> type[Decoder]:
    """The decoder with this name among those installed.

    Raises :class:`~livecube.errors.UsageError` if there is none.
    """
    found = installed("livecube.decoders")
    if name not in found.names:
        known = ", ".join(sorted(found.names)) or "none"
        raise UsageError(f"no decoder is called {name!r}; installed: {known}")
    return cast("type[Decoder]", found[name].load())
