"""The line that shows a run while it goes on. It may freeze or die: the run does not wait for it.

A terminal can hold up whoever writes to it (Ctrl-S, a selected console window, a link that broke). So all
drawing is done by a thread of its own, and what the terminal does not take at once is dropped. The loop that
talks to the bench only leaves the newest reading for that thread.
"""

from __future__ import annotations

import contextlib
import io
import math
import os
import sys
import threading
from dataclasses import dataclass
from types import TracebackType
from typing import TYPE_CHECKING, TextIO, cast

from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn

from strokebench.terminal.console import console
from strokebench.terminal.display import position_percent

if TYPE_CHECKING:
    from strokebench.bench.run import Run
    from strokebench.data.samples import Samples
    from strokebench.parts.profile import Profile

EVERY_S = 0.1
PATIENCE_S = 0.5
"""How long the end of a run waits for the last drawing."""


@dataclass(frozen=True)
class Reading:
    """What the line shows: seconds done, the segment's name, drive and current and position as text."""

    done_s: float
    label: str
    text: str


class LiveView:
    """Progress with drive, current and position on standard error; silent when that is not a terminal."""

    def __init__(
        self, profile: Profile, duration_s: float, quiet: bool = False, simulated: bool = False
    ) -> None:
        self._profile = profile
        self._duration_s = duration_s
        self._mark = "SIMULATED " if simulated else ""
        self._newest: Reading | None = None
        self._over = threading.Event()
        self._file = None if quiet else _own_file()
        # A daemon: a program must be able to end while its console (on Windows) is frozen.
        self._thread = threading.Thread(target=self._draw, name="live view", daemon=True)

    def update(self, run: Run, chunk: Samples) -> None:
        """Show the last row of ``chunk``; made to be handed to :func:`strokebench.session.record`."""
        last = chunk[-1]
        position = position_percent(self._profile, float(last["sensor_a_v"]))
        where = "" if math.isnan(position) else f" {position:4.0f} %"
        text = f"{self._mark}drive {last['drive']:+.2f} {last['current_a']:+6.2f} A{where}"
        self._newest = Reading(float(last["time_s"]), run.label[:14], text)

    def _draw(self) -> None:
        if self._file is None:
            return
        progress = Progress(
            TextColumn("{task.description:<14}"),
            BarColumn(bar_width=None),
            TaskProgressColumn(),
            TextColumn("{task.fields[live]}"),
            console=console(file=self._file),
            transient=True,
            auto_refresh=False,
        )
        task = progress.add_task("starting", total=self._duration_s, live="")
        with contextlib.suppress(OSError, ValueError), progress:  # the terminal is gone: nobody looks
            while not self._over.wait(EVERY_S):
                now = self._newest
                if now is not None:
                    progress.update(task, completed=now.done_s, description=now.label, live=now.text)
                progress.refresh()

    def __enter__(self) -> LiveView:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join(PATIENCE_S)
        if self._file is not None and not self._thread.is_alive():
            self._file.close()


class _Screen(io.TextIOBase):
    """The terminal behind standard error, opened once more: what it does not take at once is dropped.

    Opened anew, because "do not wait" is then a matter of this opening only, not of the shell's.
    """

    encoding = "utf-8"

    def __init__(self, name: str) -> None:
        self._number = os.open(name, os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)

    def write(self, text: str) -> int:
        """Write what the terminal takes; return the length of all of ``text``."""
        with contextlib.suppress(OSError):  # full, or gone
            os.write(self._number, text.encode(errors="replace"))
        return len(text)

    def fileno(self) -> int:
        """Return the number of the open file."""
        return self._number

    def isatty(self) -> bool:
        """Return True."""
        return True

    def close(self) -> None:
        """Close the file; may be called twice."""
        if not self.closed:
            os.close(self._number)
        super().close()


def _own_file() -> TextIO | None:
    """Return a file of our own on the terminal behind standard error; None when there is no terminal."""
    try:
        if not sys.stderr.isatty():
            return None
        if sys.platform == "win32":  # a console cannot be told not to wait; the thread is a daemon
            return os.fdopen(os.dup(sys.stderr.fileno()), "w", encoding="utf-8", errors="replace")
        return cast("TextIO", _Screen(os.ttyname(sys.stderr.fileno())))
    except (OSError, ValueError):
        return None
