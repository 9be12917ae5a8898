"""Lets a command of this folder import the helpers in ``tests/``.

Import it first; pytest needs no help.
"""

from __future__ import annotations

import sys
from pathlib import Path

__all__ = ["TESTS"]

TESTS = Path(__file__).parent.parent

if str(TESTS) not in sys.path:
    sys.path.append(str(TESTS))
