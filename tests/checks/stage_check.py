"""Every boundary of virtual solves of all kinds, live and in hindsight, against the truth.

``python tests/checks/stage_check.py --sessions 250`` follows 1,000 solves; the suite fewer.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.stages.progress import (
    CrossColour,
    Reopened,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.stages.tracker import Tracker
from livecube.virtual.records import KINDS
from livecube.virtual.session import session

if TYPE_CHECKING:
    from livecube.stages.progress import Progress
    from livecube.stages.solve import Solve
    from livecube.virtual.records import VirtualSolve

__all__ = ["SOLVES_EACH", "compared", "found", "position_after", "true"]

SOLVES_EACH = 4


def position_after(turns: list[int] | str) -> bytes:
    turns = parse_turns(turns) if isinstance(turns, str) else turns
    return bytes(apply_turns(SOLVED, turns).tolist())


def found(solve: Solve) -> list[tuple[object, ...]]:
    return [
        (s.stage, s.slots, s.end_turn, s.technique if s.stage == "pair" else None, s.offset)
        for s in solve.splits
        if s.end_turn is not None
    ]


def true(solve: VirtualSolve) -> list[tuple[object, ...]]:
    return [(s.stage, s.slots, s.end_turn, s.technique, s.offset) for s in solve.stages]


def live_ends(told: list[Progress]) -> list[tuple[object, ...]]:
    """The announced stages that stayed: after the last change of colour or reopening."""
    stages: list[StageDone] = []
    for progress in told:
        match progress:
            case SolveBegun() | CrossColour():
                stages = []
            case Reopened(slots=slots):
                stages = [s for s in stages if not set(s.split.slots) & set(slots)]
            case StageDone():
                stages.append(progress)
    return [(s.split.stage, s.split.slots, s.split.end_turn) for s in stages]


def compared(sessions: int) -> tuple[set[str], set[str]]:
    """Follow the sessions; returns their kinds of solves and their cross colours."""
    kinds_seen: set[str] = set()
    colours_seen: set[str] = set()
    for seed in range(sessions):
        kinds = [(), (KINDS[seed % len(KINDS)],), (), (KINDS[(seed // 3) % len(KINDS)],)]
        done = session(seed, kinds, on_cube=bool(seed % 2))
        tracker = Tracker(position_after(done.scramble))
        told: list[Progress] = []
        results: list[tuple[Solve, list[Progress]]] = []
        for event in done.events():
            for progress in tracker.feed(event):
                if isinstance(progress, SolveOver):
                    results.append((progress.solve, told))
                    told = []
                else:
                    told.append(progress)
        assert len(results) == len(done.solves) == SOLVES_EACH
        for (solve, announced), truth in zip(results, done.solves, strict=True):
            where = f"session {seed}, solve from turn {truth.start_turn}, {sorted(truth.kinds)}"
            assert found(solve) == true(truth), where
            assert solve.solved == truth.solved, where
            assert solve.start_turn == truth.start_turn, where
            if truth.stages:
                assert solve.cross == truth.cross_colour, where
                colours_seen.add(truth.cross_colour)
            if truth.solved and solve.cross == _last_colour(announced):
                live = live_ends(announced)
                assert sorted(live, key=str) == sorted((t[:3] for t in true(truth)), key=str), where
            kinds_seen |= truth.kinds
    return kinds_seen, colours_seen


def _last_colour(told: list[Progress]) -> str | None:
    """The cross colour that was followed live at the end."""
    return next((p.cross for p in reversed(told) if isinstance(p, Turned)), None)


def main() -> None:
    """Compare until the first difference."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, default=250, help="of four solves each")
    sessions = parser.parse_args().sessions
    kinds, colours = compared(sessions)
    print(f"{sessions * SOLVES_EACH} solves of {len(kinds)} kinds, {len(colours)} colours: right")


if __name__ == "__main__":
    main()
