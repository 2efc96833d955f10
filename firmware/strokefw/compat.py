"""What MicroPython has built in and CPython lacks, so that one source runs on both.

`const`, the `micropython` decorators, and the pointer types that viper functions take (plain arrays on
CPython). A viper kernel behaves the same on both as long as every value stays within +-2**30, and every array
element it reads is not negative: on a 64-bit host a 32-bit load is not sign-extended.
"""

import sys

IS_MICROPYTHON = sys.implementation.name == "micropython"

if IS_MICROPYTHON:
    import micropython

    const = micropython.const
    ptr32 = ptr16 = ptr8 = None  # names only: the compiler knows the types
else:

    def const(value):
        """Return `value`; MicroPython folds it at compile time."""
        return value

    def ptr32(buffer):
        """Return the array itself, which CPython indexes as the chip indexes memory."""
        return buffer

    ptr16 = ptr8 = ptr32

    class micropython:
        """Stand-ins for the decorators used in strokefw."""

        @staticmethod
        def viper(function):
            """Return `function` unchanged."""
            return function

        native = viper
