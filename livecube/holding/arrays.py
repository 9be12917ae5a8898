"""The type of this room's arrays: numbers of any kind, which each docstring names."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy.typing as npt

__all__ = ["Array"]

Array: TypeAlias = npt.NDArray[Any]
