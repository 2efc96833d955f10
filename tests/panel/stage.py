"""Real processes for the panel's tests: the witnessed bench, the panel, and a proxy that can be cut."""

from __future__ import annotations

import queue
import re
import select
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import psutil

from tests.helpers.process import start
from tests.helpers.waiting import POLL_S
from tests.helpers.witnessed_bench import Witness


class PanelProcess:
    """``strokebench panel`` in its own process; ``lines`` is what it printed."""

    def __init__(self, folder: Path, *args: object, wait_for: int = 1, program: str = "") -> None:
        self.book = folder / "panel.book"
        command = ("panel", "--http-port", 0, "--book", self.book, *args)
        self.process = start(*command, cwd=folder, program=program)
        self.lines: list[str] = []
        self._end: tuple[int, str] | None = None
        self._coming: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        while not any("://" in line for line in self.lines) or len(self.lines) < wait_for:
            self.lines.append(self._coming.get(timeout=60))
        found = re.search(r"https?://[^:]+:(\d+)/", "\n".join(self.lines))
        assert found, self.lines
        self.number = int(found[1])
        self.url = f"http://127.0.0.1:{self.number}"
        if "--tls" not in args:  # one that is encrypted listens as soon as it has said so
            _until_it_answers(self.number)

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._coming.put(line.strip())

    def next_line(self) -> str:
        """Return the next printed line."""
        return self._coming.get(timeout=10)

    def end(self) -> tuple[int, str]:
        """End it politely; return exit code and standard error, the same when it has been ended before."""
        if self._end is not None:
            return self._end
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.process.kill()
        code = self.process.wait()
        self._reader.join(5)
        assert self.process.stderr is not None and self.process.stdout is not None
        with self.process.stderr, self.process.stdout:
            self._end = code, self.process.stderr.read()
        return self._end


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
                for sock in ready if not self.is_cut.is_set() else ():
                    try:
                        data = sock.recv(65536)
                        other[sock].sendall(data)
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
def panel_on_witness(
    folder: Path, *args: object, program: str = ""
) -> Iterator[tuple[Witness, PanelProcess]]:
    """Run both; end both."""
    witness = Witness(folder)
    try:
        panel = PanelProcess(folder, "--port", witness.port, *args, program=program)
        try:
            yield witness, panel
        finally:
            panel.end()
    finally:
        witness.close()


def processes_of(profile: Path) -> list[psutil.Process]:
    """The processes of the browser that was started on this profile folder, and their children."""
    found: dict[int, psutil.Process] = {}
    for process in psutil.Process().children(recursive=True):
        try:
            if f"--user-data-dir={profile}" in process.cmdline():
                found |= {alive.pid: alive for alive in (process, *process.children(recursive=True))}
        except psutil.Error:
            continue
    return list(found.values())
