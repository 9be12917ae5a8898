"""A month of solves in few figures, quick enough to be made while somebody waits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.trends.figures import results_ms
from livecube.trends.values import Month

if TYPE_CHECKING:
    from livecube.trends.values import ChanceColumns, SolveColumns

__all__ = ["month_of"]


def month_of(columns: SolveColumns, chances: ChanceColumns, without: int | None = None) -> Month:
    """The figures of the solves of a month; times without those of the session ``without``."""
    results = results_ms(columns)
    counted = results >= 0
    if without is not None:
        counted &= columns.session != without
    times = results[counted]
    return Month(
        mean=float(times.mean()) / 1000 if len(times) else None,
        times=len(times),
        reviewed=len(np.unique(chances.solve)),
        came=len(chances.solve),
        taken=int((chances.taken != 0).sum()),
    )
