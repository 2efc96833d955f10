"""Private names of modules, shortened for the chip: the same few in every module.

MicroPython keeps each different name once, and its table of names doubles when it is full; a name that only
its own module knows may be any other module's, too. Methods, attributes and public names stay as they are.
"""

from __future__ import annotations

import ast
import itertools
import string
from collections.abc import Iterable, Iterator, Mapping

from strokebench.image.fold import aliases, module_name


def short_names(sources: Mapping[str, bytes]) -> dict[str, bytes]:
    """The same files (path on the chip to Python source) with the private names of modules shortened."""
    trees = {path: ast.parse(text) for path, text in sources.items()}
    modules = {path: name for path in sources if (name := module_name(path)) is not None}
    asked = _asked_from_outside(trees.values(), set(modules.values()))
    made = dict(sources)
    for path, tree in trees.items():
        if path in modules:
            _Renamer(_new_names(tree, asked)).visit(tree)
            made[path] = ast.unparse(tree).encode()
    return made


def _asked_from_outside(trees: Iterable[ast.Module], modules: set[str]) -> set[str]:
    """Names that a module is asked for by another one, and all strings, which may be such names."""
    asked: set[str] = set()
    for tree in trees:
        whole, single = aliases(tree, modules)
        asked |= {name for _, name in single.values()}
        for node in ast.walk(tree):
            if (
                isinstance(node, ast.Attribute)
                and isinstance(node.value, ast.Name)
                and node.value.id in whole
            ):
                asked.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                asked.add(node.value)
    return asked


def _new_names(tree: ast.Module, asked: set[str]) -> dict[str, str]:
    """A short name for each private one that is bound at the module's top and nowhere else."""
    functions = (ast.FunctionDef, ast.Lambda, ast.ClassDef)
    top = _bound(tree, functions)
    elsewhere: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, functions):
            elsewhere |= _bound(node, ())
            elsewhere |= {one.arg for one in ast.walk(node) if isinstance(one, ast.arg)}
    private = sorted(n for n in top - elsewhere - asked if n.startswith("_") and not n.startswith("__"))
    taken = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name)} | top | elsewhere
    free = (name for name in _names() if name not in taken)
    return dict(zip(private, free, strict=False))


def _bound(scope: ast.AST, leave_out: tuple[type, ...]) -> set[str]:
    """Names that something within ``scope`` binds; not within nodes of the types to leave out."""
    found: set[str] = set()
    waiting = list(ast.iter_child_nodes(scope))
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.add(node.id)
        elif isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            found.add(node.name)
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            found |= {one.asname or one.name for one in node.names}
        if not (leave_out and isinstance(node, leave_out)):
            waiting += ast.iter_child_nodes(node)
    return found


def _names() -> Iterator[str]:
    for length in itertools.count(1):
        for letters in itertools.product(string.ascii_lowercase, repeat=length):
            yield "_" + "".join(letters)


class _Renamer(ast.NodeTransformer):
    def __init__(self, names: Mapping[str, str]) -> None:
        self._names = names

    def visit_Name(self, node: ast.Name) -> ast.Name:
        """Where it is used or bound."""
        node.id = self._names.get(node.id, node.id)
        return node

    def _defined(self, node: ast.FunctionDef | ast.ClassDef) -> ast.AST:
        node.name = self._names.get(node.name, node.name)
        return self.generic_visit(node)

    visit_FunctionDef = visit_ClassDef = _defined

    def visit_Global(self, node: ast.Global) -> ast.Global:
        """``global name`` in a function."""
        node.names = [self._names.get(name, name) for name in node.names]
        return node

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.ImportFrom:
        """``import name as _name``."""
        for one in node.names:
            one.asname = self._names.get(one.asname or "", one.asname)
        return node
