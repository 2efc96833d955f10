"""Values of a flat function in machine code: locals, memory, sums, calls."""

from __future__ import annotations

import ast
from collections.abc import Sequence
from typing import Any

from llvmlite import ir

from strokebench.sim.fast.memory import CALLED, TRAP
from strokebench.sim.fast.values import NotFlat

I64, F64, I1 = ir.IntType(64), ir.DoubleType(), ir.IntType(1)
TYPES = {"i": I64, "f": F64}
FAILED = 99
"""In the trap: Python would have raised an exception."""
SIGNS = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
Kind = Any
"""Of a value: "i", "f", a tuple of them, or None."""


class Again(Exception):
    """A name turned out to hold floats too, or a function to return other kinds."""


def type_of(kind: Kind) -> ir.Type:
    """Return LLVM's type for a kind."""
    if kind is None:
        return ir.VoidType()
    return ir.LiteralStructType([type_of(each) for each in kind]) if isinstance(kind, tuple) else TYPES[kind]


def joined(left: Kind, right: Kind) -> Kind:
    """Return the kind that holds both."""
    if left == right or right is None:
        return left
    if left is None:
        return right
    if isinstance(left, tuple) and isinstance(right, tuple) and len(left) == len(right):
        return tuple(joined(*each) for each in zip(left, right, strict=True))
    if isinstance(left, tuple) or isinstance(right, tuple):
        raise NotFlat(f"{left} and {right} do not go together")
    return "f"


