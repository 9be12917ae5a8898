"""A plan as lines of text: which slot first, which then, and what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.plan import Plan

__all__ = ["plan_line", "plan_lines", "plan_sentence"]


def plan_sentence(plan: Plan) -> str:
    """One plan: *green-red, then blue-orange (keyhole corner) through blue-red, …*."""
    steps = []
    for step in plan.steps:
        how = "" if step.technique == "plain" else f" ({step.title.lower()})"
        through = "" if step.door is None else f" through {step.door}"
        along = f" with {' and '.join(step.also)}" if step.also else ""
        steps.append(" and ".join(step.slots) + how + through + along)
    looking = f" + {plan.looking:.2f} s looking" if plan.looking else ""
    return f"{', then '.join(steps)}: {plan.seconds:.2f} s{looking}, {plan.turns} turns"


def plan_line(plan: Plan) -> str:
    """What follows the first pair, short enough for one line of 80 columns."""
    slots = [" and ".join(step.slots) for step in plan.steps[1:]]
    return f"then {', '.join(slots)}: {plan.total:.1f} s in all"


def plan_lines(plans: Sequence[Plan]) -> list[str]:
    """The best plan, and what the best one costs that begins with each other pair.

    None for fewer than two slots, which leave nothing to choose.
    """
    if not plans or len(plans[0].slots) < 2:
        return []
    lines = [f"plan         {plan_sentence(plans[0])}"]
    costs = [f"{' and '.join(plan.steps[0].slots)} {plan.total:.2f} s" for plan in plans]
    return [*lines, f"first pair   {', '.join(costs)}"]
