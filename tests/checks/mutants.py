"""Small changes to a module's source, each of which some test ought to notice."""

from __future__ import annotations

import ast
import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["Mutant", "blocks_of", "mutants_of"]

_COMPARED: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_REVERSED: Final[dict[type[ast.cmpop], type[ast.cmpop]]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt,
}  # fmt: skip
_RECKONED: Final[dict[type[ast.operator], type[ast.operator]]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Add, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.FloorDiv, ast.LShift: ast.RShift, ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.BitXor: ast.BitOr,
}  # fmt: skip
_IN_ANY_ORDER: Final = ("max", "min", "np.maximum", "np.minimum")
"""Functions whose arguments may change places."""
_Lines = tuple[int, int]
_Place = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Mutant:
    """A module with one change."""

    file: str
    """Path below the repository, with slashes."""
    scope: str
    """The changed function or class, with dots; empty: the module."""
    change: str
    """The code before and after the change; line breaks do not count."""
    line: int
    place: _Place
    """First line and column, last line and column (columns in bytes), from 1 and from 0."""
    text: str
    """The new code at that place."""
    block: int | None
    """First line of the innermost block around it; None if an import runs it."""

    @property
    def name(self) -> str:
        """A name that depends on the changed code and its function, not on its place there."""
        return f"{self.file}:{self.scope}: {self.change}"

    def source(self, before: str) -> str:
        """The module's source with the change."""
        lines = before.encode().splitlines(keepends=True)
        first, start, last, end = self.place
        head, tail = lines[first - 1][:start], lines[last - 1][end:]
        # The number of lines is kept, so that places in messages stay right.
        gone = b"\n" * (last - first)
        changed = head + self.text.encode() + (tail.rstrip(b"\n") + b"\n" + gone)
        return b"".join([*lines[: first - 1], changed, *lines[last:]]).decode()


def mutants_of(file: str, source: str) -> list[Mutant]:
    """All mutants of a module.

    Not changed: text, annotations, decorators, imports, messages to developers (``assert``,
    ``raise``, ``strict=True``), and compiled kernels. In a file with kernels, code outside of
    functions is not changed either: it is compiled into the kernels. Nor are changes made that mean
    the same: None for False, and ``<=`` for ``<`` beside a number drawn at random.
    """
    tree = ast.parse(source)
    has_kernels = any(_is_kernel(node) for node in ast.walk(tree))
    found: list[Mutant] = []
    blocks = [(one[0].lineno, one[-1].end_lineno or 0) for one in blocks_of(tree)]
    _Walk(file, found, has_kernels, blocks).visit(tree)
    return found


def blocks_of(node: ast.AST) -> Iterator[list[ast.stmt]]:
    """The lists of statements inside of functions, an outer one first; not those of kernels."""
    for child in ast.iter_child_nodes(node):
        if not _is_kernel(child):
            yield from _blocks_inside(child) if _is_function(child) else blocks_of(child)


def _blocks_inside(node: ast.AST) -> Iterator[list[ast.stmt]]:
    if _is_kernel(node):
        return
    for name in ("body", "orelse", "finalbody"):
        statements = getattr(node, name, None)
        if isinstance(statements, list) and statements:
            yield statements
    for child in ast.iter_child_nodes(node):
        yield from _blocks_inside(child)


def _is_function(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)


_COMPILED: Final = ("njit", "kernel", "inner")
"""Decorators of kernels."""


def _is_kernel(node: ast.AST) -> bool:
    return isinstance(node, ast.FunctionDef) and any(
        ast.unparse(decorator).split("(")[0].removeprefix("numba.") in _COMPILED
        for decorator in node.decorator_list
    )


