"""Flattening of one function: its statements, one after the other."""

from __future__ import annotations

import ast
import types
from typing import TYPE_CHECKING, Any

from strokebench.sim.fast.expressions import MUTABLE, Expressions
from strokebench.sim.fast.sources import body_of, environment
from strokebench.sim.fast.values import Code, Growing, Known, NotFlat, Pick, Row, Value, key_of

if TYPE_CHECKING:
    from strokebench.sim.fast.flatten import Flattener


def passed(value: Value) -> Code | None:
    """Return what of an argument is handed over at run time."""
    if isinstance(value, Code):
        return value
    return Code(value.text) if isinstance(value, (Row, Pick)) else None


class Function(Expressions):
    """Flattens one function."""

    def __init__(
        self, whole: Flattener, function: types.FunctionType, tree: ast.FunctionDef, name: str,
        bound: dict[str, Value],
    ) -> None:  # fmt: skip
        super().__init__(whole, environment(function), f"{function.__module__}.{function.__qualname__}")
        self._tree, self._name = tree, name
        self._lines: list[str] = []
        self._handed: list[str] = []
        for parameter, value in bound.items():
            if passed(value) is not None:
                self._handed.append(parameter)
            if isinstance(value, Row):
                value = Row(value.memory, parameter, value.width)
            elif isinstance(value, Pick):
                value = Pick(value.things, parameter)
            elif isinstance(value, Code):
                value = Code(parameter)
            self.names[parameter] = value

    def made(self) -> str:
        """Return the function's text."""
        self._block(body_of(self._tree), 1)
        parameters = ", ".join(["_i", "_f", *self._handed])
        return "\n".join([f"def {self._name}({parameters}):", *(self._lines or ["    return"])])

    def _say(self, depth: int, line: str) -> None:
        self._lines.append("    " * depth + line)

    def _block(self, statements: list[ast.stmt], depth: int) -> bool:
        """Flatten statements; return whether none of what follows them is reached."""
        before = len(self._lines)
        ended = False
        for statement in statements:
            handler = getattr(self, f"_{type(statement).__name__}", None)
            if handler is None:
                raise self.fail(statement, f"{type(statement).__name__} is not understood")
            ended = bool(handler(statement, depth))
            if ended:
                break
        if len(self._lines) == before:
            self._say(depth, "pass")
        return ended

    # -- statements ------------------------------------------------------------------------------------------

    def _Expr(self, node: ast.Expr, depth: int) -> None:
        value = node.value
        if isinstance(value, ast.Call) and self._is_append(value):
            assert isinstance(value.func, ast.Attribute)
            to = self.value(value.func.value)
            if not isinstance(to, Growing):
                raise self.fail(node, "append to what is no list made here")
            self._say(depth, f"_f[{to.base} + _i[{to.length}]] = {self.code(value.args[0])}")
            self._say(depth, f"_i[{to.length}] += 1")
        elif not isinstance(value, ast.Constant):
            self._say(depth, self.code(value))

    def _Return(self, node: ast.Return, depth: int) -> bool:
        self._say(depth, "return" if node.value is None else f"return {self.code(node.value)}")
        return True

    def _Raise(self, node: ast.Raise, depth: int) -> bool:
        self._say(depth, "raise ValueError")
        return True

    def _Pass(self, node: ast.Pass, depth: int) -> None:
        self._say(depth, "pass")

    def _Break(self, node: ast.Break, depth: int) -> None:
        self._say(depth, "break")

    def _Continue(self, node: ast.Continue, depth: int) -> None:
        self._say(depth, "continue")

    def _If(self, node: ast.If, depth: int) -> bool:
        test = self.test(node.test)
        if isinstance(test, bool):
            return self._block(node.body if test else node.orelse, depth)
        self._say(depth, f"if {test}:")
        self._block(node.body, depth + 1)
        if node.orelse:
            self._say(depth, "else:")
            self._block(node.orelse, depth + 1)
        return False

    def _While(self, node: ast.While, depth: int) -> None:
        self._say(depth, f"while {self.test(node.test)}:")
        self._block(node.body, depth + 1)

    def _For(self, node: ast.For, depth: int) -> None:
        over = node.iter
        if not (
            isinstance(node.target, ast.Name)
            and isinstance(over, ast.Call)
            and isinstance(over.func, ast.Name)
            and over.func.id == "range"
        ):
            raise self.fail(node, "a loop over something that is no range")
        bounds = ", ".join(self.code(each) for each in over.args)
        self.names[node.target.id] = Code(node.target.id)
        self._say(depth, f"for {node.target.id} in range({bounds}):")
        self._block(node.body, depth + 1)

    def _AnnAssign(self, node: ast.AnnAssign, depth: int) -> None:
        if node.value is not None:
            self._assign([node.target], node.value, depth)

    def _Assign(self, node: ast.Assign, depth: int) -> None:
        self._assign(node.targets, node.value, depth)

    def _AugAssign(self, node: ast.AugAssign, depth: int) -> None:
        value = self.value(ast.BinOp(node.target, node.op, node.value, lineno=node.lineno))
        self._say(depth, f"{self._target(node.target)} = {self.text(value, node)}")

    # -- assignment ------------------------------------------------------------------------------------------

    def _assign(self, targets: list[ast.expr], value_node: ast.expr, depth: int) -> None:
        if len(targets) == 1 and isinstance(targets[0], ast.Tuple):
            self._unpack(targets[0], value_node, depth)
            return
        if isinstance(value_node, ast.List):
            self._begin_list(targets, value_node, depth)
            return
        if len(targets) == 1 and self._keeps_list(targets[0], value_node, depth):
            return
        value = self.value(value_node)
        if not isinstance(value, Code):
            for target in targets:
                self._settle(target, value, depth)
            return
        text = value.text
        for target in reversed(targets):
            name = self._target(target)
            self._say(depth, f"{name} = {text}")
            text = name

    def _begin_list(self, targets: list[ast.expr], node: ast.List, depth: int) -> None:
        if len(targets) != 1 or not isinstance(targets[0], ast.Name):
            raise self.fail(node, "a list that is not kept in a local")
        place = self.whole.memory.growing()
        self.names[targets[0].id] = place
        self._fill(place, node.elts, depth)

    def _fill(self, place: Growing, elements: list[ast.expr], depth: int) -> None:
        for index, each in enumerate(elements):
            self._say(depth, f"_f[{place.base + index}] = {self.code(each)}")
        self._say(depth, f"_i[{place.length}] = {len(elements)}")

    def _keeps_list(self, target: ast.expr, node: ast.expr, depth: int) -> bool:
        """An attribute takes a list over: a copy."""
        if not isinstance(target, ast.Attribute):
            return False
        of = self.value(target.value)
        if not isinstance(of, Known) or not isinstance(getattr(of.thing, target.attr, None), (list, tuple)):
            return False
        kept = self.whole.memory.kept_list(of.thing, target.attr)
        if isinstance(node, ast.Tuple):
            self._fill(kept, node.elts, depth)
            return True
        value = self.value(node)
        if not isinstance(value, Growing):
            raise self.fail(node, "a list of which nothing is known")
        self._say(depth, f"_i[{kept.length}] = _i[{value.length}]")
        self._say(depth, f"for _n in range(_i[{value.length}]):")
        self._say(depth + 1, f"_f[{kept.base} + _n] = _f[{value.base} + _n]")
        return True

    def _unpack(self, target: ast.Tuple, node: ast.expr, depth: int) -> None:
        targets = target.elts
        if isinstance(node, ast.Tuple):
            pairs = []
            for each, made in zip(targets, node.elts, strict=True):
                if isinstance(made, ast.List):
                    self._begin_list([each], made, depth)
                elif not self._keeps_list(each, made, depth):
                    pairs.append((each, made))
            targets, values = [pair[0] for pair in pairs], [self.value(pair[1]) for pair in pairs]
        else:
            value = self.value(node)
            if isinstance(value, Known):
                values = [self.of(each) for each in value.thing]
            elif isinstance(value, Row):
                values = [Code(f"_{value.memory}[{value.text} + {index}]") for index in range(value.width)]
            else:
                names = ", ".join(self._target(each) for each in targets)
                self._say(depth, f"{names} = {self.text(value, node)}")
                return
        if len(values) != len(targets):
            raise self.fail(node, "another number of values than names")
        bound = list(zip(targets, values, strict=True))
        for each, value in bound:
            if not isinstance(value, Code):
                self._settle(each, value, depth)
        moved = [(self._target(each), value.text) for each, value in bound if isinstance(value, Code)]
        if moved:
            targets_text, texts = zip(*moved, strict=True)
            self._say(depth, f"{', '.join(targets_text)} = {', '.join(texts)}")

    def _settle(self, target: ast.expr, value: Value, depth: int) -> None:
        """Bind a name to something that is known beforehand."""
        if not isinstance(target, ast.Name):
            raise self.fail(target, f"{value} is kept where it may change the structure")
        before = self.names.get(target.id)
        if isinstance(value, (Row, Pick)):
            self._say(depth, f"{target.id} = {value.text}")
            value = (
                Row(value.memory, target.id, value.width)
                if isinstance(value, Row)
                else Pick(value.things, target.id)
            )
        if before is not None and key_of(before) != key_of(value):
            raise self.fail(target, f"{target.id} is bound to several things")
        self.names[target.id] = value

    def _target(self, node: ast.expr) -> str:
        """Return the text of a place that takes a number."""
        if isinstance(node, ast.Name):
            before = self.names.get(node.id)
            if before is not None and not (isinstance(before, Code) and before.text == node.id):
                raise self.fail(node, f"{node.id} is a number here and something else before")
            self.names[node.id] = Code(node.id)
            return node.id
        if isinstance(node, ast.Subscript):
            return self._element(node)
        if isinstance(node, ast.Attribute):
            of = self.value(node.value)
            if isinstance(of, Known):
                return self._kept(of.thing, node)
        raise self.fail(node, "a target that is not understood")

    def _element(self, node: ast.Subscript) -> str:
        of, at = self.value(node.value), self.code(node.slice)
        if isinstance(of, Growing):
            return f"_f[{of.base} + {at}]"
        if not isinstance(of, Known) or not isinstance(of.thing, MUTABLE):
            raise self.fail(node, "an element of what never changes is set")
        self.whole.memory.live(of.thing).written = True
        place = self.place(of.thing, at, node)
        assert isinstance(place, str)
        return place

    def _kept(self, thing: Any, node: ast.Attribute) -> str:
        made = getattr(type(thing), node.attr, None)
        if isinstance(made, property):
            raise self.fail(node, f"{node.attr} is a property and is set")
        try:
            memory, place = self.whole.memory.number(thing, node.attr, written=True)
        except NotFlat as error:
            raise self.fail(node, str(error)) from None
        return f"_{memory}[{place}]"
