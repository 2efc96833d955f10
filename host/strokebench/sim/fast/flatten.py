"""Makes one flat module of functions on numbers out of methods of living objects.

An object that a function gets at (an array, a table, another object, a method) is settled when the code is
made; a number that is an attribute of an object becomes a place in memory (``memory.py``). What is left are
plain functions of two arrays, ``_i`` and ``_f``, and numbers. Nothing is written twice: the functions are
those of the firmware, the board and the plant themselves.
"""

from __future__ import annotations

import ast
import types
from collections.abc import Callable
from typing import Any

from strokebench.sim.fast.expressions import Expressions
from strokebench.sim.fast.memory import TRAP, Memory
from strokebench.sim.fast.sources import body_of, tree_of
from strokebench.sim.fast.statements import Function, passed
from strokebench.sim.fast.values import Code, Known, NotFlat, Pick, Value, key_of

HEAD = """def _least(a, b):
    return b if b < a else a


def _most(a, b):
    return b if b > a else a


def _lower(_f, base, count):
    found = _f[base]
    for i in range(base + 1, base + count):
        if _f[i] < found:
            found = _f[i]
    return found


def _upper(_f, base, count):
    found = _f[base]
    for i in range(base + 1, base + count):
        if _f[i] > found:
            found = _f[i]
    return found
"""


class Flattener:
    """Gathers flat functions in ``texts``; ``never`` are functions that the code must not come to."""

    def __init__(self, memory: Memory, never: tuple[Callable[..., Any], ...] = ()) -> None:
        self.memory = memory
        self.never = never
        self.texts: list[str] = [HEAD]
        self._made: dict[Any, str] = {}
        self._kept: list[Any] = []  # what is known by its id must stay
        self._under_way: list[str] = []

    def add(self, function: Callable[..., Any], *given: Value) -> str:
        """Flatten a function or method; return the name of its flat form, which takes ``_i, _f``."""
        outer = Expressions(self, {}, "the start")
        found = self.call(function, list(given), {}, outer, ast.Pass())
        if not isinstance(found, Code):
            raise NotFlat(f"{function} gives no number")
        return found.text.partition("(")[0]

    def call(
        self, function: Any, given: list[Value], named: dict[str, Value], at: Expressions, node: ast.AST
    ) -> Value:
        """Return the code of a call."""
        if isinstance(function, types.MethodType):
            given = [Known(function.__self__), *given]
            function = function.__func__
        if function in self.never:
            return Code(f"_never(_i, {self.never.index(function) + 1})")
        tree = tree_of(function)
        bound = _bind(tree, function, given, named)
        same = _handed_through(tree)
        if same is not None:
            return bound[same]
        key = (
            function.__code__,
            tuple(map(id, function.__closure__ or ())),
            tuple((name, key_of(value)) for name, value in bound.items()),
        )
        self._kept += [function, given, named]
        if key not in self._made:
            name = f"{function.__name__.strip('_')}_{len(self._made) + 1}"
            if len(self._under_way) > 60:
                raise at.fail(node, "it calls itself")
            self._under_way.append(name)
            self._made[key] = name
            self.texts.append(Function(self, function, tree, name, bound).made())
            self._under_way.pop()
        handed = [code.text for value in bound.values() if (code := passed(value)) is not None]
        return Code(f"{self._made[key]}({', '.join(['_i', '_f', *handed])})")

    def call_picked(self, called: Pick, given: list[Value], at: Expressions, node: ast.AST) -> Value:
        """Return the code of a call of one of several functions."""
        name = f"picked_{len(self._made) + 1}"
        texts = [at.text(each, node) for each in given]
        inner: list[Value] = [Code(f"a{index}") for index in range(len(given))]
        lines = [f"def {name}({', '.join(['_i', '_f', '_at', *(f'a{i}' for i in range(len(given)))])}):"]
        for index, thing in enumerate(called.things):
            if thing is not None:
                call = at.text(self.call(thing, inner, {}, at, node), node)
                lines += [f"    if _at == {index}:", f"        {call}"]
        self._made[name] = name
        self.texts.append("\n".join([*lines, "    return 0"]))
        return Code(f"{name}({', '.join(['_i', '_f', called.text, *texts])})")

    def module(self) -> str:
        """Return the whole module's text."""
        never = f"def _never(_i, which):\n    _i[{TRAP}] = which\n    return 0"
        return "\n\n\n".join([self.texts[0], never, *self.texts[1:]]) + "\n"


def _bind(
    tree: ast.FunctionDef, function: types.FunctionType, given: list[Value], named: dict[str, Value]
) -> dict[str, Value]:
    names = [argument.arg for argument in tree.args.args]
    bound = dict(zip(names, given, strict=False)) | named
    defaults = function.__defaults__ or ()
    outside = Expressions(None, {}, function.__qualname__)  # type: ignore[arg-type]
    for name, thing in zip(names[len(names) - len(defaults) :], defaults, strict=True):
        bound.setdefault(name, outside.of(thing))
    if set(bound) != set(names) or len(given) > len(names):
        raise NotFlat(f"{function.__qualname__} is called with {', '.join(bound)}")
    return {name: bound[name] for name in names}


def _handed_through(tree: ast.FunctionDef) -> str | None:
    """Return the parameter that a function returns as it is, None when it does anything else."""
    body = body_of(tree)
    if len(body) == 1 and isinstance(body[0], ast.Return) and isinstance(body[0].value, ast.Name):
        name = body[0].value.id
        if name in {argument.arg for argument in tree.args.args}:
            return name
    return None
