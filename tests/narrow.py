"""A world that is too narrow, for processes of tests: folders without the right to write, files
that cannot grow. Both hold for the superuser too.
"""

from __future__ import annotations

import ctypes
import os
import resource
import sys
from typing import TYPE_CHECKING, Final

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["files_up_to", "without_privileges"]

_DROP_FROM_BOUNDING_SET: Final = 24  # PR_CAPBSET_DROP, linux/prctl.h
_OVERRIDE: Final = (1, 2)  # CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH, linux/capability.h


def without_privileges() -> Callable[[], None]:
    """What a new process calls first, so that the rights of files hold for it whoever starts it."""
    if os.geteuid() != 0:
        return lambda: None
    if not sys.platform.startswith("linux"):
        pytest.skip("the superuser may write everywhere, and cannot give that up here")
    prctl = ctypes.CDLL(None, use_errno=True).prctl

    def drop() -> None:
        for capability in _OVERRIDE:
            if prctl(_DROP_FROM_BOUNDING_SET, capability, 0, 0, 0):
                raise OSError(ctypes.get_errno(), "the superuser's rights cannot be given up")

    return drop


def files_up_to(size: int) -> Callable[[], None]:
    """What a new process calls first, so that none of its files grows beyond ``size`` bytes.

    A write beyond that fails as one on a full disk does, with another number.
    """
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
