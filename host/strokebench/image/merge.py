"""Kernels that a kernel calls become part of it.

To call a viper kernel costs the chip 5 to 12 us: each argument becomes an object and back, and what does that
lies in the flash, where a real chip has to wait for it. So the sources stay small kernels that call each
other, and the chip gets one. What cannot be merged stays a call: a kernel that returns from within a loop, a
call in the middle of an expression, and a kernel that is called from several places of the same one.

A merged kernel's early returns become breaks out of a loop that is gone through once. Its locals get numbered
names, by type, which the next one uses again.
"""

from __future__ import annotations

import ast
import copy
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from strokebench.image.modules import PACKAGE, Modules, aliases

POINTERS = ("ptr8", "ptr16", "ptr32")
BUILT_IN = (*POINTERS, "int", "range")
_PREFIX = {"ptr8": "_b", "ptr16": "_h", "ptr32": "_w", "int": "_i", "": "_o"}
Place = tuple[str, str]
"""A module's dotted name, and a name at its top."""


def merged(modules: Modules) -> None:
    """Merge, in place, into every kernel what it calls, from the innermost out."""
    _Merger(modules).run()


def is_kernel(node: ast.AST) -> bool:
    """True for a function that MicroPython compiles as viper."""
    return isinstance(node, ast.FunctionDef) and any(
        ast.unparse(mark) == "micropython.viper" for mark in node.decorator_list
    )


@dataclass
class _Module:
    tree: ast.Module
    whole: dict[str, str]
    single: dict[str, Place]
    top: dict[str, ast.stmt] = field(default_factory=dict)


class _Merger:
    def __init__(self, modules: Modules) -> None:
        self._modules = {name: _Module(tree, *aliases(tree, modules)) for name, tree in modules.items()}
        for module in self._modules.values():
            for statement in module.tree.body:
                if isinstance(statement, ast.FunctionDef):
                    module.top[statement.name] = statement
                elif isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
                    module.top[statement.targets[0].id] = statement
        self._done: set[int] = set()

    def run(self) -> None:
        for name, module in self._modules.items():
            for node in list(ast.walk(module.tree)):
                if isinstance(node, ast.FunctionDef) and is_kernel(node):
                    self._into(name, node)

    def _into(self, name: str, kernel: ast.FunctionDef) -> None:
        if id(kernel) in self._done:
            return
        self._done.add(id(kernel))
        calls = Counter(place for call in _calls(kernel) if (place := self._place(name, call.func)))
        own = _locals(kernel)

        def instead(statement: ast.stmt) -> list[ast.stmt] | None:
            call, target = _call_of(statement)
            place = self._place(name, call.func) if call else None
            if call is None or place is None or calls[place] > 1 or ast.unparse(call.func) in own:
                return None
            callee = self._modules[place[0]].top[place[1]]
            if not isinstance(callee, ast.FunctionDef) or not is_kernel(callee) or callee is kernel:
                return None
            self._into(place[0], callee)
            if not _can_merge(callee):
                return None
            return _Inlined(callee, call, target, own, lambda used: self._brought(used, place[0], name)).body

        kernel.body = _replaced(kernel.body, instead)
        self._import_pointers(name, kernel)

    def _import_pointers(self, name: str, kernel: ast.FunctionDef) -> None:
        """Let the module import the pointers that its kernel casts to by now: CPython does not know them."""
        used = {node.id for node in ast.walk(kernel) if isinstance(node, ast.Name)} & set(POINTERS)
        for statement in self._modules[name].tree.body:
            if isinstance(statement, ast.ImportFrom) and statement.module == f"{PACKAGE}.compat":
                missing = used - {alias.name for alias in statement.names}
                statement.names += [ast.alias(pointer) for pointer in sorted(missing)]
                return

    def _place(self, name: str, asked: ast.expr) -> Place | None:
        """Where the function that a module's expression names is defined, through aliases."""
        module = self._modules[name]
        if isinstance(asked, ast.Attribute) and isinstance(asked.value, ast.Name):
            where = module.whole.get(asked.value.id)
            return None if where is None else self._defined(where, asked.attr)
        return self._defined(name, asked.id) if isinstance(asked, ast.Name) else None

    def _defined(self, name: str, what: str) -> Place | None:
        module = self._modules.get(name)
        if module is None:
            return None
        found = module.top.get(what)
        if isinstance(found, ast.FunctionDef):
            return name, what
        if isinstance(found, ast.Assign) and isinstance(found.value, (ast.Name, ast.Attribute)):
            return self._place(name, found.value)
        return self._defined(*module.single[what]) if what in module.single else None

    def _brought(self, used: str, source: str, into: str) -> str:
        """The name by which a module knows what another has at its top; imported if it is not yet."""
        module, origin = self._modules[into], self._modules[source]
        if used not in origin.top and used not in origin.single and used not in origin.whole:
            return used  # built in
        if source == into:
            return used
        if used in origin.whole:
            raise ValueError(f"{source} asks a module for something within a kernel: name it at the top")
        if used in origin.single or isinstance(origin.top.get(used), ast.Assign):
            found = self._defined(source, used)
            source, used = found if found else (source, used)
        known = f"_{source.replace('.', '_')}_{used}"
        if known not in module.single:
            module.single[known] = (source, used)
            line = f"from {PACKAGE}.{source} import {used} as {known}"
            last = max(
                i for i, s in enumerate(module.tree.body) if isinstance(s, (ast.Import, ast.ImportFrom))
            )
            module.tree.body.insert(last + 1, ast.parse(line).body[0])
        return known


def _calls(kernel: ast.FunctionDef) -> Iterator[ast.Call]:
    return (node for node in ast.walk(kernel) if isinstance(node, ast.Call))


