"""A small version of ``python tests/checks/dashboard_chaos.py``."""

from __future__ import annotations

import subprocess
from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest
from broker import MISSING
from dashboard_chaos import run
from forked import Forked

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.skipif(bool(MISSING), reason=MISSING)


@pytest.mark.thorough
async def test_every_solve_arrives_once_and_in_order_whatever_is_killed(tmp_path: Path) -> None:
    with patch.object(subprocess, "Popen", Forked):  # asyncio starts its processes by it, too
        outcome = await run(tmp_path, seed=7, solves=10, faults=4, pace_s=0.1)
    assert (outcome.missing, outcome.twice, outcome.in_order) == ([], [], True)
    # The storm was one. Whether anything had to be sent again depends on the moments it hit.
    assert len(outcome.faults) >= 3
    assert {"broker", "livecube"} <= {*outcome.faults}
