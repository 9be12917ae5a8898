"""One solve as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.advice.words import turns_counted
from livecube.cube.code import position_code
from livecube.cube.notation import moves_text
from livecube.review.text import costs_told
from livecube.timing.results import result_text, seconds_text
from livecube.trends.plots import pause_plot
from livecube.views.happenings import STAGE_TITLES, day_and_time
from livecube.views.page import (
    beside,
    code_shown,
    figures_list,
    numbered,
    page,
    paragraph,
    position_svg,
    table,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.geometry import Array
    from livecube.review.reviewed import Review
    from livecube.solves.records import Chance, KeptSolve, KeptStage

__all__ = ["solve_page"]

_NO_LOG: Final = "Its log cannot be read any more."
_NO_CHANCES: Final = (
    "Not reviewed yet; livecube review --kept NUMBER reviews it and keeps its chances."
)


def solve_page(
    solve: KeptSolve,
    chances: Sequence[Chance],
    positions: Sequence[tuple[str, Array]],
    review: Review | None,
    *,
    named: bool = False,
) -> str:
    """The page on a solve; ``positions`` are positions within it, each with a title.

    ``review``: None if the solve's log cannot be read any more. ``named``: it says whose it is.
    """
    one = solve.listed
    about = day_and_time(one.started) or "undated"
    if named:
        about += f", {one.person}"
    if one.tags:
        about += f", tags: {', '.join(one.tags)}"
    return page(
        f"Solve {one.number}: {result_text(one.result)}",
        about,
        [
            ("solve", "The solve", _overview(solve)),
            ("review", "What mattered most", _review(review)),
            ("stages", "Stages", _stages(solve)),
            ("positions", "Positions", _positions(positions)),
            ("chances", "Chances", _chances(chances)),
        ],
    )


def _overview(solve: KeptSolve) -> str:
    one = solve.listed
    looked = one.inspection_ms
    inspection = "not timed" if looked is None else f"{seconds_text(looked / 1000)} s"
    result = result_text(one.result)
    told = figures_list(
        [
            ("result", result, "" if one.workings == result else one.workings),
            ("turns", str(one.turns), "turns were lost" if one.gap else ""),
            ("cross", one.cross or "none", ""),
            ("inspection", inspection, ""),
        ]
    )
    return told + paragraph("Scramble:") + paragraph(one.scramble or "unknown", turns=True)


def _review(review: Review | None) -> str:
    if review is None:
        return paragraph(_NO_LOG)
    costs = costs_told(review)
    told = numbered(costs) if costs else paragraph("Nothing in particular cost time.")
    ways = [(stage, way) for stage in review.stages for way in stage.alternatives]
    if not ways:
        return told
    rows = [("pair", "when", "moves [held]", "instead", "turns saved", "seconds saved")]
    rows += [
        (
            " and ".join(stage.split.slots),
            f"after {turns_counted(way.after)}" if way.after else "at once",
            f"{moves_text(way.row.moves)} [{way.row.holding}]",
            f"{way.row.title} into {' and '.join(way.row.slots)}",
            f"{way.saved_turns:+d}",
            f"{way.saved_s:+.2f}",
        )
        for stage, way in ways
    ]
    caption = "Ways that would have been quicker (predicted)"
    return told + table(caption, rows, (1, 2, 3), (1, 4))


def _stages(solve: KeptSolve) -> str:
    done = [stage for stage in solve.stages if stage.end_turn is not None]
    own = [stage for stage in done if not stage.shared]
    rows = [("stage", "seconds", "pause", "turning", "turns", "how"), *map(_stage_row, done)]
    told = table("Stages (seconds)", rows, (5,), (3, 4))
    if not own:
        return told
    pauses = [stage.pause_ms / 1000 for stage in own]
    turning = [(stage.ms - stage.pause_ms) / 1000 for stage in own]
    title = "Pause and turning of each stage; the table below has its figures"
    return beside(pause_plot([_title(stage) for stage in own], pauses, turning, title), told)


def _title(stage: KeptStage) -> str:
    return " ".join((STAGE_TITLES[stage.stage], *stage.slots))


def _stage_row(stage: KeptStage) -> tuple[str, str, str, str, str, str]:
    how = ", ".join(part for part in (stage.technique, stage.case) if part)
    if stage.shared:
        return _title(stage), "–", "–", "–", "–", how
    times = (stage.ms, stage.pause_ms, stage.ms - stage.pause_ms)
    seconds, pause, turning = (seconds_text(ms / 1000) for ms in times)
    return _title(stage), seconds, pause, turning, str(stage.turns), how


def _positions(positions: Sequence[tuple[str, Array]]) -> str:
    if not positions:
        return paragraph(_NO_LOG)
    legend = (
        "Unfolded, white up and green in front; letters are the initials of the colours. "
        "livecube bring CODE brings a position onto your cube."
    )
    drawn = "".join(
        f"<figure>{position_svg(position, title)}"
        f"<figcaption>{paragraph(title)}{code_shown(position_code(position))}"
        "</figcaption></figure>\n"
        for title, position in positions
    )
    return f'{paragraph(legend, quiet=True)}<div class="positions">{drawn}</div>\n'


def _chances(chances: Sequence[Chance]) -> str:
    if not chances:
        return paragraph(_NO_CHANCES)
    rows = [("technique", "slot", "chance", "seconds saved", "stage")]
    rows += [
        (
            one.technique,
            one.slot,
            "taken" if one.taken else "missed",
            f"{one.saved_ms / 1000:+.2f}",
            "cross" if one.stage == 0 else f"pair {one.stage}",
        )
        for one in chances
    ]
    return table("Chances that the review found (seconds are predicted)", rows, (1, 2, 4), (4,))
