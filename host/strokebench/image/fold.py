"""What a compiler that sees all modules at once can do for the chip: constants of other modules become
numbers, tables are worked out beforehand, and names that nothing on the chip uses are left away.

MicroPython folds a ``const`` only within its module, and a viper kernel can use no other. So everything that
runs under MicroPython gets these sources; CPython runs the written ones. Every look-up that is left costs the
chip 1 to 3 us, and every public name some 30 bytes.

Kernels that call each other become one: merge.py.
"""

from __future__ import annotations

import ast
import importlib
import re
from collections.abc import Mapping
from typing import Any

from strokebench.image.merge import merged
from strokebench.image.modules import PACKAGE, Modules, aliases, module_name

CAPITALS = re.compile(r"_?[A-Z][A-Z0-9_]*$")
SMALL = 1 << 30
"""Whole numbers below this are no heap objects on the chip."""
WORKED_OUT: dict[str, tuple[str, ...]] = {
    "faults": ("SEVERITY", "LATCHED"),
    "state": ("ALLOWED",),
    "link.wire": ("TABLE_HASH", "ID", "NAME", "FORMAT", "TAIL", "FIELDS", "UNSOLICITED", "LIMIT_FIELDS"),
}
"""Tables by module whose values are written down; the loops that fill them at import are left away."""
WIRE = "link.wire"
"""The module whose table ``ID`` gives a message's number."""
ROOT = "?"
"""In place of a module's name for what is none of the package."""


def folded(sources: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return the same files (path on the chip to Python source) for the chip alone; others stay as they
    are.
    """
    names = {path: name for path in sources if (name := module_name(path)) is not None}
    modules = {name: ast.parse(sources[path]) for path, name in names.items()}
    roots = [ast.parse(text) for path, text in sources.items() if path not in names]
    for name, tree in modules.items():
        _work_out(name, tree)
    known: dict[str, dict[str, int]] = {name: {} for name in modules}
    while _learn(modules, known):
        pass
    numbers = {name: dict(table) for name, table in known.items()}
    for name, tree in modules.items():
        _Folder(name, tree, numbers).visit(tree)
    merged(modules)
    while _shake(modules, roots) or _slim(modules, roots):
        pass
    kept = {path: ast.unparse(modules[name]).encode() for path, name in names.items()}
    return {path: kept.get(path, text) for path, text in sources.items()}


def _work_out(name: str, tree: ast.Module) -> None:
    """Put literals in place of what a module's top level computes."""
    tables = WORKED_OUT.get(name, ())
    body: list[ast.stmt] = []
    for statement in tree.body:
        targets = _targets(statement)
        if tables and isinstance(statement, ast.For):
            continue
        if len(targets) == 1 and targets[0] in tables:
            value = getattr(importlib.import_module(f"{PACKAGE}.{name}"), targets[0])
            statement = ast.parse(f"{targets[0]} = {value!r}").body[0]
        body.append(statement)
    tree.body = body


def _targets(statement: ast.stmt) -> list[str]:
    if isinstance(statement, ast.Assign):
        return [target.id for target in statement.targets if isinstance(target, ast.Name)]
    if isinstance(statement, ast.AnnAssign) and isinstance(statement.target, ast.Name):
        return [statement.target.id]
    return []


def _learn(modules: Modules, known: dict[str, dict[str, int]]) -> bool:
    """Add constants whose value follows from those known; return whether there were any."""
    before = sum(map(len, known.values()))
    for name, tree in modules.items():
        stored = [n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)]
        for statement in tree.body:
            targets = _targets(statement)
            if len(targets) != 1 or not CAPITALS.match(targets[0]) or stored.count(targets[0]) != 1:
                continue
            value = _number(name, tree, statement.value, known)  # type: ignore[attr-defined]
            if value is not None:
                known[name][targets[0]] = value
    return sum(map(len, known.values())) > before


def _number(name: str, tree: ast.Module, value: ast.expr, known: dict[str, dict[str, int]]) -> int | None:
    """The whole number that an expression of numbers and known constants gives, None if it is not one."""
    if isinstance(value, ast.Call) and getattr(value.func, "id", "") == "const" and len(value.args) == 1:
        value = value.args[0]
    copy: Any = ast.parse(ast.unparse(value), mode="eval")
    _Folder(name, tree, known).visit(copy)
    allowed = (ast.Expression, ast.Constant, ast.BinOp, ast.UnaryOp, ast.operator, ast.unaryop)
    if not all(isinstance(node, allowed) for node in ast.walk(copy)):
        return None
    found = eval(compile(ast.fix_missing_locations(copy), name, "eval"))
    return found if type(found) is int and abs(found) < SMALL else None


