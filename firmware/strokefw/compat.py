"""What MicroPython has and CPython lacks, so that one source runs on both.

Under MicroPython the compiler itself resolves ``micropython.viper``, ``micropython.native``, ``const`` and the pointer
casts; under CPython they become plain functions which leave their argument alone.
"""

import sys

IS_MICROPYTHON = sys.implementation.name == "micropython"

if IS_MICROPYTHON:
    import micropython
    from micropython import const

    ptr8 = ptr16 = ptr32 = None  # never looked up: the viper compiler knows these words
else:

    def _same(value):
        return value

    class micropython:
        """Stand-in for the module of that name: the decorators leave a function as it is."""

        native = staticmethod(_same)
        viper = staticmethod(_same)

    const = _same
    ptr8 = ptr16 = ptr32 = _same
