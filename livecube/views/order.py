"""The orders of the free slots as lines of text: which first, which last, and what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.advice.order import best_by

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.order import Order

__all__ = ["order_lines", "order_sentence"]


def order_sentence(order: Order) -> str:
    """One order: *green-red, then blue-orange (keyhole corner) through blue-red, …*."""
    steps = []
    for step in order.steps:
        plain = step.technique in ("plain", "shortest")
        how = "" if plain else f" ({step.title.lower()})"
        through = "" if step.door is None else f" through {step.door}"
        steps.append(" and ".join(step.slots) + how + through)
    return f"{', then '.join(steps)}: {order.seconds:.2f} s, {order.turns} turns"


def order_lines(found: Sequence[Order]) -> list[str]:
    """The best order, and for each slot the seconds of all if it is the first or the last.

    None for fewer than two slots, which leave nothing to choose.
    """
    if not found or len(found[0].slots) < 2:
        return []
    lines = [f"best order   {order_sentence(found[0])}"]
    for label, place in (("first slot", 0), ("last slot", -1)):
        costs = (f"{slot} {order.seconds:.2f} s" for slot, order in best_by(found, place).items())
        lines.append(f"{label:<12} {', '.join(costs)}")
    return lines
