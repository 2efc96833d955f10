"""Somebody at a real pseudo terminal of 80 columns."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.helpers.process import environment

pty = pytest.importorskip("pty", reason="no pseudo terminals on this system")


class Person:
    """Somebody at a terminal of 80 columns."""

    def __init__(self, number: int, process: subprocess.Popen[bytes]) -> None:
        self.number, self.process, self.seen = number, process, ""

    def type(self, text: str) -> None:
        os.write(self.number, text.encode())

    def read(self, for_s: float) -> str:
        """Read for a while; return what came."""
        import select

        begin, end_s = len(self.seen), time.monotonic() + for_s
        while (left_s := end_s - time.monotonic()) > 0:
            if select.select([self.number], [], [], left_s)[0]:
                try:
                    self.seen += os.read(self.number, 4096).decode("utf-8", "replace")
                except OSError:
                    break
        return self.seen[begin:]

    def rest(self) -> str:
        """Read until the terminal ends with its process; return what came."""
        return self.read(10.0)

    def until(self, pattern: str, timeout_s: float = 40.0) -> str:
        """Read until ``pattern`` shows; AssertionError with the screen when it does not."""
        begin, end_s = len(self.seen), time.monotonic() + timeout_s
        while not re.search(pattern, self.seen[begin:]):
            assert time.monotonic() < end_s, self.seen[-2000:]
            self.read(0.1)
        return self.seen[begin:]


@contextmanager
def person(*args: str, cwd: Path, **more: str) -> Iterator[Person]:
    import fcntl
    import struct
    import termios

    mine, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    env = {key: value for key, value in environment().items() if key != "COLUMNS"} | more
    command = [sys.executable, "-m", "strokebench", *args]

    def own_terminal() -> None:
        """Without a controlling terminal Ctrl-C would be no signal."""
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    process = subprocess.Popen(
        command, cwd=cwd, env=env, stdin=theirs, stdout=theirs, stderr=theirs,
        start_new_session=True, preexec_fn=own_terminal,
    )  # fmt: skip
    os.close(theirs)
    try:
        yield Person(mine, process)
    finally:
        process.kill()
        process.wait()
        os.close(mine)
