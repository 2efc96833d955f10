"""Real processes for the panel's tests: the witnessed bench, the panel, and a proxy that can be cut."""

from __future__ import annotations

import json
import queue
import re
import select
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import psutil

from tests.helpers.process import ROOT, environment, start

POLL_S = 0.02
"""Between two looks at something that is waited for."""


class Witness:
    """The bench process seen from the test."""

    def __init__(self, folder: Path) -> None:
        self.log = folder / "bridge.jsonl"
        program = Path(__file__).with_name("witness.py")
        command = [sys.executable, str(program), str(self.log)]
        pipes: dict[str, Any] = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        self.process = subprocess.Popen(command, env=environment(), cwd=ROOT, **pipes)
        assert self.process.stdout is not None
        self.port = self.process.stdout.readline().strip()
        assert self.port, "the witnessed bench did not start"

    def changes(self) -> list[dict[str, Any]]:
        """Return what the bridge did so far."""
        return [json.loads(line) for line in self.log.read_text(encoding="utf-8").splitlines()]

    @property
    def driven(self) -> bool:
        """True while the bridge drives the part."""
        seen = self.changes()
        return bool(seen) and bool(seen[-1]["driven"])

    def off_after(self, since_s: float, limit_s: float = 5.0) -> float:
        """Return the seconds from ``since_s`` until the bridge was off for good."""
        deadline_s = time.time() + limit_s
        while self.driven:
            assert time.time() < deadline_s, "the bridge stayed on"
            time.sleep(POLL_S)
        time.sleep(0.1)  # a time is what is looked at: for good, not for a moment
        assert not self.driven, "the bridge went on again"
        return float(self.changes()[-1]["time_s"]) - since_s

    def emergency(self, opened: bool) -> None:
        """Open or close the emergency line; return when the firmware has seen it."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(f"estop {int(opened)}\n")
        self.process.stdin.flush()
        assert self.process.stdout.readline() == f"estop {int(opened)} seen\n"

    def close(self) -> None:
        self.process.kill()
        self.process.communicate()


class PanelProcess:
    """``strokebench panel`` in its own process; ``lines`` is what it printed."""

    def __init__(self, folder: Path, *args: object, wait_for: int = 1) -> None:
        self.book = folder / "panel.book"
        self.process = start("panel", "--http-port", 0, "--book", self.book, *args, cwd=folder)
        self.lines: list[str] = []
        self._coming: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        while not any("http://" in line for line in self.lines) or len(self.lines) < wait_for:
            self.lines.append(self._coming.get(timeout=60))
        found = re.search(r"http://[^:]+:(\d+)/", "\n".join(self.lines))
        assert found, self.lines
        self.number = int(found[1])
        self.url = f"http://127.0.0.1:{self.number}"
        _until_it_answers(self.number)

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._coming.put(line.strip())

    def next_line(self) -> str:
        """Return the next printed line."""
        return self._coming.get(timeout=10)

    def end(self) -> tuple[int, str]:
        """End it politely; return exit code and standard error."""
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
        code = self.process.wait()
        self._reader.join(5)
        assert self.process.stderr is not None and self.process.stdout is not None
        with self.process.stderr, self.process.stdout:
            return code, self.process.stderr.read()


def _until_it_answers(port: int) -> None:
    deadline_s = time.monotonic() + 60
    while True:
        try:
            with closing(socket.create_connection(("127.0.0.1", port), 1)) as sock:
                sock.sendall(
                    f"GET /load HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode()
                )
                if sock.recv(12):
                    return
        except OSError:
            pass
        assert time.monotonic() < deadline_s, "the panel does not answer"
        time.sleep(POLL_S)


class CutProxy:
    """Passes TCP on to ``port`` until ``cut``; from then on nothing passes and nobody is told."""

    def __init__(self, port: int) -> None:
        self._to = port
        self.is_cut = threading.Event()
        self._ended = threading.Event()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._server.getsockname()[1])
        self._lines: list[threading.Thread] = []
        self._accepting = threading.Thread(target=self._accept, daemon=True)
        self._accepting.start()

    def _accept(self) -> None:
        self._server.settimeout(0.1)
        while not self._ended.is_set():
            try:
                near, _ = self._server.accept()
            except TimeoutError:
                continue
            line = threading.Thread(target=self._serve, args=(near,), daemon=True)
            line.start()
            self._lines.append(line)

    def _serve(self, near: socket.socket) -> None:
        """Pass on both ways until one end is through or the proxy ends; both sockets are closed then."""
        with near, socket.create_connection(("127.0.0.1", self._to)) as far:
            other = {near: far, far: near}
            while not self._ended.is_set():
                ready, _, _ = select.select([near, far], [], [], 0.05)
                for one in ready if not self.is_cut.is_set() else ():
                    try:
                        data = one.recv(65536)
                        other[one].sendall(data)
                    except OSError:
                        return
                    if not data:
                        return
                if self.is_cut.is_set():
                    time.sleep(POLL_S)

    def cut(self) -> float:
        """Cut; return when (seconds of the computer's clock)."""
        self.is_cut.set()
        return time.time()

    def close(self) -> None:
        """End all lines."""
        self._ended.set()
        for thread in (self._accepting, *self._lines):
            thread.join(5)
        self._server.close()


@contextmanager
def panel_on_witness(folder: Path, *args: object) -> Iterator[tuple[Witness, PanelProcess]]:
    """Run both; end both."""
    witness = Witness(folder)
    try:
        panel = PanelProcess(folder, "--port", witness.port, *args)
        try:
            yield witness, panel
        finally:
            panel.end()
    finally:
        witness.close()


def comes_true(true: Callable[[], bool], limit_s: float = 10.0) -> bool:
    """Return True as soon as ``true()``, False when that takes longer than ``limit_s``."""
    deadline_s = time.monotonic() + limit_s
    while not true():
        if time.monotonic() > deadline_s:
            return False
        time.sleep(POLL_S)
    return True


def wait_until(true: Callable[[], bool], what: str, limit_s: float = 10.0) -> None:
    """Return when ``true()``; AssertionError with ``what`` when that takes too long."""
    assert comes_true(true, limit_s), what


def processes_of(profile: Path) -> list[psutil.Process]:
    """The processes of the browser that was started on this profile folder, and their children."""
    found: dict[int, psutil.Process] = {}
    for process in psutil.Process().children(recursive=True):
        try:
            if f"--user-data-dir={profile}" in process.cmdline():
                found |= {one.pid: one for one in (process, *process.children(recursive=True))}
        except psutil.Error:
            continue
    return list(found.values())