def _call_of(statement: ast.stmt) -> tuple[ast.Call | None, ast.Name | None]:
    """The call that a statement is, ``f(x)`` or ``name = int(f(x))``, and the name."""
    if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call):
        return statement.value, None
    if isinstance(statement, ast.Assign) and isinstance(statement.value, ast.Call):
        outer, target = statement.value, statement.targets[0]
        if (
            ast.unparse(outer.func) == "int"
            and isinstance(outer.args[0], ast.Call)
            and isinstance(target, ast.Name)
        ):
            return outer.args[0], target
    return None, None


def _replaced(body: list[ast.stmt], instead: Callable[[ast.stmt], list[ast.stmt] | None]) -> list[ast.stmt]:
    made: list[ast.stmt] = []
    for statement in body:
        new = instead(statement)
        if new is not None:
            made += new
            continue
        for part in ("body", "orelse"):
            if getattr(statement, part, None):
                setattr(statement, part, _replaced(getattr(statement, part), instead))
        made.append(statement)
    return made


def _can_merge(kernel: ast.FunctionDef) -> bool:
    """False when it returns from within a loop, or has what this file knows nothing of."""
    loops = [node for node in ast.walk(kernel) if isinstance(node, (ast.For, ast.While))]
    once = [loop for loop in loops if _goes_once(loop)]
    inside = [part for loop in loops if loop not in once for part in ast.walk(loop)]
    foreign = (ast.Lambda, ast.ListComp, ast.Try, ast.With, ast.Global, ast.Nonlocal)
    return (
        not any(isinstance(part, ast.Return) for part in inside)
        and not any(isinstance(part, ast.Return) for loop in once for part in ast.walk(loop))
        and not any(isinstance(node, foreign) for node in ast.walk(kernel))
    )


def _goes_once(loop: ast.stmt) -> bool:
    return isinstance(loop, ast.While) and isinstance(loop.test, ast.Constant)


def _type(value: ast.expr) -> str:
    """The viper type of an expression: a pointer where it is cast to one, else a number."""
    name = getattr(value.func, "id", "") if isinstance(value, ast.Call) else ""
    return name if name in POINTERS else "int"


def _locals(kernel: ast.FunctionDef) -> dict[str, str]:
    """Names that a kernel binds, in their order, and their viper types ("" an object)."""
    found = {part.arg: ast.unparse(part.annotation) if part.annotation else "" for part in kernel.args.args}
    for node in ast.walk(kernel):
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            found.setdefault(node.targets[0].id, _type(node.value))
        elif isinstance(node, (ast.AugAssign, ast.For)) and isinstance(node.target, ast.Name):
            found.setdefault(node.target.id, "int")
        elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Tuple):
            found |= {str(getattr(part, "id", "")): "" for part in node.targets[0].elts}
    return found


class _Inlined:
    """A kernel's body in the place of a call."""

    def __init__(
        self,
        kernel: ast.FunctionDef,
        call: ast.Call,
        target: ast.Name | None,
        own: dict[str, str],
        brought: Callable[[str], str],
    ) -> None:
        self._target = target
        inner = _locals(kernel)
        stored = {n.id for n in ast.walk(kernel) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
        self.body: list[ast.stmt] = []
        names: dict[str, ast.expr] = {}
        counts: Counter[str] = Counter()
        for name, kind in inner.items():
            names[name] = _load(f"{_PREFIX[kind]}{counts[kind]}")
            counts[kind] += 1
        for part, given in zip(kernel.args.args, call.args, strict=True):
            kind = inner[part.arg]
            is_object = isinstance(given, ast.Name) and not own.get(given.id)
            same = isinstance(given, ast.Constant) or (
                isinstance(given, ast.Name) and own.get(given.id, "") == kind
            )
            if same and part.arg not in stored:
                names[part.arg] = given
            else:
                cast = kind in POINTERS or (kind == "int" and is_object)
                value = ast.Call(_load(kind), [given], []) if cast else given
                self.body.append(_assign(ast.unparse(names[part.arg]), value))
        renamed = _Renamed(names, brought)
        body = [renamed.visit(copy.deepcopy(each)) for each in kernel.body if not _is_docstring(each)]
        returns = [node for each in body for node in ast.walk(each) if isinstance(node, ast.Return)]
        if not returns:
            self.body += body
        elif len(returns) == 1 and returns[0] is body[-1]:
            self.body += [*body[:-1], *self._result(returns[0])]
        else:
            body = _replaced(body, lambda each: self._left(each) if isinstance(each, ast.Return) else None)
            if not isinstance(body[-1], ast.Break):
                body.append(ast.Break())
            self.body.append(ast.While(ast.Constant(True), body, []))
        for each in self.body:
            ast.fix_missing_locations(each)

    def _result(self, given: ast.Return) -> list[ast.stmt]:
        if self._target is None or given.value is None:
            return []
        return [_assign(self._target.id, given.value)]

    def _left(self, given: ast.Return) -> list[ast.stmt]:
        return [*self._result(given), ast.Break()]


class _Renamed(ast.NodeTransformer):
    def __init__(self, names: dict[str, ast.expr], brought: Callable[[str], str]) -> None:
        self._names = names
        self._brought = brought

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """A local under its new name, anything else as the module around knows it."""
        new = self._names.get(node.id)
        if isinstance(new, ast.Name):
            return ast.Name(new.id, node.ctx)
        if new is not None:
            return new
        if node.id in BUILT_IN:
            return node
        return ast.Name(self._brought(node.id), node.ctx)


def _load(name: str) -> ast.Name:
    return ast.Name(name, ast.Load())


def _assign(name: str, value: ast.expr) -> ast.Assign:
    return ast.Assign([ast.Name(name, ast.Store())], value, lineno=0)


def _is_docstring(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)
