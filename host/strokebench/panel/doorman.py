"""Takes connections in a thread of its own: what keeps the part safe stays there, pages go elsewhere.

STOP, echoes and the dead-man are served by this thread's event loop and by nothing else. A connection is
read until its request's head is there; whatever asks for a page, the book or a picture is then handed over
to the pages' loop, however long that may be busy. So one port serves both.
"""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import threading
from collections.abc import Callable
from typing import Any

import uvicorn
from uvicorn.server import ServerState

from strokebench.panel.tls import Ends, Known, decrypted

HEAD_S = 5.0
"""Longest time until the head of a request is complete."""
HEAD_BYTES = 16384
WAITING_MAX = 64
"""Connections of one address that have not said yet what they want; a further one closes the oldest."""
OPEN_MAX = 512
"""Open connections of one address."""
ADDRESSES_KEPT = 256
BREATH_S = 0.05
DESCRIPTORS = 4096
OWN = (b"/lifeline/", b"/stop", b"/load")
Make = Callable[[], Any]


def closing(app: Any) -> Any:
    """Return ``app`` (ASGI) with every plain answer the last of its connection.

    A browser that used the connection again would ask the lifelines for a page.
    """

    async def answer(scope: Any, receive: Any, send: Any) -> None:
        async def last(message: Any) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message.get("headers", ()), (b"connection", b"close")]}
            await send(message)

        await app(scope, receive, last if scope["type"] == "http" else send)

    return answer


