"""Lets a command of this folder import the helpers in ``tests/``.

Import it first; pytest needs no help. numpy then has one thread: many small matrices are quicker
so.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["TESTS"]

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("HYPOTHESIS_NO_PLUGINS", "1")  # it would load trio

TESTS = Path(__file__).parent.parent

if str(TESTS) not in sys.path:
    sys.path.append(str(TESTS))
