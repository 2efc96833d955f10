"""Firmware of the strokebench driver; runs under MicroPython and CPython alike."""

VERSION = (0, 1, 0)