class Doorman:
    """Serves ``app`` (ASGI) on the ``bound`` socket in its own thread, hands the rest over to ``pages``.

    ``beside`` runs in the same loop as long as the doorman does. ``tls``: how every connection is encrypted.
    """

    def __init__(
        self, bound: socket.socket, app: Any, beside: Callable[[], Any], tls: ssl.SSLContext | None = None
    ) -> None:
        self._bound = bound
        self._app = app
        self._beside = beside
        self._tls = tls
        self._passing: set[asyncio.Task[None]] = set()
        self._pages: tuple[asyncio.AbstractEventLoop, Make] | None = None
        self._loop = asyncio.SelectorEventLoop()  # Windows' other one cannot pass a socket on
        self._waiting: dict[str, dict[socket.socket, asyncio.Task[None]]] = {}
        self._open: dict[str, list[socket.socket]] = {}
        self._main: asyncio.Task[None] | None = None
        self._thread = threading.Thread(target=self._live, name="lifeline", daemon=True)

    def start(self, loop: asyncio.AbstractEventLoop, make: Make) -> None:
        """Begin; ``make`` returns a protocol for a connection that ``loop`` is to serve."""
        self._pages = (loop, make)
        self._thread.start()

    def close(self) -> None:
        """End the thread and all connections that it serves."""
        if self._thread.is_alive():
            with contextlib.suppress(RuntimeError):  # it has ended meanwhile
                self._loop.call_soon_threadsafe(lambda: self._main and self._main.cancel())
            self._thread.join(5.0)

    def _live(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._main = self._loop.create_task(self._serve())
        with contextlib.suppress(asyncio.CancelledError):
            self._loop.run_until_complete(self._main)
        for task in asyncio.all_tasks(self._loop):
            task.cancel()
        self._loop.run_until_complete(asyncio.sleep(BREATH_S))
        self._loop.close()

    async def _serve(self) -> None:
        config = uvicorn.Config(
            closing(self._app), lifespan="off", log_level="warning", access_log=False, ws="websockets-sansio",
            ws_max_size=65536, ws_per_message_deflate=False,  # the line is near, and packing makes STOP wait
        )  # fmt: skip
        config.load()
        state = ServerState()

        def make() -> Any:
            return config.http_protocol_class(config=config, server_state=state, app_state={})  # type: ignore[call-arg]

        beside = self._loop.create_task(self._beside())
        self._bound.setblocking(False)
        try:
            while True:
                try:
                    sock, where = await self._loop.sock_accept(self._bound)
                except OSError:  # no descriptor is free: make one free
                    self._make_room()
                    await asyncio.sleep(BREATH_S)
                    continue
                self._welcome(sock, str(where[0]), make)
                await asyncio.sleep(0)  # a flood of connections must not keep the others waiting
        finally:
            beside.cancel()
            for connection in list(state.connections):
                connection.shutdown()

    def _welcome(self, sock: socket.socket, address: str, make: Make) -> None:
        sock.setblocking(False)
        if len(self._waiting.get(address, ())) >= WAITING_MAX:
            self._turn_away(address)
        still_open = [other for other in self._open.get(address, ()) if other.fileno() >= 0]
        if len(still_open) >= OPEN_MAX:
            sock.close()
            return
        if address not in self._open and len(self._open) >= ADDRESSES_KEPT:
            self._open = {
                there: socks for there, socks in self._open.items() if any(s.fileno() >= 0 for s in socks)
            }
        self._open[address] = [*still_open, sock]
        task = self._loop.create_task(self._read_head(sock, address, make))
        self._waiting.setdefault(address, {})[sock] = task
        self._loop.call_later(HEAD_S, task.cancel)

    def _make_room(self) -> None:
        if self._waiting:
            self._turn_away(max(self._waiting, key=lambda address: len(self._waiting[address])))

    def _turn_away(self, address: str) -> None:
        """Close the connection that has kept us waiting longest."""
        sock = next(iter(self._waiting[address]))
        self._waiting[address].pop(sock).cancel()
        self._open[address].remove(sock)

    async def _read_head(self, accepted: socket.socket, address: str, make: Make) -> None:
        sock = accepted
        head, ends = b"", None
        try:
            if self._tls is not None:
                ends = Ends(sock.getpeername()[:2], sock.getsockname()[:2])
                sock = await self._decrypted(sock, self._tls)
            head = await self._head(sock)
        except (OSError, asyncio.CancelledError):  # cancelled: it took too long, or its place was needed
            pass
        finally:
            waiting = self._waiting.get(address, {})
            waiting.pop(accepted, None)
            if not waiting:
                self._waiting.pop(address, None)
        if not head or self._pages is None:
            sock.close()
        elif asked_path(head).startswith(OWN):
            await begin(make, sock, head, ends)
        else:
            loop, make_page = self._pages
            try:
                asyncio.run_coroutine_threadsafe(begin(make_page, sock, head, ends), loop)
            except RuntimeError:  # the pages' loop has ended
                sock.close()

    async def _decrypted(self, sock: socket.socket, tls: ssl.SSLContext) -> socket.socket:
        plain, passing = await decrypted(sock, tls)
        self._passing.add(passing)
        passing.add_done_callback(self._passing.discard)
        return plain

    async def _head(self, sock: socket.socket) -> bytes:
        """Return what came until a head is complete, nothing when it is too long or the other end left."""
        head = b""
        while b"\r\n\r\n" not in head:
            data = await self._loop.sock_recv(sock, HEAD_BYTES)
            head += data
            if not data or len(head) > HEAD_BYTES:
                return b""
        return head


def asked_path(head: bytes) -> bytes:
    """Return the path of a request's first line, empty when there is none."""
    words = head.split(b"\r\n", 1)[0].split(b" ")
    return words[1] if len(words) == 3 else b""


async def begin(make: Make, sock: socket.socket, head: bytes, ends: Ends | None = None) -> None:
    """Serve ``sock`` in the running loop, as if ``head`` arrived now; ``ends``: of one that is encrypted."""
    protocol = make()
    made = protocol.connection_made

    def connection_made(transport: asyncio.BaseTransport) -> None:
        made(transport if ends is None else Known(transport, ends))
        protocol.data_received(head)  # before the loop reads on

    protocol.connection_made = connection_made
    try:
        await asyncio.get_running_loop().connect_accepted_socket(lambda: protocol, sock)
    except OSError:
        sock.close()


def more_descriptors() -> None:
    """Have as many file descriptors as the doors may need, where the system sets a limit."""
    try:
        import resource
    except ModuleNotFoundError:  # Windows
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = DESCRIPTORS if hard == resource.RLIM_INFINITY else min(DESCRIPTORS, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
