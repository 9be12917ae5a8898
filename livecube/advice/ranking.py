"""Which of the sequences found are told, when not all of them are.

They come in the order of their worth; what is chosen are row numbers, in that order.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

    from livecube.search.task import Found
    from livecube.techniques.base import Chance

__all__ = ["Chosen", "best_rows", "one_each"]

Rows: TypeAlias = "npt.NDArray[np.int64]"
Chosen: TypeAlias = "Callable[[Rows, Found, Sequence[Chance], int | None], list[int]]"


def best_rows(order: Rows, found: Found, chances: Sequence[Chance], most: int | None) -> list[int]:
    """The first ``most`` rows; all if it is None.

    Of a sequence that several techniques found the first name is enough then; and the best
    row that fills two slots comes along, for by its seconds alone it stands behind rows that
    fill one.
    """
    if most is None:
        return order.tolist()  # type: ignore[no-any-return]
    rows: list[int] = []
    told: set[tuple[bytes, tuple[int, ...]]] = set()
    for row in order.tolist():
        if len(rows) == most:
            break
        slots = chances[int(found.tasks[row])].slots
        key = found.turns[row, : found.lengths[row]].tobytes(), slots
        if key not in told:
            told.add(key)
            rows.append(row)
    double = np.array([len(chance.slots) > 1 for chance in chances])
    if double.any():
        doubles = order[double[found.tasks[order]]]
        rows += [row for row in doubles[:1].tolist() if row not in rows]
    return rows


def one_each(order: Rows, found: Found, chances: Sequence[Chance], most: int | None) -> list[int]:
    """The first row for each set of slots."""
    first: dict[tuple[int, ...], int] = {}
    wanted = {chance.slots for chance in chances}
    for row in order.tolist():
        if len(first) == len(wanted):
            break
        first.setdefault(chances[int(found.tasks[row])].slots, row)
    return list(first.values())
