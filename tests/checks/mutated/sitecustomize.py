"""Loads one module from a changed source, in this process and in those that it starts.

``mutation_check.py`` puts this folder on ``PYTHONPATH`` and names module, file and source.
"""

from __future__ import annotations

import os
import sys
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import CodeType, ModuleType

_MODULE = os.environ.get("LIVECUBE_MUTANT_MODULE", "")
_FILE = os.environ.get("LIVECUBE_MUTANT_FILE", "")
_SOURCE = os.environ.get("LIVECUBE_MUTANT_SOURCE", "")


class _Loader(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        return compile(Path(_SOURCE).read_bytes(), _FILE, "exec", dont_inherit=True)


class _Finder:
    @staticmethod
    def find_spec(
        name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name != _MODULE:
            return None
        return spec_from_file_location(name, _FILE, loader=_Loader(name, _FILE))


if _MODULE:
    sys.meta_path.insert(0, _Finder)
