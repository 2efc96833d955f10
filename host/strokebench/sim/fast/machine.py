"""Machine code for a flat module (:mod:`strokebench.sim.fast.flatten`), through LLVM.

Numbers are 64-bit integers or doubles. Every operation gives what Python gives: floor division, the sign of a
remainder, no fused or reordered sums (no fast-math flags), and exp, sin and their like from the C library
that Python's own ``math`` calls. What Python answers with an exception (a division by zero) sets the trap.
"""

from __future__ import annotations

import ast
from collections.abc import Sequence
from typing import Any

from llvmlite import ir

from strokebench.sim.fast.memory import TRAP
from strokebench.sim.fast.operations import FAILED, I64, TYPES, Again, Kind, Operations, joined, type_of
from strokebench.sim.fast.values import NotFlat


class Module:
    """Functions of a flat module's ``text``, made when somebody calls them."""

    def __init__(self, text: str) -> None:
        tree = ast.parse(text)
        self.trees = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
        self.ir = ir.Module("bench")
        self._made: dict[tuple[str, tuple[Kind, ...]], tuple[ir.Function, Kind]] = {}
        self._copiers: dict[str, ir.Function] = {}

    def function(
        self, name: str, kinds: tuple[Kind, ...], linkage: str = "internal"
    ) -> tuple[ir.Function, Kind]:
        """Return the function for arguments of these kinds (beside the two memories), and what it returns."""
        key = name, kinds
        if key not in self._made:
            locals_: dict[str, Kind] = {}
            returned: list[Kind] = []
            while True:  # until the kinds of all locals are known; the last round's code is kept
                trial = ir.Module("trial")
                maker = _Maker(self, self.trees[name], kinds, locals_, returned, trial)
                try:
                    maker.make(f"{name}.{len(self._made)}")
                    break
                except Again:
                    continue
            result = returned[0] if returned else None
            maker = _Maker(self, self.trees[name], kinds, locals_, returned, self.ir)
            function = maker.make(name if linkage == "external" else f"{name}.{len(self._made)}")
            function.linkage = linkage if linkage == "internal" else ""
            self._made[key] = function, result
        return self._made[key]

    def copier(self, name: str) -> ir.Function:
        """Return the function ``_take_X`` or ``_give_X`` that copies an array of type code X.

        It gets the array's first place in the memory of integers, and the place of its address and length.
        """
        if name not in self._copiers:
            self._copiers[name] = _copier(self.ir, name)
        return self._copiers[name]


def _copier(module: ir.Module, name: str) -> ir.Function:
    bits, signed = {"i": (32, True), "H": (16, False), "B": (8, False)}[name[-1]]
    small = ir.IntType(bits)
    function = ir.Function(module, ir.FunctionType(ir.VoidType(), [I64.as_pointer(), I64, I64]), name)
    function.linkage = "internal"
    memory, base, place = function.args
    b = ir.IRBuilder(function.append_basic_block())
    array = b.inttoptr(b.load(b.gep(memory, [place])), small.as_pointer())
    count = b.load(b.gep(memory, [b.add(place, ir.Constant(I64, 1))]))
    begin, head, body, after = b.block, *(function.append_basic_block() for _ in range(3))
    b.branch(head)
    b.position_at_end(head)
    at, bad = b.phi(I64), b.phi(I64)
    at.add_incoming(ir.Constant(I64, 0), begin)
    bad.add_incoming(ir.Constant(I64, 0), begin)
    b.cbranch(b.icmp_signed("<", at, count), body, after)
    b.position_at_end(body)
    here, there = b.gep(memory, [b.add(base, at)]), b.gep(array, [at])
    widen = b.sext if signed else b.zext
    if name.startswith("_take_"):
        b.store(widen(b.load(there), I64), here)
        bad.add_incoming(bad, body)
    else:
        value = b.load(here)
        kept = b.trunc(value, small)
        b.store(kept, there)
        bad.add_incoming(b.or_(bad, b.xor(widen(kept, I64), value)), body)
    at.add_incoming(b.add(at, ir.Constant(I64, 1)), body)
    b.branch(head)
    b.position_at_end(after)
    with b.if_then(b.icmp_signed("!=", bad, ir.Constant(I64, 0))):
        b.store(ir.Constant(I64, FAILED), b.gep(memory, [ir.Constant(I64, TRAP)]))
    b.ret_void()
    return function


