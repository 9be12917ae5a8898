"""What many tests ask for, worked out once in each process: readings of solves, virtual solves.

The same few recordings are imported, replayed and written by a hundred tests, and the same seeds
make the same virtual solves. Only modules that are loaded when the tests have been collected are
touched; ``forgotten`` gives one test the real functions.
"""

from __future__ import annotations

import sys
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final
from unittest.mock import patch

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    import numpy as np

    from livecube.holding.inference import HoldingModel, Reading
    from livecube.holding.observations import SolvePart
    from livecube.virtual.records import VirtualSolve

__all__ = ["forgotten", "remember"]

_READING: Final = "livecube.holding.inference"
_SOLVER: Final = "livecube.virtual.solver"
_MOST: Final = 400
"""So many of each are remembered; a reading has 20 kB."""
_REAL: Final = dict[tuple[str, str], Any]()
"""By module and name."""


@dataclass(frozen=True, slots=True)
class _Asked:
    key: object
    arguments: tuple[Any, ...] = field(compare=False)


def remember() -> None:
    """Replace the functions in this process."""
    for module, name, remembering in (
        (_READING, "read_solve", _reading),
        (_SOLVER, "_attempt", _solving),
    ):
        if module in sys.modules and (module, name) not in _REAL:
            real = _REAL[module, name] = getattr(sys.modules[module], name)
            setattr(sys.modules[module], name, remembering(real))


@contextmanager
def forgotten() -> Iterator[None]:
    """The real functions, for tests of whether they do the same again."""
    with ExitStack() as stack:
        for (module, name), real in _REAL.items():
            stack.enter_context(patch.object(sys.modules[module], name, real))
        yield


def _reading(real: Callable[..., Reading]) -> Callable[..., Reading]:
    @lru_cache(maxsize=_MOST)
    def answer(asked: _Asked) -> Reading:
        return real(*asked.arguments)

    def read_solve(part: SolvePart, model: HoldingModel, before: Any = 0.0) -> Reading:
        if any(part.attitudes) or part.stated:
            return real(part, model, before)
        turned = (*map(tuple, (part.turns, part.times, part.stages)), part.cross)
        weights = before if isinstance(before, float) else before.tobytes()
        return answer(_Asked((turned, model.grips, id(model), weights), (part, model, before)))

    return read_solve


def _solving(real: Callable[..., VirtualSolve]) -> Callable[..., VirtualSolve]:
    @lru_cache(maxsize=_MOST)
    def answer(asked: _Asked) -> tuple[VirtualSolve, dict[str, Any]]:
        rng, *others = asked.arguments
        return real(rng, *others), rng.bit_generator.state

    def attempt(rng: np.random.Generator, *others: Any) -> VirtualSolve:
        """The same solve, and the same numbers drawn after it."""
        done, rng.bit_generator.state = answer(
            _Asked((repr(rng.bit_generator.state), repr(others)), (rng, *others))
        )
        return done

    return attempt