class _Folder(ast.NodeTransformer):
    """Puts the number in place of a constant's name, except where a function has a local of that name."""

    def __init__(self, name: str, tree: ast.Module, known: Mapping[str, Mapping[str, int]]) -> None:
        self._known = known
        self._whole, self._single = aliases(tree, known)
        self._own = known.get(name, {})
        self._locals: list[set[str]] = []

    def _in_function(self, node: Any) -> Any:
        inside = {part.arg for part in ast.walk(node.args) if isinstance(part, ast.arg)}
        inside |= {n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
        self._locals.append(inside)
        self.generic_visit(node)
        self._locals.pop()
        return node

    visit_FunctionDef = visit_Lambda = _in_function

    def _hidden(self, name: str) -> bool:
        return any(name in inside for inside in self._locals)

    def visit_Attribute(self, node: ast.Attribute) -> Any:
        """``module.CONSTANT``."""
        if isinstance(node.value, ast.Name) and isinstance(node.ctx, ast.Load):
            constants = self._known.get(self._whole.get(node.value.id, "?"), {})
            if node.attr in constants and not self._hidden(node.value.id):
                return _literal(constants[node.attr], node)
        self.generic_visit(node)
        return node

    def visit_Name(self, node: ast.Name) -> Any:
        """A constant of this module, or one imported by its name."""
        if isinstance(node.ctx, ast.Load) and not self._hidden(node.id):
            source, name = self._single.get(node.id, ("?", ""))
            value = self._own.get(node.id, self._known.get(source, {}).get(name))
            if value is not None:
                return _literal(value, node)
        return node

    def visit_Subscript(self, node: ast.Subscript) -> Any:
        """``wire.ID["name"]``."""
        if self._is_message_table(node.value) and isinstance(node.slice, ast.Constant):
            found = importlib.import_module(f"{PACKAGE}.{WIRE}").ID[node.slice.value]
            return _literal(found, node)
        self.generic_visit(node)
        return node

    def _is_message_table(self, node: ast.expr) -> bool:
        of = node.value if isinstance(node, ast.Attribute) and node.attr == "ID" else None
        return isinstance(of, ast.Name) and self._whole.get(of.id) == WIRE


def _literal(value: int, node: ast.expr) -> ast.expr:
    new = ast.parse(repr(value), mode="eval").body
    return ast.copy_location(new, node)


def _attributes(trees: list[ast.Module]) -> set[str]:
    """Every name that something asks an object for, in the code or as a string.

    A setter's decorator asks for nothing.
    """
    asked: set[str] = set()
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute):
                asked.add(node.attr)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                asked.add(node.value)
    return asked


def _slim(modules: Modules, roots: list[ast.Module]) -> bool:
    """Leave away one round of methods and properties that nothing asks for; return whether there were
    any."""
    asked, changed = _attributes([*modules.values(), *roots]), False
    for tree in modules.values():
        for statement in tree.body:
            if isinstance(statement, ast.ClassDef):
                kept = [part for part in statement.body if _asked_for(part, asked)]
                changed = changed or len(kept) < len(statement.body)
                statement.body = kept or [ast.Pass()]
    return changed


def _asked_for(part: ast.stmt, asked: set[str]) -> bool:
    """True for a part of a class that something asks for, or that is no method or property."""
    if isinstance(part, ast.FunctionDef):
        return part.name in asked or part.name.startswith("__")
    makes_property = isinstance(part, ast.Assign) and isinstance(part.value, ast.Call)
    return not makes_property or any(name in asked for name in _targets(part))


def _wanted(modules: Modules, roots: list[ast.Module]) -> set[tuple[str, str]]:
    """Every (module, name) that something uses: within the module, through another's alias, or imported."""
    wanted: set[tuple[str, str]] = set()
    for name, tree in [*modules.items(), *((ROOT, root) for root in roots)]:
        whole, single = aliases(tree, modules)
        wanted |= set(single.values())
        for node in ast.walk(tree):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
                wanted.add((name, node.id))
            elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                wanted.add((whole.get(node.value.id, ROOT), node.attr))
    return wanted


def _shake(modules: Modules, roots: list[ast.Module]) -> bool:
    """Leave away one round of unused names; return whether there were any."""
    for tree in modules.values():
        _drop_imports(tree)
    wanted, changed = _wanted(modules, roots), False
    for name, tree in modules.items():
        makers = {
            statement.name
            for statement in tree.body
            if isinstance(statement, (ast.ClassDef, ast.FunctionDef))
        }
        kept = [
            statement
            for statement in tree.body
            if not _idle(statement, makers) or any((name, n) in wanted for n in _defined(statement))
        ]
        changed = changed or len(kept) < len(tree.body)
        tree.body = kept
    return changed


def _drop_imports(tree: ast.Module) -> None:
    loads = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}
    for statement in list(tree.body):
        if isinstance(statement, ast.ImportFrom) and (statement.module or "").split(".")[0] == PACKAGE:
            statement.names = [alias for alias in statement.names if (alias.asname or alias.name) in loads]
            if not statement.names:
                tree.body.remove(statement)


def _defined(statement: ast.stmt) -> list[str]:
    if isinstance(statement, (ast.FunctionDef, ast.ClassDef)):
        return [statement.name]
    return _targets(statement)


def _idle(statement: ast.stmt, makers: set[str]) -> bool:
    """True for a definition that does nothing but define.

    A module's own functions and classes, called at import for a value that nobody wants, change nothing else.
    """
    if isinstance(statement, (ast.FunctionDef, ast.ClassDef)):
        return True
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
        return True  # a docstring
    calls = {getattr(n.func, "id", "") for n in ast.walk(statement) if isinstance(n, ast.Call)}
    return bool(_targets(statement)) and calls <= {"const", "bytearray", *makers}
