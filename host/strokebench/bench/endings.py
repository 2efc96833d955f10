"""The signals that end a program in good order."""

from __future__ import annotations

import signal


def endings() -> list[int]:
    """Return the signals that end a program in good order on this system.

    Beside Ctrl-C and SIGTERM that is SIGHUP where there is one (the terminal or the ssh session is gone), and
    on Windows SIGBREAK (Ctrl-Break, or the console is closed).
    """
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    return [getattr(signal, name) for name in names if hasattr(signal, name)]
