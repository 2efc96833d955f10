"""The syntax tree of a function, from its file."""

from __future__ import annotations

import ast
from functools import cache
from types import FunctionType

from strokebench.sim.fast.values import NotFlat


@cache
def _functions(path: str) -> dict[int, ast.FunctionDef]:
    """Return every function of a file by the line its code begins at."""
    with open(path, encoding="utf-8") as file:
        tree = ast.parse(file.read())
    found = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            found[min([node.lineno, *(each.lineno for each in node.decorator_list)])] = node
    return found


def tree_of(function: FunctionType) -> ast.FunctionDef:
    """Return the tree of a function; NotFlat when it has none."""
    code = function.__code__
    try:
        node = _functions(code.co_filename).get(code.co_firstlineno)
    except OSError:
        node = None
    if node is None or node.name != code.co_name:
        raise NotFlat(f"there is no source of {function.__qualname__}")
    return node


def body_of(node: ast.FunctionDef) -> list[ast.stmt]:
    """Return a function's statements without its docstring."""
    body = node.body
    first = body[0]
    if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
        return body[1:]
    return body


def environment(function: FunctionType) -> dict[str, object]:
    """Return what a function's free and global names stand for."""
    names: dict[str, object] = dict(function.__globals__)
    for name, cell in zip(function.__code__.co_freevars, function.__closure__ or (), strict=True):
        names[name] = cell.cell_contents
    return names
