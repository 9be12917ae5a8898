"""Loads modules changed, in this process and in those that it starts.

``mutation_check.py`` puts this folder on ``PYTHONPATH``. Either it names one module, its file and a
source to be loaded instead; or it names modules whose functions are to tell which of their blocks
are run, and the folder where a process that ends leaves that for ``observed.py``.
"""

from __future__ import annotations

import ast
import atexit
import builtins
import os
import sys
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from importlib.util import spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from types import CodeType, ModuleType

_MODULE = os.environ.get("LIVECUBE_MUTANT_MODULE", "")
_FILE = os.environ.get("LIVECUBE_MUTANT_FILE", "")
_SOURCE = os.environ.get("LIVECUBE_MUTANT_SOURCE", "")
_OBSERVED = tuple(os.environ.get("LIVECUBE_MUTANT_OBSERVED", "").split())
_BLOCKS = os.environ.get("LIVECUBE_MUTANT_BLOCKS", "")

run_blocks: set[tuple[str, int]] = set()
"""Module and first line of each block that was run; whoever reads it may clear it."""
imported_blocks: set[tuple[str, int]] = set()
"""Those that were run by an import, hence once for all tests."""


class _Changed(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        return compile(Path(_SOURCE).read_bytes(), _FILE, "exec", dont_inherit=True)


class _Telling(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType:
        from mutants import blocks_of

        tree = ast.parse(Path(self.path).read_bytes())
        for block in list(blocks_of(tree)):
            tell = ast.parse(f"_livecube_block(({fullname!r}, {block[0].lineno}))").body
            text = isinstance(block[0], ast.Expr) and isinstance(block[0].value, ast.Constant)
            block[text:text] = [ast.copy_location(one, block[0]) for one in tell]
        return compile(ast.fix_missing_locations(tree), self.path, "exec", dont_inherit=True)

    def exec_module(self, module: ModuleType) -> None:
        before = set(run_blocks)
        run_blocks.clear()
        super().exec_module(module)
        imported_blocks.update(run_blocks)
        run_blocks.clear()
        run_blocks.update(before)


class _Finder:
    @staticmethod
    def find_spec(
        name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name == _MODULE:
            return spec_from_file_location(name, _FILE, loader=_Changed(name, _FILE))
        if any(name == one or name.startswith(f"{one}.") for one in _OBSERVED):
            spec = PathFinder.find_spec(name, path)
            if spec is not None and spec.origin is not None:
                spec.loader = _Telling(name, spec.origin)
            return spec
        return None


def _leave() -> None:
    lines = [f"{module} {line}\n" for module, line in run_blocks | imported_blocks]
    (Path(_BLOCKS) / f"{os.getpid()}.txt").write_text("".join(lines))


if _MODULE or _OBSERVED:
    sys.meta_path.insert(0, _Finder)
if _OBSERVED:
    sys.path.append(str(Path(__file__).parent.parent))  # mutants.py
    builtins._livecube_block = run_blocks.add  # type: ignore[attr-defined]
    atexit.register(_leave)
