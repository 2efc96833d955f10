"""A simulated bench in real time behind a device name or socket, to be used like a real one.

:func:`serve_pty` offers a pseudo terminal (not on Windows), :func:`serve_tcp` a local socket that pyserial
opens as ``socket://127.0.0.1:PORT``.  Both run until SIGTERM, Ctrl-C or ``stop()``; clients may come and go.
"""

from __future__ import annotations

import contextlib
import os
import select
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from typing import Protocol

from strokebench.bench.spec import SimSpec
from strokebench.data.samples import TICK_S
from strokebench.errors import UsageError
from strokebench.link.port import Port

BEAT_S = 0.002
BEHIND_S = 0.25
"""When the machine sleeps or is overloaded, the bench does not hurry after more than this."""
HELD_BYTES = 32_768
"""So much is kept for a client that reads late; when more comes, all is dropped and it sees a gap."""


class Line(Protocol):
    """The client's side of the bytes: never blocks, loses what nobody takes."""

    name: str

    def receive(self, wait_s: float) -> bytes: ...

    def send(self, data: bytes) -> None: ...

    def close(self) -> None: ...


class PtyLine:
    """A pseudo terminal; we keep the client's side open too, so that a client leaving ends nothing."""

    def __init__(self) -> None:
        if sys.platform == "win32":
            raise UsageError(
                "There are no pseudo terminals on Windows.", "Use `strokebench sim --tcp` instead."
            )
        import pty
        import tty

        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.name = os.ttyname(self._slave)
        self._held = bytearray()

    def receive(self, wait_s: float) -> bytes:
        """Return what the client sent, waiting up to ``wait_s``."""
        if not select.select([self._master], [], [], wait_s)[0]:
            return b""
        try:
            return os.read(self._master, 65536)
        except BlockingIOError:
            return b""

    def send(self, data: bytes) -> None:
        """Pass ``data`` on, after what is still held."""
        _hold(self._held, data)
        with contextlib.suppress(BlockingIOError):
            while self._held:
                del self._held[: os.write(self._master, self._held)]

    def close(self) -> None:
        """Take the device away: a client still there sees it vanish."""
        os.close(self._master)
        os.close(self._slave)


class TcpLine:
    """A listening socket on this machine with one client at a time; a second one is turned away."""

    def __init__(self, port: int = 0) -> None:
        self._server = socket.create_server(("127.0.0.1", port))
        self._server.setblocking(False)
        self._client: socket.socket | None = None
        self._held = bytearray()
        self.name = f"socket://127.0.0.1:{self._server.getsockname()[1]}"

    def receive(self, wait_s: float) -> bytes:
        """Return what the client sent, waiting up to ``wait_s``."""
        watched = [self._server] if self._client is None else [self._server, self._client]
        ready = select.select(watched, [], [], wait_s)[0]
        data = b""
        if self._client is not None and self._client in ready:
            with contextlib.suppress(OSError):
                data = self._client.recv(65536)
            if not data:
                self._drop()
        if self._server in ready:  # after the old client's farewell, which may have come in the same moment
            self._welcome()
        return data

    def _welcome(self) -> None:
        client, _ = self._server.accept()
        if self._client is not None:
            client.close()
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
        self._held.clear()

    def send(self, data: bytes) -> None:
        """Pass ``data`` on, after what is still held; without a client it is lost."""
        if self._client is None:
            return
        _hold(self._held, data)
        try:
            while self._held:
                del self._held[: self._client.send(self._held)]
        except BlockingIOError:
            return
        except OSError:
            self._drop()

    def close(self) -> None:
        """Close both sockets."""
        self._drop()
        self._server.close()


def _hold(held: bytearray, data: bytes) -> None:
    """Add ``data`` to what waits for the client; one too far behind gets a gap, which frame numbers show."""
    if len(held) + len(data) > HELD_BYTES:
        held.clear()
    held += data


def run(line: Line, port: Port, stop: Callable[[], bool]) -> None:
    """Let the bench behind ``port`` live in real time on ``line`` until ``stop()`` says so."""
    began_s, ticks = time.monotonic(), 0
    while not stop():
        if heard := line.receive(BEAT_S):
            port.write(heard)
        now_s = time.monotonic()
        if now_s - began_s - ticks * TICK_S > BEHIND_S:
            began_s, ticks = now_s - TICK_S, 0
        while ticks * TICK_S < now_s - began_s:
            ticks += 1
            if said := port.read(TICK_S):
                line.send(said)


@contextlib.contextmanager
def _until_signal() -> Iterator[Callable[[], bool]]:
    """Yield a question whether SIGTERM or Ctrl-C has come; the former handlers come back at the end."""
    signalled = threading.Event()
    before = {}
    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            before[number] = signal.signal(number, lambda *_: signalled.set())
    try:
        yield signalled.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _serve(
    line: Line, spec: SimSpec, announce: Callable[[str], object], stop: Callable[[], bool] | None
) -> None:
    from strokebench.sim import open_port

    try:
        with _until_signal() as signalled, contextlib.closing(open_port(spec)) as port:
            announce(line.name)
            run(line, port, lambda: signalled() or (stop is not None and stop()))
    finally:
        line.close()


def serve_pty(
    spec: SimSpec, announce: Callable[[str], object] = print, stop: Callable[[], bool] | None = None
) -> None:
    """Serve the bench of ``spec`` on a pseudo terminal; ``announce`` is given its device name once it is
    ready.

    Raises :class:`UsageError` on Windows, which has none.
    """
    _serve(PtyLine(), spec, announce, stop)


def serve_tcp(
    spec: SimSpec,
    tcp_port: int = 0,
    announce: Callable[[str], object] = print,
    stop: Callable[[], bool] | None = None,
) -> None:
    """Serve it on a socket of this machine (0: any free port); ``announce`` is given a pyserial URL.

    Raises :class:`UsageError` when the port cannot be had.
    """
    try:
        line = TcpLine(tcp_port)
    except (OSError, OverflowError) as error:
        raise UsageError(
            f"The socket port {tcp_port} cannot be opened ({error}).", "Choose another, or 0."
        ) from None
    _serve(line, spec, announce, stop)