class _Walk(ast.NodeVisitor):
    def __init__(
        self, file: str, found: list[Mutant], has_kernels: bool, blocks: list[_Lines]
    ) -> None:
        self._blocks = blocks
        self._file = file
        self._found = found
        self._scope: list[str] = []
        self._has_kernels = has_kernels

    def visit(self, node: ast.AST) -> None:
        match node:
            case ast.FunctionDef() | ast.AsyncFunctionDef():
                if not _is_kernel(node):
                    self._inside(node.name, [*node.args.defaults, *node.args.kw_defaults])
                    self._inside(node.name, node.body)
                return
            case ast.ClassDef():
                self._inside(node.name, node.body)
                return
            case ast.If(test=ast.Name(id="TYPE_CHECKING")) | ast.Assert() | ast.Raise():
                return
            case ast.Import() | ast.ImportFrom() | ast.Global() | ast.Nonlocal():
                return
            case ast.Assign(targets=[ast.Name(id="__all__")]):
                return
            case ast.keyword(arg="strict"):
                return
            case ast.JoinedStr() | ast.AnnAssign(annotation=ast.Name(id="TypeAlias")):
                return
            case ast.AnnAssign():
                if node.value is not None:
                    self.visit(node.value)
                return
            case ast.Assign(targets=[ast.Name()], value=ast.Call(func=ast.Name(id="TypeVar"))):
                return
        if self._scope or not self._has_kernels:
            self._mutate(node)
        for child in ast.iter_child_nodes(node):
            self.visit(child)

    def _inside(self, name: str, nodes: list[ast.expr | None] | list[ast.stmt]) -> None:
        self._scope.append(name)
        for node in nodes:
            if node is not None:
                self.visit(node)
        self._scope.pop()

    def _mutate(self, node: ast.AST) -> None:
        if not isinstance(node, ast.expr | ast.stmt):
            return
        before, scope = ast.unparse(node), ".".join(self._scope)
        for after in _changed(node):
            put = f"({ast.unparse(after)})" if isinstance(after, ast.expr) else ast.unparse(after)
            change, place = f"{before} → {ast.unparse(after)}", _place(node)
            if isinstance(node, ast.If) and isinstance(after, ast.If):
                # Only its test is changed.
                was, now = ast.unparse(node.test), ast.unparse(after.test)
                change, place, put = f"if {was} → if {now}", _place(node.test), f"({now})"
            self._found.append(
                Mutant(self._file, scope, change, node.lineno, place, put, self._block(node))
            )

    def _block(self, node: ast.expr | ast.stmt) -> int | None:
        around = [first for first, last in self._blocks if first <= node.lineno <= last]
        return max(around, default=None)


def _place(node: ast.expr | ast.stmt) -> _Place:
    assert node.end_lineno is not None
    assert node.end_col_offset is not None
    return node.lineno, node.col_offset, node.end_lineno, node.end_col_offset


def _changed(node: ast.expr | ast.stmt) -> Iterator[ast.expr | ast.stmt]:
    """The replacements of a node."""
    match node:
        case ast.Compare():
            yield from _compared(node)
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() | float() as number):
            yield ast.Constant(number + 1)
            yield ast.Constant(number - 1)
        case ast.BoolOp():
            other = copy.copy(node)
            other.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            yield other
            if len(node.values) > 1:
                yield node.values[0]
                yield node.values[-1]
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
            yield node.operand
        case ast.BinOp() if type(node.op) in _RECKONED and not _is_text(node):
            other_sum = copy.copy(node)
            other_sum.op = _RECKONED[type(node.op)]()
            yield other_sum
        case ast.IfExp():
            yield node.body
            yield node.orelse
        case ast.If():
            opposite = copy.copy(node)
            opposite.test = ast.UnaryOp(ast.Not(), node.test)
            yield opposite
        case ast.Call() if len(node.args) > 1 and ast.unparse(node.func) not in _IN_ANY_ORDER:
            first, second = node.args[:2]
            starred = isinstance(first, ast.Starred) or isinstance(second, ast.Starred)
            if not starred and ast.dump(first) != ast.dump(second):
                swapped = copy.copy(node)
                swapped.args = [second, first, *node.args[2:]]
                yield swapped
        case ast.Return(value=ast.expr() as value) if not _is_nothing(value):
            yield ast.Return(ast.Constant(None))
        case ast.Expr(value=ast.Call() | ast.YieldFrom() | ast.Yield()) | ast.AugAssign():
            yield ast.Pass()
        case ast.Assign(targets=[ast.Attribute() | ast.Subscript()]):
            yield ast.Pass()
        case ast.Continue() | ast.Break() | ast.Delete():
            yield ast.Pass()


def _compared(node: ast.Compare) -> Iterator[ast.expr]:
    # A number drawn at random is never equal to the limit, so only which side it is on counts.
    is_drawn = ast.unparse(node.left).endswith(".random()")
    for at, op in enumerate(node.ops):
        for other in (_REVERSED,) if is_drawn else (_COMPARED, _REVERSED):
            if type(op) in other:
                changed = copy.copy(node)
                changed.ops = [*node.ops[:at], other[type(op)](), *node.ops[at + 1 :]]
                yield changed


def _is_text(node: ast.BinOp) -> bool:
    """Whether it joins texts or types."""
    return any(
        isinstance(part, ast.JoinedStr)
        or (isinstance(part, ast.Constant) and isinstance(part.value, str))
        for part in (node.left, node.right)
    )


def _is_nothing(value: ast.expr) -> bool:
    """None, or False, which callers take for the same."""
    return isinstance(value, ast.Constant) and (value.value is None or value.value is False)
