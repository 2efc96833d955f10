"""How deep the stack has been, every interrupt included: what was never used still has the paint on it.

Looking costs the main loop a third of a millisecond, and only when asked. MicroPython itself checks the depth
at each call and raises an exception before the stack is full.
"""

import micropython
from micropython import const

from strokefw.pico import regs

_VECTORS = const(0xE000ED08)  # VTOR: where the vector table is, whose first word is the stack's top
_BYTES = const(8192)  # MicroPython's own for this chip; the heap ends below it
_LOWEST = const(64)
_MARGIN = const(256)  # left below the painter itself
_PAINT = const(0x2BADBEE5)


@micropython.viper
def _paint(bottom: ptr32, count: int):
    for i in range(count):
        bottom[i] = _PAINT


@micropython.viper
def _painted(bottom: ptr32, count: int) -> int:
    for i in range(count):
        if bottom[i] != _PAINT:
            return i
    return count


class Stack:
    """Paints what is free; ``deepest`` is then the most bytes ever in use."""

    def __init__(self):
        top = regs.peek(regs.peek(_VECTORS))
        self._bottom = top - _BYTES + _LOWEST
        self._words = (_BYTES - _LOWEST - micropython.stack_use() - _MARGIN) // 4
        _paint(self._bottom, self._words)

    def deepest(self):
        """Return it; not for the tick."""
        return _BYTES - _LOWEST - 4 * _painted(self._bottom, self._words)
