"""Serves the instrument on a raw TCP socket until it is told to end."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import sys
import threading
from collections.abc import Callable

from strokebench.bench.endings import endings
from strokebench.panel.security import Doors
from strokebench.scpi.client import Client
from strokebench.scpi.errors import ScpiError
from strokebench.scpi.instrument import Instrument

UPDATE_S = 0.01
LINE_MAX = 65_536
WAITING_MAX = 1000
CLIENTS_MAX = 16
LEAVE_S = 5.0
SEND_S = 10.0
"""A client that does not take an answer within this time is gone."""
PROBE_AFTER_S, PROBE_EVERY_S, PROBES = 2, 1, 3
ABORTS = (b"ABOR", b"ABORT", b":ABOR", b":ABORT")
ENCODING = "latin-1"


def lines(buffer: bytearray) -> list[bytes]:
    """Take every whole line out of ``buffer``, without LF or CR LF."""
    *whole, rest = bytes(buffer).split(b"\n")
    buffer[:] = rest
    return [line.rstrip(b"\r") for line in whole]


def probe(connection: socket.socket) -> None:
    """Have the system find out within about five seconds that a silent peer is gone."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    if sys.platform == "win32":
        connection.ioctl(socket.SIO_KEEPALIVE_VALS, (1, PROBE_AFTER_S * 1000, PROBE_EVERY_S * 1000))
        return
    idle = "TCP_KEEPALIVE" if sys.platform == "darwin" else "TCP_KEEPIDLE"
    for name, value in ((idle, PROBE_AFTER_S), ("TCP_KEEPINTVL", PROBE_EVERY_S), ("TCP_KEEPCNT", PROBES)):
        connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)


def _ended_by_signals() -> threading.Event:
    """Return what a signal that ends programs sets, instead of tearing the loop apart."""
    ended = threading.Event()
    if threading.current_thread() is threading.main_thread():
        for number in endings():
            signal.signal(number, lambda _number, _frame: ended.set())
    return ended


class Server:
    """The connections to one instrument. ``doors``: None when no token is needed (loopback)."""

    def __init__(self, instrument: Instrument, doors: Doors | None = None) -> None:
        self.instrument = instrument
        self._doors = doors
        self._clients: dict[Client, asyncio.StreamWriter] = {}

    async def serve(self, bound: socket.socket, ready: Callable[[], object]) -> None:
        """Connect the bench, call ``ready``, and serve until a signal ends the program."""
        ended = _ended_by_signals()
        server = await asyncio.start_server(self._connected, sock=bound, limit=LINE_MAX)
        with contextlib.suppress(ScpiError):  # a client may try again, and reads the reason then
            await self.instrument.connect()
        ready()
        while not ended.is_set():
            for client in tuple(self._clients):
                client.update()
            await asyncio.sleep(UPDATE_S)
        self.instrument.abort("The server was closed.")
        server.close()
        for writer in self._clients.values():
            writer.transport.abort()
        await self.instrument.until(lambda: not self._clients, LEAVE_S)

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(asyncio.CancelledError):  # the server ends, and this connection with it
            await self._serve_one(reader, writer)

    async def _serve_one(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        address, port = writer.get_extra_info("peername")[:2]
        if len(self._clients) >= CLIENTS_MAX:
            writer.close()
            return
        probe(writer.get_extra_info("socket"))
        client = Client(self.instrument, f"{address}:{port}", self._doors)
        self._clients[client] = writer
        waiting: asyncio.Queue[str | None] = asyncio.Queue(WAITING_MAX)
        working = asyncio.create_task(self._work(client, waiting, writer))
        try:
            await self._read(client, reader, waiting)
        except OSError:
            pass  # gone without a word
        finally:
            client.let_go()
            working.cancel()
            writer.close()
            await asyncio.gather(working, return_exceptions=True)
            del self._clients[client]

    async def _read(
        self, client: Client, reader: asyncio.StreamReader, waiting: asyncio.Queue[str | None]
    ) -> None:
        """Queue every line that comes. ABORt acts when it comes, whatever the client waits for."""
        buffer = bytearray()
        skipping = False
        while data := await reader.read(LINE_MAX):
            self.instrument.attendance.heard(client.name)
            buffer += data
            for line in lines(buffer):
                if skipping or len(line) > LINE_MAX:
                    skipping = False
                    await waiting.put(None)
                    continue
                if line.strip().upper() in ABORTS:
                    self.instrument.abort(f"Stopped over the network by {client.name}.")
                await waiting.put(line.decode(ENCODING))
            if len(buffer) > LINE_MAX:
                skipping = True
                buffer.clear()

    async def _work(
        self, client: Client, waiting: asyncio.Queue[str | None], writer: asyncio.StreamWriter
    ) -> None:
        """Carry out what is queued, in order; None stands for a line that was too long."""
        while not writer.is_closing():  # before Python 3.12 wait_for may swallow that this task is cancelled
            text = await waiting.get()
            if text is None:
                client.status.failed(ScpiError(-363))
                continue
            client.update()
            writer.write(await client.execute(text))
            try:
                await asyncio.wait_for(writer.drain(), SEND_S)
            except (OSError, TimeoutError, asyncio.TimeoutError):
                writer.transport.abort()
                return
