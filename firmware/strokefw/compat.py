"""What MicroPython has built in and CPython lacks, so that one source runs on both.

`const`, the `micropython` decorators, and the pointer types that viper functions take (plain arrays on
CPython). A viper kernel behaves the same on both as long as every value stays within +-2**30, and every array
element it reads is not negative: on a 64-bit host a 32-bit load is not sign-extended.

The cost of names, in native code on the chip at 125 MHz: a local is free, a global takes 1 us, an attribute
or an element 2, a call 4 to 7, and a method found in its class 20; on a real chip more, for what does that
lies in the flash. So what runs in each tick is one kernel, which gets what it needs as one tuple, and what it
computes with lies in arrays that kernels read at a twentieth of a microsecond. Kernels that call each other
become one on the chip (the host's image/merge.py). Native code takes three times the memory of bytecode, so
what a tick does seldom is bytecode.
"""

import sys

IS_MICROPYTHON = sys.implementation.name == "micropython"

if IS_MICROPYTHON:
    import micropython

    const = micropython.const
    ptr32 = ptr16 = ptr8 = None  # names only: the compiler knows the types

    def halfwords(buffer):
        """Return what a kernel takes as ``ptr16`` to write into a bytearray: the bytearray."""
        return buffer

else:

    def const(value):
        """Return `value`; MicroPython folds it at compile time."""
        return value

    def ptr32(buffer):
        """Return the array itself, which CPython indexes as the chip indexes memory."""
        return buffer

    ptr16 = ptr8 = ptr32

    def halfwords(buffer):
        """Return a view of ``buffer`` (bytes in little endian order) as 16-bit numbers."""
        return memoryview(buffer).cast("H")

    class micropython:
        """Stand-ins for the decorators used in strokefw."""

        @staticmethod
        def viper(function):
            """Return `function` unchanged."""
            return function

        native = viper


def word(place):
    """Return a property for element ``place`` of an object's ``words``, for those who have time.

    Where there is none, the array itself is used: to store an attribute takes the chip 18 us, an element 3.
    """

    def get(self):
        return self.words[place]

    def put(self, value):
        self.words[place] = value

    return property(get, put)


def keep_bound(owner, *names):
    """Keep methods of an object in the object itself, where the chip finds them in 2 us instead of 20."""
    for name in names:
        setattr(owner, name, getattr(owner, name))


if sys.platform == "rp2":
    import gc

    def heap_free():
        """Collect garbage and return the bytes free on the heap."""
        gc.collect()
        return gc.mem_free()

else:

    def heap_free():
        """Return 0: away from the chip nobody needs to know."""
        return 0
