"""A seed always gives the same virtual solve, so figures of the guide and fixtures can be repeated.

``python tests/test_virtual_golden.py`` rewrites the golden file; read the difference before you
commit it, and repeat the measurements that use virtual solves.
"""

from __future__ import annotations

from hashlib import sha256
from itertools import chain, groupby
from pathlib import Path
from typing import TYPE_CHECKING, Final

import pytest
from examples import part_of

from livecube.cube.position import turn_name, turns_text
from livecube.events import SolveMark
from livecube.virtual.habits import OTHERWISE, SHORT_SIGHTED, UNPLANNED
from livecube.virtual.session import session
from livecube.virtual.solver import KINDS, LEFT_HANDED, RIGHT_HANDED, solve

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.virtual.records import Kind, VirtualSolve

GOLDEN: Final = Path(__file__).parent.parent / "fixtures" / "virtual.golden.txt"
PEOPLE: Final = (RIGHT_HANDED, LEFT_HANDED, OTHERWISE, SHORT_SIGHTED, UNPLANNED)


def lines_of(done: VirtualSolve) -> Iterator[str]:
    yield f"  scramble {turns_text(done.scramble)}"
    yield f"  from {done.first_line}, solving from {done.start_turn}, solved {done.solved}"
    yield f"  cross {done.cross}, meant {done.meant}, {' '.join(sorted(done.kinds))}"
    made = {index: list(turns) for index, turns in groupby(done.turns, lambda one: one.move_index)}
    for index, move in enumerate(done.moves):
        told = " ".join(f"{one.t:.3f} {turn_name(one.turn)}" for one in made.get(index, []))
        yield f"  {move.t:.3f} {move.move}: {told}".rstrip()
    for stage in done.stages:
        shared = " shared" * stage.shared
        slots = " ".join(stage.slots)
        yield f"  {stage.end_turn} {stage.stage} {slots} {stage.technique} {stage.offset}{shared}"
    yield from (f"  lost {slot} {line}" for slot, line in done.reopened)


def written(name: str) -> str:
    """Everything from a seed, as text."""
    habits = {one.name: one for one in PEOPLE}
    match name.split(": "):
        case ["session", person]:
            found = session(7, [set(), {"abandoned"}, set()], habits[person])
            solves, marks = found.solves, [e for e in found.events() if isinstance(e, SolveMark)]
        case ["kind", kind]:
            at = KINDS.index(kind)
            solves, marks = [solve(at, habits=PEOPLE[at % len(PEOPLE)], kinds=[KINDS[at]])], []
        case _:
            raise ValueError(name)
    told = [f"  {mark.t:.3f} {mark.id} {mark.phase}" for mark in marks]
    return "\n".join(chain([name], told, *map(lines_of, solves))) + "\n"


NAMES: Final = [f"session: {one.name}" for one in PEOPLE] + [f"kind: {kind}" for kind in KINDS]


def digests(kind: Kind) -> str:
    """Eight digits of every person's solves of one kind, which show any change."""
    texts = (lines_of(solve(seed, habits=one, kinds=[kind])) for one in PEOPLE for seed in (1, 2))
    return " ".join(sha256("\n".join(text).encode()).hexdigest()[:8] for text in texts)


@pytest.mark.parametrize("kind", part_of(KINDS, 6))
def test_every_person_does_each_kind_as_before(kind: Kind) -> None:
    *_, last = GOLDEN.read_text(encoding="utf-8").split("\n\n")
    assert f"digests {kind}: {digests(kind)}" in last.splitlines()


@pytest.mark.parametrize("name", part_of(NAMES, 3))
def test_a_seed_gives_what_it_gave(name: str) -> None:
    solves = GOLDEN.read_text(encoding="utf-8").split("\n\n")
    assert written(name).strip() in [one.strip() for one in solves]


if __name__ == "__main__":
    last = "".join(f"digests {kind}: {digests(kind)}\n" for kind in KINDS)
    GOLDEN.write_text("\n".join([*map(written, NAMES), last]), encoding="utf-8")
