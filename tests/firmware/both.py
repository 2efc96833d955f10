"""Runs firmware tests under MicroPython: `micropython both.py FIRMWARE_DIR TESTS_DIR MODULE...`.

A test file that both interpreters run holds plain `test_*` functions without arguments, and no pytest. This
driver imports it and calls them all; pytest finds the same functions by itself.
"""

import sys


def run(module_name):
    """Run every test of a module; return (how many ran, how many failed)."""
    module = __import__(module_name)
    names = sorted([name for name in dir(module) if name.startswith("test_")])
    failed = 0
    for name in names:
        try:
            getattr(module, name)()
        except Exception as error:  # any failure is a failed test
            failed += 1
            print("FAILED", module_name, name)
            sys.print_exception(error)
    return len(names), failed


if __name__ == "__main__":
    sys.path[:0] = sys.argv[1:3]
    ran = bad = 0
    for item in sys.argv[3:]:
        count, wrong = run(item)
        ran += count
        bad += wrong
    print("ran", ran, "failed", bad)
    sys.exit(1 if bad else 0)
