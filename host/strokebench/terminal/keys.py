"""Single keys from a terminal without waiting for Enter, on POSIX and on Windows."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from strokebench.errors import UsageError

WINDOWS_KEYS = {"H": "\x1b[A", "P": "\x1b[B", "M": "\x1b[C", "K": "\x1b[D"}


@contextmanager
def keys() -> Iterator[Any]:
    """Give a function that returns the text of keys pressed since, "" when none; restores the terminal.

    Raises :class:`UsageError` when standard input is no terminal.  The function returns "\\x03" once the
    terminal is gone, which means to leave.
    """
    if not sys.stdin.isatty():
        raise UsageError(
            "jog needs a terminal to read keys from.", "Start it in one; for scripts use `strokebench run`."
        )
    if sys.platform == "win32":
        yield _pressed_on_windows
        return
    import select
    import termios
    import tty

    number = sys.stdin.fileno()
    before = termios.tcgetattr(number)

    def pressed() -> str:
        if not select.select([number], [], [], 0)[0]:
            return ""
        try:
            return os.read(number, 64).decode("utf-8", "replace") or "\x03"
        except OSError:
            return "\x03"

    try:
        tty.setcbreak(number)
        yield pressed
    finally:
        with suppress(termios.error):  # the terminal may be gone; then there is nothing to restore
            termios.tcsetattr(number, termios.TCSADRAIN, before)


def _pressed_on_windows() -> str:  # pragma: no cover - needs Windows
    import importlib

    msvcrt = importlib.import_module("msvcrt")
    text = ""
    while msvcrt.kbhit():
        key = msvcrt.getwch()
        text += WINDOWS_KEYS.get(msvcrt.getwch(), "?") if key in ("\x00", "\xe0") else key
    return text
