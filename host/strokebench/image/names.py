"""Private names, shortened for the chip: of modules the same few in every module, of objects one each.

MicroPython keeps each different name once, and its table of names doubles when it is full; a name that only
its own module knows may be any other module's, too. Public names stay as they are.
"""

from __future__ import annotations

import ast
import itertools
import string
from collections.abc import Iterable, Iterator, Mapping
from typing import TypeGuard

from strokebench.image.modules import PACKAGE, aliases, module_name


def short_names(sources: Mapping[str, bytes]) -> dict[str, bytes]:
    """The same files (path on the chip to Python source) with the private names of modules shortened."""
    trees = {path: ast.parse(text) for path, text in sources.items()}
    modules = {path: name for path in sources if (name := module_name(path)) is not None}
    asked = _asked_from_outside(trees.values(), set(modules.values()))
    others = [tree for path, tree in trees.items() if path not in modules]
    attributes = _Attributes(_new_attributes([trees[path] for path in modules], others, asked))
    made = dict(sources)
    for path, tree in trees.items():
        if path in modules:
            _Renamer(_new_names(tree, asked)).visit(tree)
            attributes.visit(tree)
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
        asked |= _strings(tree)
    return asked


def _strings(tree: ast.Module) -> set[str]:
    """All strings of a module, but for the methods' names that are handed to ``keep_bound``."""
    kept = {id(item) for node in ast.walk(tree) if _keeps_bound(node) for item in node.args}
    return {
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in kept
    }


def _keeps_bound(node: ast.AST) -> TypeGuard[ast.Call]:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "keep_bound"


def _new_attributes(ours: list[ast.Module], others: list[ast.Module], asked: set[str]) -> dict[str, str]:
    """A short name for each private method and attribute that only the package's own objects have."""
    made: set[str] = set()
    used: set[str] = set()
    for tree in [*ours, *others]:
        used |= {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    for tree in ours:
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
                made.add(node.attr)
            elif isinstance(node, ast.ClassDef):
                made |= {part.name for part in node.body if isinstance(part, ast.FunctionDef)}
    foreign = {node.attr for tree in others for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
    foreign |= {node.name for tree in others for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}
    for tree in [*ours, *others]:
        foreign |= _class_names(tree) | _of_other_modules(tree)
    private = sorted(n for n in made - asked - foreign if n.startswith("_") and not n.startswith("__"))
    free = (name for name in _names() if name not in used | foreign)
    return dict(zip(private, free, strict=False))


def _of_other_modules(tree: ast.Module) -> set[str]:
    """Attributes of what another package's module holds, such as ``sys.implementation._machine``."""
    modules = {
        item.asname or item.name
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for item in node.names
        if not (isinstance(node, ast.ImportFrom) and str(node.module).startswith(PACKAGE))
    }
    return {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and ast.unparse(node).split(".")[0] in modules
    }


def _class_names(tree: ast.Module) -> set[str]:
    """Names that are bound in a class by anything but a method."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            found |= _bound(node, (ast.FunctionDef,)) - {
                part.name for part in node.body if isinstance(part, ast.FunctionDef)
            }
    return found


def _new_names(tree: ast.Module, asked: set[str]) -> dict[str, str]:
    """A short name for each private one that is bound at the module's top and nowhere else."""
    functions = (ast.FunctionDef, ast.Lambda, ast.ClassDef)
    top = _bound(tree, functions)
    elsewhere: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, functions):
            elsewhere |= _bound(node, ())
            elsewhere |= {part.arg for part in ast.walk(node) if isinstance(part, ast.arg)}
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
            found |= {alias.asname or alias.name for alias in node.names}
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
        for alias in node.names:
            alias.asname = self._names.get(alias.asname or "", alias.asname)
        return node


class _Attributes(ast.NodeTransformer):
    def __init__(self, names: Mapping[str, str]) -> None:
        self._names = names

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        """``object._name``."""
        node.attr = self._names.get(node.attr, node.attr)
        return self.generic_visit(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        """The methods that it defines."""
        for part in node.body:
            if isinstance(part, ast.FunctionDef):
                part.name = self._names.get(part.name, part.name)
        return self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> ast.AST:
        """``keep_bound(self, "_name")``."""
        if _keeps_bound(node):
            for item in node.args:
                if isinstance(item, ast.Constant) and isinstance(item.value, str):
                    item.value = self._names.get(item.value, item.value)
        return self.generic_visit(node)
