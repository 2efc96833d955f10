"""A stand-in for MicroPython's ``rp2.asm_pio`` under CPython: assembles the programs of pico/pio.py.

Encodings: RP2040 datasheet, chapter 3.4 (table 365 ff.). tests/chip compares the words with what
MicroPython's own assembler has put into the emulated chip's instruction memory.
"""

from __future__ import annotations

import importlib
import sys
import types
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

JUMPS = {"": 0, "not_x": 1, "x_dec": 2, "not_y": 3, "y_dec": 4, "x_not_y": 5, "pin": 6, "not_osre": 7}
SOURCES = {"pins": 0, "x": 1, "y": 2, "null": 3, "isr": 6, "osr": 7}
TARGETS = {"pins": 0, "x": 1, "y": 2, "null": 3, "pindirs": 4, "pc": 5, "isr": 6, "osr": 7}


@dataclass
class Program:
    """Opcodes, and what the state machine is set up with."""

    words: list[int] = field(default_factory=list)
    labels: dict[str, int] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)


class _Line:
    """One instruction; ``.side(v)`` and ``[delay]`` add their bits."""

    def __init__(self, program: Program, sides: int) -> None:
        self._program, self._sides = program, sides

    def side(self, value: int) -> _Line:
        self._program.words[-1] |= value << (13 - self._sides)
        return self

    def __getitem__(self, delay: int) -> _Line:
        assert delay < 1 << (5 - self._sides)
        self._program.words[-1] |= delay << 8
        return self


class _Assembler:
    def __init__(self, program: Program, labels: dict[str, int], sides: int) -> None:
        self._program, self._labels, self._sides = program, labels, sides

    def _put(self, word: int) -> _Line:
        self._program.words.append(word)
        return _Line(self._program, self._sides)

    def names(self) -> dict[str, Any]:
        """What the programs use as if it were global."""
        put = self._put
        words: dict[str, Any] = {
            name: name for name in (*JUMPS, *TARGETS, "gpio", "pin", "irq_", "clear") if name
        }
        words |= {
            "block": "block",
            "noblock": "noblock",
            "label": lambda name: self._program.labels.update({name: len(self._program.words)}),
            "jmp": self._jmp,
            "wait": lambda level, source, index: put(
                0x2000 | level << 7 | (2 if callable(source) else {"gpio": 0, "pin": 1}[source]) << 5 | index
            ),
            "in_": lambda source, bits: put(0x4000 | SOURCES[source] << 5 | bits & 31),
            "out": lambda target, bits: put(0x6000 | TARGETS[target] << 5 | bits & 31),
            "push": lambda how: put(0x8000 | (how == "block") << 5),
            "pull": lambda how: put(0x8080 | (how == "block") << 5),
            "mov": lambda target, source: put(0xA000 | TARGETS[target] << 5 | SOURCES[source]),
            "irq": lambda how, index: put(0xC000 | (how == "clear") << 6 | index),
            "set": lambda target, value: put(0xE000 | TARGETS[target] << 5 | value),
            "nop": lambda: put(0xA042),
        }
        return words

    def _jmp(self, condition: str, target: str | None = None) -> _Line:
        if target is None:
            condition, target = "", condition
        return self._put(JUMPS[condition] << 5 | self._labels.get(target, 0))


def asm_pio(**settings: Any) -> Callable[[Callable[[], None]], Program]:
    """The decorator: two passes, the first for the labels."""
    sides = settings.get("sideset_init", ())
    count = len(sides) if isinstance(sides, tuple) else 1

    def assemble(function: Callable[[], None]) -> Program:
        labels: dict[str, int] = {}
        program = Program()
        for _ in range(2):
            program = Program(settings=settings)
            scope = function.__globals__
            before = dict(scope)
            scope.update(_Assembler(program, labels, count).names())
            try:
                function()
            finally:
                scope.clear()
                scope.update(before)
            labels = program.labels
        return program

    return assemble


def programs() -> types.ModuleType:
    """The module strokefw.pico.pio, assembled here."""
    fake: Any = types.ModuleType("rp2")
    fake.asm_pio = asm_pio
    fake.PIO = types.SimpleNamespace(OUT_LOW=2, OUT_HIGH=3, SHIFT_LEFT=0, SHIFT_RIGHT=1)
    previous = sys.modules.get("rp2")
    sys.modules["rp2"] = fake
    try:
        sys.modules.pop("strokefw.pico.pio", None)
        return importlib.import_module("strokefw.pico.pio")
    finally:
        sys.modules.pop("strokefw.pico.pio", None)
        if previous is None:
            del sys.modules["rp2"]
        else:
            sys.modules["rp2"] = previous
