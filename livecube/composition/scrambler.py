"""The maker of scrambles: tables loaded, the search ready."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.position import SOLVED_BYTES
from livecube.edges.cache import keep_compiled_code, load_phase_tables

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.scrambling.path import ScramblePath
    from livecube.scrambling.states import Draw
    from livecube.scrambling.tables import PhaseTables

__all__ = ["SCRAMBLER_STEPS", "Scrambler", "load_scrambler"]

SCRAMBLER_STEPS: Final = 2
"""Number of calls of ``step`` by ``load_scrambler``."""


class Scrambler:
    """Makes paths to random states, and paths to any position."""

    def __init__(self, tables: PhaseTables, draw: Draw) -> None:
        self._tables = tables
        self._draw = draw

    def new(self, start: bytes = SOLVED_BYTES) -> ScramblePath:
        """The path to a random state from the cube's position (20 facelets)."""
        from livecube.scrambling.states import random_state

        return self.to(start, random_state(self._draw))

    def to(self, start: bytes, target: bytes) -> ScramblePath:
        """A path from one position to another."""
        from livecube.scrambling.path import ScramblePath
        from livecube.scrambling.two_phase import turns_between

        return ScramblePath(start, turns_between(self._tables, start, target))

    def short(self, start: bytes, target: bytes) -> ScramblePath:
        """The same with as few turns as can be found in some tenths of a second."""
        from livecube.scrambling.path import ScramblePath
        from livecube.scrambling.two_phase import few_turns_between

        return ScramblePath(start, few_turns_between(self._tables, start, target))

    def partly(self, start: bytes, target: bytes, pieces: Sequence[int]) -> ScramblePath:
        """A path that brings ``pieces`` to their places in the target; the others may go anywhere.

        The shortest one if ten turns suffice; else as :meth:`short`.
        """
        from livecube.scrambling.partial_link import partial_link
        from livecube.scrambling.path import ScramblePath

        turns = partial_link(start, target, pieces)
        return self.short(start, target) if turns is None else ScramblePath(start, turns)


def load_scrambler(seed: int | None = None, step: Callable[[], None] = lambda: None) -> Scrambler:
    """A scrambler that is ready to answer at once; ``seed``: None for unforeseeable states.

    On a machine's first start tables are built and kernels compiled. That takes some seconds;
    ``step`` is called when either is done.
    """
    keep_compiled_code()
    # Imported after the line above: numba looks for its cache when kernels are defined.
    from livecube.scrambling.states import seeded_draw, unforeseen_draw
    from livecube.scrambling.two_phase import warm_up

    tables = load_phase_tables()
    step()
    warm_up(tables)
    step()
    return Scrambler(tables, unforeseen_draw if seed is None else seeded_draw(seed))
