"""Which program of this computer has a port, and a way for another to ask it to stop.

Whoever opens a serial port leaves a note with its process number in a folder of this user. Another program
asks by putting a second file beside it; the holder looks for that every 50 ms, acts, and takes it away as its
answer. Files work the same on Linux, macOS and Windows, survive nothing (a holder that is gone is
recognised), and open no port to the network.
"""

from __future__ import annotations

import contextlib
import getpass
import hashlib
import json
import os
import stat
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

EVERY_S = 0.05
ANSWER_S = 3.0
"""So long is waited for the holder's answer; a loaded computer may be late."""
NOTE, ASKED = ".holder", ".stop"


def folder() -> Path | None:
    """Return the folder of the notes, made when missing; None when it is not this user's alone."""
    with contextlib.suppress(OSError, KeyError):
        path = Path(tempfile.gettempdir()) / f"strokebench-{getpass.getuser()}"
        path.mkdir(mode=0o700, exist_ok=True)
        if os.name == "nt":
            return path
        about = path.lstat()
        private = about.st_uid == os.getuid() and not about.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
        if stat.S_ISDIR(about.st_mode) and private:
            return path
    return None


def note_of(port: str) -> Path | None:
    """Return where the note about ``port`` is or would be; a link to a device counts as the device."""
    where = folder()
    name = port if "://" in port else os.path.realpath(port)
    return None if where is None else where / (hashlib.sha256(name.encode()).hexdigest()[:16] + NOTE)


class Holder:
    """A note that this process has ``port``; ``stop`` is called, in a thread of its own, when asked for."""

    def __init__(self, port: str, stop: Callable[[], object]) -> None:
        self._note = note_of(port)
        self._stop = stop
        self._over = threading.Event()
        if self._note is None:
            return
        self._asked = self._note.with_suffix(ASKED)
        with contextlib.suppress(OSError):
            self._asked.unlink(missing_ok=True)  # meant for a holder before this one
            self._note.write_text(json.dumps({"pid": os.getpid(), "port": port}), encoding="utf-8")
        threading.Thread(target=self._listen, name="stop requests", daemon=True).start()

    def _listen(self) -> None:
        while not self._over.wait(EVERY_S):
            if self._asked.exists():
                self._stop()
                with contextlib.suppress(OSError):
                    self._asked.unlink(missing_ok=True)

    def close(self) -> None:
        """Take the note away; may be called twice."""
        if self._over.is_set() or self._note is None:
            return
        self._over.set()
        with contextlib.suppress(OSError):
            if pid_of(self._note) == os.getpid():
                self._note.unlink(missing_ok=True)


def pid_of(note: Path) -> int:
    """Return the process in a note, 0 when there is none."""
    try:
        return int(json.loads(note.read_text(encoding="utf-8"))["pid"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0


def ask_to_stop(port: str) -> int:
    """Ask whoever has ``port`` to stop; return its process number once it has answered, else 0."""
    note = note_of(port)
    pid = pid_of(note) if note is not None else 0
    if note is None or not pid:
        return 0
    asked = note.with_suffix(ASKED)
    try:
        asked.touch()
    except OSError:
        return 0
    deadline_s = time.monotonic() + ANSWER_S
    while time.monotonic() < deadline_s:
        if not asked.exists():
            return pid
        time.sleep(EVERY_S / 2)
    with contextlib.suppress(OSError):
        asked.unlink(missing_ok=True)  # nobody is there; the next holder must not find it
    return 0
