"""Lets a command of this folder import the helpers that stand beside it, in ``tests/``.

Import it first; under pytest they can be imported anyway.
"""

from __future__ import annotations

import sys
from pathlib import Path

__all__ = ["TESTS"]

TESTS = Path(__file__).parent.parent

if str(TESTS) not in sys.path:
    sys.path.append(str(TESTS))
