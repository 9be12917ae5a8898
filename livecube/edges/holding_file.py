"""The counts of how people hold the cube: those that come with livecube, or a person's own."""

from __future__ import annotations

from functools import cache, lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from livecube.errors import UsageError
from livecube.holding.counts import GRIPS, parse_counts
from livecube.holding.inference import HoldingModel

if TYPE_CHECKING:
    from livecube.edges.habits_file import Habits
    from livecube.holding.counts import Counts

__all__ = [
    "holding_model",
    "ready_model",
    "shipped_counts",
]


@cache
def shipped_counts() -> tuple[Counts, ...]:
    """The counts that come with livecube: hands that plan their grip, and hands that do not."""
    folder = files("livecube.holding")
    files_by_grip = (folder / f"counts_{grip}.json" for grip in GRIPS)
    return tuple(parse_counts(file.read_text(encoding="utf-8")) for file in files_by_grip)


def holding_model(own: Habits | None = None) -> HoldingModel:
    """The model: of a person's own counts, or of those that come with livecube.

    Raises :class:`~livecube.errors.UsageError` if their own counts make no sense.
    """
    if own is None:
        return _model(None)
    try:
        return _model(own.text)
    except UsageError as error:
        raise UsageError(f"{own.where}: {error}; {own.way_out} removes it") from None


@lru_cache(maxsize=9)  # of a whole group
def _model(own: str | None) -> HoldingModel:
    """The model of own counts, or of those that come with livecube; cached, since it is slow."""
    if own is None:
        return HoldingModel.of(shipped_counts())
    return HoldingModel.own(parse_counts(own))


@lru_cache(maxsize=4)
def ready_model(own: Habits | None) -> HoldingModel:
    """The :func:`holding_model`, after every kernel is compiled or loaded: no cube waits for it."""
    from livecube.holding.follower import LiveHolding
    from livecube.holding.inference import read_solve
    from livecube.holding.observations import SolvePart

    model = holding_model(own)
    read_solve(SolvePart([0, 3, 5], [0.0, 1.0, 1.01], [0, 0, 0], 5), model)
    LiveHolding(model).turn(0, 0.0, 0, -1)
    return model