class Operations:
    """The values of one function; ``locals_`` are the kinds of its names so far."""

    def __init__(self, module: Any, name: str, into: ir.Module, locals_: dict[str, Kind]) -> None:
        self._module, self._name, self._into, self._locals = module, name, into, locals_
        self._memory: dict[str, Any] = {}
        self._slots: dict[str, Any] = {}

    def _start(self, function: ir.Function) -> ir.Block:
        """Begin with the function's code; return its first block."""
        self._entry = function.append_basic_block("entry")
        body = function.append_basic_block("body")
        self._b = ir.IRBuilder(body)
        return body

    # -- locals and memory -----------------------------------------------------------------------------------

    def _slot(self, name: str, kind: Kind) -> Any:
        """Return where a local is kept; its kind widens from integers to floats."""
        before = self._locals.setdefault(name, kind)
        if before != kind and before != "f":
            self._locals[name] = joined(before, kind)
            raise Again
        if name not in self._slots:
            self._slots[name] = ir.IRBuilder(self._entry).alloca(type_of(self._locals[name]), name=name)
        return self._slots[name]

    def _store(self, name: str, value: Any, kind: Kind) -> None:
        slot = self._slot(name, kind)
        self._b.store(self._as(value, kind, self._locals[name]), slot)

    def _place(self, node: ast.Subscript) -> tuple[Any, str]:
        """Return the address of an element of a memory, and its kind."""
        name = getattr(node.value, "id", "")
        at, kind = self._value(node.slice)
        if kind != "i" or name not in self._memory:
            raise NotFlat(f"{ast.unparse(node)} is no place")
        return self._b.gep(self._memory[name], [at]), name[1]

    def _as(self, value: Any, kind: Kind, wanted: Kind) -> Any:
        if kind == wanted:
            return value
        if kind == "i" and wanted == "f":
            return self._b.sitofp(value, F64)
        if isinstance(kind, tuple) and isinstance(wanted, tuple) and len(kind) == len(wanted):
            parts = [self._b.extract_value(value, index) for index in range(len(kind))]
            return self._tuple([self._as(*each) for each in zip(parts, kind, wanted, strict=True)], wanted)
        raise NotFlat(f"{kind} where {wanted} is wanted")

    def _tuple(self, values: Sequence[Any], kind: Kind) -> Any:
        made = ir.Constant(type_of(kind), ir.Undefined)
        for index, value in enumerate(values):
            made = self._b.insert_value(made, value, index)
        return made

    def _fail(self) -> None:
        """Set the trap."""
        self._b.store(ir.Constant(I64, FAILED), self._b.gep(self._memory["_i"], [ir.Constant(I64, TRAP)]))

    # -- expressions -----------------------------------------------------------------------------------------

    def _value(self, node: ast.expr) -> tuple[Any, Kind]:
        """Return an expression's value and kind."""
        handler = getattr(self, f"_{type(node).__name__}", None)
        if handler is None:
            raise NotFlat(f"{ast.unparse(node)} has no machine code")
        found: tuple[Any, Kind] = handler(node)
        return found

    def _integer(self, node: ast.expr) -> Any:
        value, kind = self._value(node)
        if kind != "i":
            raise NotFlat(f"{ast.unparse(node)} is no integer")
        return value

    def _condition(self, node: ast.expr) -> Any:
        """Return a truth as a bit."""
        if isinstance(node, ast.Compare):
            return self._compared(node)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return self._b.not_(self._condition(node.operand))
        if isinstance(node, ast.BoolOp):
            return self._short_cut(node.values, isinstance(node.op, ast.Or))
        return self._true(*self._value(node))

    def _true(self, value: Any, kind: Kind) -> Any:
        if kind == "f":
            return self._b.fcmp_unordered("!=", value, ir.Constant(F64, 0.0))
        return self._b.icmp_signed("!=", value, ir.Constant(I64, 0))

    def _short_cut(self, nodes: Sequence[ast.expr], decides: bool) -> Any:
        after = self._b.append_basic_block("decided")
        ways = []
        for node in nodes[:-1]:
            bit = self._condition(node)
            on = self._b.append_basic_block("next")
            ways.append((ir.Constant(I1, int(decides)), self._b.block))
            self._b.cbranch(bit, *((after, on) if decides else (on, after)))
            self._b.position_at_end(on)
        ways.append((self._condition(nodes[-1]), self._b.block))
        self._b.branch(after)
        return self._merged(after, ways, I1)

    def _merged(self, after: ir.Block, ways: Sequence[tuple[Any, ir.Block]], of: ir.Type) -> Any:
        self._b.position_at_end(after)
        phi = self._b.phi(of)
        for value, block in ways:
            phi.add_incoming(value, block)
        return phi

    def _bit(self, bit: Any) -> tuple[Any, Kind]:
        return self._b.zext(bit, I64), "i"

    def _Constant(self, node: ast.Constant) -> tuple[Any, Kind]:
        if isinstance(node.value, float):
            return ir.Constant(F64, node.value), "f"
        return ir.Constant(I64, int(node.value)), "i"  # type: ignore[arg-type]

    def _Name(self, node: ast.Name) -> tuple[Any, Kind]:
        if node.id in ("inf", "nan"):
            return ir.Constant(F64, float(node.id)), "f"
        if node.id not in self._locals:
            raise NotFlat(f"{node.id} is read before it is set in {self._name}")
        kind = self._locals[node.id]
        return self._b.load(self._slot(node.id, kind)), kind

    def _Tuple(self, node: ast.Tuple) -> tuple[Any, Kind]:
        parts = [self._value(each) for each in node.elts]
        kind = tuple(part[1] for part in parts)
        return self._tuple([part[0] for part in parts], kind), kind

    def _Subscript(self, node: ast.Subscript) -> tuple[Any, Kind]:
        if getattr(node.value, "id", "") in ("_i", "_f"):
            place, kind = self._place(node)
            return self._b.load(place), kind
        value, kind = self._value(node.value)
        index = ast.literal_eval(node.slice)
        return self._b.extract_value(value, index), kind[index]

    def _Compare(self, node: ast.Compare) -> tuple[Any, Kind]:
        return self._bit(self._compared(node))

    def _compared(self, node: ast.Compare) -> Any:
        values = [self._value(each) for each in (node.left, *node.comparators)]
        bit = None
        for (left, of), (right, of_right), sign in zip(values, values[1:], node.ops, strict=False):
            if of == of_right == "i":
                found = self._b.icmp_signed(SIGNS[type(sign)], left, right)
            else:
                left, right = self._as(left, of, "f"), self._as(right, of_right, "f")
                compare = self._b.fcmp_unordered if isinstance(sign, ast.NotEq) else self._b.fcmp_ordered
                found = compare(SIGNS[type(sign)], left, right)
            bit = found if bit is None else self._b.and_(bit, found)
        return bit

    def _BoolOp(self, node: ast.BoolOp) -> tuple[Any, Kind]:
        """The value that decides, as Python has it."""
        decides = isinstance(node.op, ast.Or)
        after = self._b.append_basic_block("decided")
        ways = []
        for each in node.values:
            value, kind = self._value(each)
            if kind != "i":
                raise NotFlat(f"{ast.unparse(node)} is no condition")
            ways.append((value, self._b.block))
            if each is node.values[-1]:
                self._b.branch(after)
            else:
                on = self._b.append_basic_block("next")
                self._b.cbranch(self._true(value, kind), *((after, on) if decides else (on, after)))
                self._b.position_at_end(on)
        return self._merged(after, ways, I64), "i"

    def _IfExp(self, node: ast.IfExp) -> tuple[Any, Kind]:
        then, other, after = (self._b.append_basic_block(name) for name in ("then", "other", "after"))
        self._b.cbranch(self._condition(node.test), then, other)
        found = []
        for block, each in ((then, node.body), (other, node.orelse)):
            self._b.position_at_end(block)
            value, kind = self._value(each)
            found.append((value, kind, self._b.block))
        kind = joined(found[0][1], found[1][1])
        ways = []
        for value, of, block in found:
            self._b.position_at_end(block)
            ways.append((self._as(value, of, kind), self._b.block))
            self._b.branch(after)
        return self._merged(after, ways, type_of(kind)), kind

    def _UnaryOp(self, node: ast.UnaryOp) -> tuple[Any, Kind]:
        if isinstance(node.op, ast.Not):
            return self._bit(self._condition(node))
        value, kind = self._value(node.operand)
        if isinstance(node.op, ast.USub):
            return (self._b.neg(value) if kind == "i" else self._b.fneg(value)), kind
        return (self._b.not_(value) if isinstance(node.op, ast.Invert) else value), kind

    def _BinOp(self, node: ast.BinOp) -> tuple[Any, Kind]:
        (left, kind), (right, other) = self._value(node.left), self._value(node.right)
        if isinstance(node.op, ast.Div):
            return self._divided(self._as(left, kind, "f"), self._as(right, other, "f"))
        if kind == other == "i":
            return self._of_integers(type(node.op), left, right), "i"
        left, right = self._as(left, kind, "f"), self._as(right, other, "f")
        b = self._b
        plain = {ast.Add: b.fadd, ast.Sub: b.fsub, ast.Mult: b.fmul}
        if type(node.op) in plain:
            return plain[type(node.op)](left, right), "f"
        if isinstance(node.op, ast.Mod):
            return self._remainder(left, right), "f"
        raise NotFlat(f"{ast.unparse(node)} has no machine code")

    def _divided(self, left: Any, right: Any) -> tuple[Any, Kind]:
        if not isinstance(right, ir.Constant):
            with self._b.if_then(self._b.fcmp_ordered("==", right, ir.Constant(F64, 0.0))):
                self._fail()
        return self._b.fdiv(left, right), "f"

    def _of_integers(self, sign: type[ast.operator], left: Any, right: Any) -> Any:
        b = self._b
        plain = {
            ast.Add: b.add, ast.Sub: b.sub, ast.Mult: b.mul, ast.BitAnd: b.and_, ast.BitOr: b.or_,
            ast.BitXor: b.xor, ast.LShift: b.shl, ast.RShift: b.ashr,
        }  # fmt: skip
        if sign in plain:
            return plain[sign](left, right)
        zero, unit = ir.Constant(I64, 0), ir.Constant(I64, 1)
        if not isinstance(right, ir.Constant):
            none = b.icmp_signed("==", right, zero)
            with b.if_then(none):
                self._fail()
            right = b.select(none, unit, right)
        quotient, rest = b.sdiv(left, right), b.srem(left, right)
        # towards minus infinity: a rest has the divisor's sign
        wrong = b.and_(b.icmp_signed("!=", rest, zero), b.icmp_signed("<", b.xor(rest, right), zero))
        if sign is ast.FloorDiv:
            return b.select(wrong, b.sub(quotient, unit), quotient)
        if sign is ast.Mod:
            return b.select(wrong, b.add(rest, right), rest)
        raise NotFlat(f"{sign.__name__} of integers")

    def _remainder(self, left: Any, right: Any) -> Any:
        """``%`` of floats: the divisor's sign, as Python's float_rem has it."""
        b, zero = self._b, ir.Constant(F64, 0.0)
        rest = self._c_call("fmod", [left, right])
        negative = b.fcmp_ordered("<", right, zero)
        wrong = b.xor(negative, b.fcmp_ordered("<", rest, zero))
        nothing = b.select(negative, ir.Constant(F64, -0.0), zero)
        return b.select(b.fcmp_ordered("==", rest, zero), nothing, b.select(wrong, b.fadd(rest, right), rest))

    # -- calls -----------------------------------------------------------------------------------------------

    def _Call(self, node: ast.Call) -> tuple[Any, Kind]:
        name = getattr(node.func, "id", "")
        memories = [each for each in node.args if getattr(each, "id", "") in ("_i", "_f")]
        values = [self._value(each) for each in node.args if each not in memories]
        if name in self._module.trees:
            function, kind = self._module.function(name, tuple(of for _value, of in values))
            handed = [self._memory[each.id] for each in memories]  # type: ignore[attr-defined]
            return self._b.call(function, handed + [value for value, _of in values]), kind
        if name.startswith(("_take_", "_give_")):
            base, place = values
            self._b.call(self._module.copier(name), [self._memory["_i"], base[0], place[0]])
            return None, None
        if name in CALLED:
            return self._c_call(name, [self._as(value, of, "f") for value, of in values]), "f"
        ((value, kind),) = values
        if name == "int":
            return (self._b.fptosi(value, I64) if kind == "f" else value), "i"
        if name == "float":
            return self._as(value, kind, "f"), "f"
        if name == "bool":
            return self._bit(self._true(value, kind))
        if name == "sqrt":
            return self._intrinsic("llvm.sqrt", self._as(value, kind, "f")), "f"
        if name == "abs" and kind == "f":
            return self._intrinsic("llvm.fabs", value), "f"
        if name == "abs":
            negative = self._b.icmp_signed("<", value, ir.Constant(I64, 0))
            return self._b.select(negative, self._b.neg(value), value), "i"
        raise NotFlat(f"{ast.unparse(node)} has no machine code")

    def _intrinsic(self, name: str, value: Any) -> Any:
        return self._b.call(self._into.declare_intrinsic(name, [F64]), [value])

    def _c_call(self, name: str, values: Sequence[Any]) -> Any:
        """Call a function of the C library, whose address is in the memory of integers."""
        place = self._b.gep(self._memory["_i"], [ir.Constant(I64, CALLED[name])])
        kind = ir.FunctionType(F64, [F64] * len(values))
        return self._b.call(self._b.inttoptr(self._b.load(place), kind.as_pointer()), values)
