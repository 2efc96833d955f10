"""Flattening of expressions: names, attributes, elements, sums, calls."""

from __future__ import annotations

import ast
import builtins
import math
import types
from array import array
from typing import TYPE_CHECKING, Any

from strokebench.sim.fast.values import (
    Code,
    Growing,
    Known,
    NotFlat,
    Pick,
    Row,
    Value,
    is_function,
    is_number,
    literal,
)

if TYPE_CHECKING:
    from strokebench.sim.fast.flatten import Flattener

BINARY = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/", ast.FloorDiv: "//", ast.Mod: "%",
    ast.LShift: "<<", ast.RShift: ">>", ast.BitAnd: "&", ast.BitOr: "|", ast.BitXor: "^",
}  # fmt: skip
UNARY = {ast.USub: "-", ast.UAdd: "+", ast.Invert: "~", ast.Not: "not "}
COMPARE = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
PLAIN_CALLS = {int: "int", float: "float", bool: "bool", abs: "abs", **{
    getattr(math, name): name for name in ("exp", "log", "sin", "cos", "tan", "tanh", "atan", "sqrt")
}}  # fmt: skip
CHOSEN = {min: ("_least", "_lower"), max: ("_most", "_upper")}
"""Of two numbers, and of a list that grows."""
MUTABLE = (array, bytearray, memoryview)