class _Maker(Operations):
    """Makes one function."""

    def __init__(
        self, module: Module, tree: ast.FunctionDef, kinds: Sequence[Kind], locals_: dict[str, Kind],
        returned: list[Kind], into: ir.Module,
    ) -> None:  # fmt: skip
        super().__init__(module, tree.name, into, locals_)
        self._tree, self._returned = tree, returned
        self._parameters = [each.arg for each in tree.args.args]
        self._kinds = kinds
        self._loops: list[tuple[ir.Block, ir.Block]] = []

    def make(self, name: str) -> ir.Function:
        """Return the function."""
        memories = [each for each in self._parameters if each in ("_i", "_f")]
        handed = [each for each in self._parameters if each not in ("_i", "_f")]
        result = self._returned[0] if self._returned else None
        types = [TYPES[each[1]].as_pointer() for each in memories] + [type_of(each) for each in self._kinds]
        function = ir.Function(self._into, ir.FunctionType(type_of(result), types), name)
        body = self._start(function)
        self._memory = dict(zip(memories, function.args, strict=False))
        for argument in function.args[: len(memories)]:
            argument.add_attribute("noalias")
        for parameter, kind, argument in zip(
            handed, self._kinds, function.args[len(memories) :], strict=True
        ):
            self._store(parameter, argument, kind)
        self._statements(self._tree.body)
        if not self._b.block.is_terminated:
            self._return(None, None)
        ir.IRBuilder(self._entry).branch(body)
        return function

    # -- statements ------------------------------------------------------------------------------------------

    def _statements(self, statements: Sequence[ast.stmt]) -> None:
        for statement in statements:
            if self._b.block.is_terminated:
                return
            getattr(self, f"_{type(statement).__name__}")(statement)

    def _Pass(self, node: ast.Pass) -> None:
        pass

    def _Expr(self, node: ast.Expr) -> None:
        self._value(node.value)

    def _Raise(self, node: ast.Raise) -> None:
        self._fail()
        result = self._returned[0] if self._returned else None
        if result is None:
            self._b.ret_void()
        else:
            self._b.ret(ir.Constant(type_of(result), None))

    def _Return(self, node: ast.Return) -> None:
        if node.value is None:
            self._return(None, None)
        else:
            self._return(*self._value(node.value))

    def _return(self, value: Any, kind: Kind) -> None:
        if not self._returned:
            self._returned.append(kind)
        wanted = joined(self._returned[0], kind)
        if wanted != self._returned[0]:
            self._returned[0] = wanted
            raise Again
        if wanted is None:
            self._b.ret_void()
        elif kind is None:  # it ends without a value, which nobody then looks at
            self._b.ret(ir.Constant(type_of(wanted), None))
        else:
            self._b.ret(self._as(value, kind, wanted))

    def _Assign(self, node: ast.Assign) -> None:
        value, kind = self._value(node.value)
        (target,) = node.targets
        self._assign(target, value, kind)

    def _assign(self, target: ast.expr, value: Any, kind: Kind) -> None:
        if isinstance(target, ast.Name):
            self._store(target.id, value, kind)
        elif isinstance(target, ast.Tuple):
            if not isinstance(kind, tuple) or len(kind) != len(target.elts):
                raise NotFlat(f"{ast.unparse(target)} gets {kind}")
            parts = [self._b.extract_value(value, index) for index in range(len(kind))]
            for each, part, of in zip(target.elts, parts, kind, strict=True):
                self._assign(each, part, of)
        elif isinstance(target, ast.Subscript):
            place, wanted = self._place(target)
            self._b.store(self._as(value, kind, wanted), place)
        else:
            raise NotFlat(f"{ast.unparse(target)} is no target")

    def _AugAssign(self, node: ast.AugAssign) -> None:
        self._assign(node.target, *self._value(ast.BinOp(node.target, node.op, node.value)))

    def _If(self, node: ast.If) -> None:
        then, after = self._b.append_basic_block("then"), self._b.append_basic_block("after")
        other = self._b.append_basic_block("other") if node.orelse else after
        self._b.cbranch(self._condition(node.test), then, other)
        for block, statements in ((then, node.body), (other, node.orelse)):
            if statements:
                self._b.position_at_end(block)
                self._statements(statements)
                if not self._b.block.is_terminated:
                    self._b.branch(after)
        self._b.position_at_end(after)
        if _dead(after, self._b.function):
            self._b.unreachable()

    def _While(self, node: ast.While) -> None:
        head, body, after = (self._b.append_basic_block(name) for name in ("head", "loop", "after"))
        self._b.branch(head)
        self._b.position_at_end(head)
        self._b.cbranch(self._condition(node.test), body, after)
        self._loop(node.body, body, head, after, head)

    def _loop(
        self, statements: Sequence[ast.stmt], body: ir.Block, again: ir.Block, after: ir.Block, on: ir.Block
    ) -> None:
        self._loops.append((on, after))
        self._b.position_at_end(body)
        self._statements(statements)
        if not self._b.block.is_terminated:
            self._b.branch(on)
        self._loops.pop()
        self._b.position_at_end(after)

    def _For(self, node: ast.For) -> None:
        assert isinstance(node.target, ast.Name) and isinstance(node.iter, ast.Call)
        bounds = [self._integer(each) for each in node.iter.args]
        first, last = (ir.Constant(I64, 0), bounds[0]) if len(bounds) == 1 else bounds[:2]
        if len(bounds) > 2:
            raise NotFlat("a range with steps")
        counter = ir.IRBuilder(self._entry).alloca(I64)
        self._b.store(first, counter)
        head, body, on, after = (self._b.append_basic_block(name) for name in ("head", "loop", "on", "after"))
        self._b.branch(head)
        self._b.position_at_end(head)
        at = self._b.load(counter)
        self._b.cbranch(self._b.icmp_signed("<", at, last), body, after)
        self._b.position_at_end(on)
        self._b.store(self._b.add(self._b.load(counter), ir.Constant(I64, 1)), counter)
        self._b.branch(head)
        self._b.position_at_end(body)
        self._store(node.target.id, at, "i")
        self._loop(node.body, self._b.block, head, after, on)

    def _Break(self, node: ast.Break) -> None:
        self._b.branch(self._loops[-1][1])

    def _Continue(self, node: ast.Continue) -> None:
        self._b.branch(self._loops[-1][0])


def _dead(block: ir.Block, function: ir.Function) -> bool:
    """Return whether no branch leads to a block."""
    return not any(
        block in getattr(each.terminator, "operands", ()) for each in function.blocks if each.is_terminated
    )