class Expressions:
    """Flattens the expressions of one function; ``names`` binds what is settled beforehand."""

    def __init__(self, whole: Flattener, outside: dict[str, Any], where: str) -> None:
        self.whole, self.outside, self.where = whole, outside, where
        self.names: dict[str, Value] = {}

    def fail(self, node: ast.AST, why: str) -> NotFlat:
        """Return the error for something that cannot be flattened."""
        return NotFlat(f"{self.where}, line {getattr(node, 'lineno', '?')}: {why}")

    def value(self, node: ast.expr) -> Value:
        """Return what an expression is."""
        try:
            handler = getattr(self, f"_{type(node).__name__}")
        except AttributeError:
            raise self.fail(node, f"{type(node).__name__} is not understood") from None
        found: Value = handler(node)
        return found

    def code(self, node: ast.expr) -> str:
        """Return the text of an expression that must be a number or numbers."""
        return self.text(self.value(node), node)

    def text(self, value: Value, node: ast.AST) -> str:
        """Return the text of a value that must be one that exists at run time."""
        if isinstance(value, Code):
            return value.text
        if isinstance(value, Known) and isinstance(value.thing, tuple) and all(map(is_number, value.thing)):
            return "(" + "".join(f"{literal(each).text}, " for each in value.thing) + ")"
        raise self.fail(node, f"{value} where a number is wanted")

    def of(self, thing: Any) -> Value:
        """Return the value of an object that is settled."""
        return literal(thing) if is_number(thing) else Known(thing)

    # -- leaves ----------------------------------------------------------------------------------------------

    def _Constant(self, node: ast.Constant) -> Value:
        return self.of(node.value)

    def _Name(self, node: ast.Name) -> Value:
        if node.id in self.names:
            return self.names[node.id]
        if node.id in self.outside:
            return self.of(self.outside[node.id])
        if hasattr(builtins, node.id):
            return Known(getattr(builtins, node.id))
        raise self.fail(node, f"{node.id} is not bound")

    def _Tuple(self, node: ast.Tuple) -> Value:
        values = [self.value(each) for each in node.elts]
        if all(isinstance(each, Known) for each in values):
            return Known(tuple(each.thing for each in values if isinstance(each, Known)))
        return Code("(" + "".join(f"{self.text(each, node)}, " for each in values) + ")")

    # -- attributes ------------------------------------------------------------------------------------------

    def _Attribute(self, node: ast.Attribute) -> Value:
        if isinstance(node.value, ast.Call) and getattr(node.value.func, "id", "") == "super":
            return self._inherited(node)
        of = self.value(node.value)
        if not isinstance(of, Known):
            raise self.fail(node, f"attribute {node.attr} of what is no known object")
        return self.attribute(of.thing, node.attr, node)

    def _inherited(self, node: ast.Attribute) -> Value:
        """``super().name``."""
        own = next(iter(self.names.values()))
        if not isinstance(own, Known):
            raise self.fail(node, "super() outside a method")
        return Known(getattr(super(self.outside["__class__"], own.thing), node.attr))

    def attribute(self, thing: Any, name: str, node: ast.AST) -> Value:
        """Return the value of an attribute."""
        if isinstance(thing, (types.ModuleType, type)):
            return self.of(getattr(thing, name))
        made = getattr(type(thing), name, None)
        if isinstance(made, property):
            return self.whole.call(made.fget, [Known(thing)], {}, self, node)
        found = getattr(thing, name)
        if is_number(found):
            memory, place = self.whole.memory.number(thing, name)
            return Code(f"_{memory}[{place}]")
        owner = self.whole.memory.owner(thing)
        if isinstance(found, types.MethodType) and name not in getattr(thing, "__dict__", {}):
            owner.methods.add(name)
        elif type(found) is array and hasattr(thing, "__dict__"):
            owner.arrays[name] = self.whole.memory.live(found)
        else:
            owner.known[name] = found
        return Known(found)

    # -- elements --------------------------------------------------------------------------------------------

    def _Subscript(self, node: ast.Subscript) -> Value:
        of, index = self.value(node.value), self.value(node.slice)
        at = self.text(index, node)
        if isinstance(of, Row):
            return Code(f"_{of.memory}[{of.text} + {at}]")
        if isinstance(of, Growing):
            return Code(f"_f[{of.base} + {at}]")
        if isinstance(of, Code) and isinstance(index, Code) and index.value is not None:
            return Code(f"{of.text}[{at}]")  # of a tuple made at run time
        if not isinstance(of, Known) or not isinstance(index, Code):
            raise self.fail(node, "an element of what is no table")
        thing = of.thing
        if isinstance(thing, (tuple, list)) and thing and self.whole.memory.shape(thing) is None:
            if isinstance(index.value, int):
                return self.of(thing[index.value])
            return Pick(tuple(thing), at)
        place = self.place(thing, at, node)
        return place if isinstance(place, Row) else Code(place)

    def place(self, thing: Any, at: str, node: ast.AST) -> str | Row:
        """Return the text of an element of a table or an array."""
        memory = self.whole.memory
        if isinstance(thing, MUTABLE):
            return f"_i[{memory.live(thing).base} + {at}]"
        try:
            kind, base, width = memory.table(thing)
        except NotFlat as error:
            raise self.fail(node, str(error)) from None
        return Row(kind, f"({base} + {width} * ({at}))", width) if width else f"_{kind}[{base} + {at}]"

    # -- sums ------------------------------------------------------------------------------------------------

    def _BinOp(self, node: ast.BinOp) -> Value:
        sign = BINARY.get(type(node.op))
        if sign is None:
            raise self.fail(node, f"{type(node.op).__name__} may differ in the last bit")
        return Code(f"({self.code(node.left)} {sign} {self.code(node.right)})")

    def _UnaryOp(self, node: ast.UnaryOp) -> Value:
        of = self.value(node.operand)
        if isinstance(node.op, ast.Not) and not isinstance(of, Code):
            return literal(not self.truth(of, node))
        if isinstance(node.op, ast.USub) and isinstance(of, Code) and of.value is not None:
            return literal(-of.value)
        return Code(f"({UNARY[type(node.op)]}{self.text(of, node)})")

    def _BoolOp(self, node: ast.BoolOp) -> Value:
        """What is settled beforehand decides at once, or drops out."""
        decides = isinstance(node.op, ast.Or)
        parts: list[str] = []
        for each in node.values:
            value = self.value(each)
            if isinstance(value, Code) and not isinstance(value.value, bool):
                parts.append(value.text)
            elif isinstance(value, Pick):
                parts.append(self.picked_truth(value))
            elif self.truth(value, node) == decides:
                if not parts:
                    return literal(decides)
                parts.append(repr(decides))
                break
        if not parts:
            return literal(not decides)
        return Code("(" + (" or " if decides else " and ").join(parts) + ")")

    def _Compare(self, node: ast.Compare) -> Value:
        first = node.ops[0]
        if isinstance(first, (ast.Is, ast.IsNot)):
            left, right = self.value(node.left), self.value(node.comparators[0])
            same = isinstance(left, Known) and isinstance(right, Known) and (left.thing is right.thing)
            return literal(same == isinstance(first, ast.Is))
        if isinstance(first, (ast.In, ast.NotIn)):
            return self._contained(node, isinstance(first, ast.In))
        if isinstance(first, (ast.Eq, ast.NotEq)) and isinstance(known := self.value(node.left), Known):
            right = self.value(node.comparators[0])
            if isinstance(right, Known) and isinstance(known.thing, str):
                return literal((known.thing == right.thing) == isinstance(first, ast.Eq))
        values = [self.value(each) for each in (node.left, *node.comparators)]
        text = self.text(values[0], node)
        for sign, value in zip(node.ops, values[1:], strict=True):
            text += f" {COMPARE[type(sign)]} {self.text(value, node)}"
        if all(isinstance(value, Code) and value.value is not None for value in values):
            return literal(bool(eval(text)))
        return Code(f"({text})")

    def _contained(self, node: ast.Compare, inside: bool) -> Value:
        among = node.comparators[0]
        if not isinstance(among, ast.Tuple):
            raise self.fail(node, "'in' something that is no written tuple")
        left = self.code(node.left)
        text = " or ".join(f"{left} == {self.code(each)}" for each in among.elts)
        return Code(f"({text})" if inside else f"(not ({text}))")

    def _IfExp(self, node: ast.IfExp) -> Value:
        test = self.test(node.test)
        if isinstance(test, bool):
            return self.value(node.body if test else node.orelse)
        return Code(f"({self.code(node.body)} if {test} else {self.code(node.orelse)})")

    # -- truth -----------------------------------------------------------------------------------------------

    def test(self, node: ast.expr) -> str | bool:
        """Return the text of a condition, or what it is when that is settled."""
        value = self.value(node)
        if isinstance(value, Pick):
            return self.picked_truth(value)
        if isinstance(value, Code) and not isinstance(value.value, bool):
            return value.text
        return self.truth(value, node)

    def truth(self, value: Value, node: ast.AST) -> bool:
        """Return whether something settled is true."""
        if isinstance(value, Code) and value.value is not None:
            return bool(value.value)
        if isinstance(value, Known):
            if isinstance(value.thing, dict):
                raise self.fail(node, "the truth of a dict, which may change")
            return bool(value.thing)
        raise self.fail(node, "a truth that is not known")

    @staticmethod
    def picked_truth(value: Pick) -> str:
        """Return the condition that a picked object is true."""
        true = [index for index, thing in enumerate(value.things) if thing]
        return "(" + (" or ".join(f"{value.text} == {index}" for index in true) or "False") + ")"

    # -- calls -----------------------------------------------------------------------------------------------

    def _Call(self, node: ast.Call) -> Value:
        called = self.value(node.func) if not self._is_append(node) else None
        if called is None:
            raise self.fail(node, "append within an expression")
        given = [self.value(each) for each in node.args]
        named = {str(each.arg): self.value(each.value) for each in node.keywords}
        if isinstance(called, Pick):
            return self.whole.call_picked(called, given, self, node)
        if not isinstance(called, Known):
            raise self.fail(node, "a call of what is no known function")
        thing = called.thing
        if is_function(thing):
            return self.whole.call(thing, given, named, self, node)
        if thing in CHOSEN:
            return self._chosen(thing, given, node)
        if thing is len and isinstance(given[0], Growing):
            return Code(f"_i[{given[0].length}]")
        if thing is len and isinstance(given[0], Known):
            return literal(len(given[0].thing))
        if thing in PLAIN_CALLS:
            return Code(f"{PLAIN_CALLS[thing]}({', '.join(self.text(each, node) for each in given)})")
        raise self.fail(node, f"a call of {thing}")

    @staticmethod
    def _is_append(node: ast.Call) -> bool:
        return isinstance(node.func, ast.Attribute) and node.func.attr == "append"

    def _chosen(self, thing: Any, given: list[Value], node: ast.AST) -> Value:
        """``min`` and ``max``: the first of equals, as Python has it."""
        two, of_list = CHOSEN[thing]
        if len(given) == 1 and isinstance(given[0], Growing):
            return Code(f"{of_list}(_f, {given[0].base}, _i[{given[0].length}])")
        text = self.text(given[0], node)
        for each in given[1:]:
            text = f"{two}({text}, {self.text(each, node)})"
        return Code(text)
