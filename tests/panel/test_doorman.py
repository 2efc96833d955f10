"""The thread that takes connections: STOP gets through whatever the pages do and whoever keeps doors open."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import Any

import pytest
import uvicorn
from strokebench.panel import doorman as doors
from strokebench.panel.doorman import Doorman, asked_path, more_descriptors
from uvicorn.server import ServerState

from tests.helpers.waiting import wait_until

Answer = tuple[int, bytes]


def app(text: bytes, pause_s: float = 0.0) -> Callable[..., Any]:
    """Return an application that says ``text``, after it has kept its whole loop busy."""

    async def answer(scope: Any, receive: Any, send: Any) -> None:
        time.sleep(pause_s)
        head = [(b"content-length", str(len(text)).encode())]
        await send({"type": "http.response.start", "status": 200, "headers": head})
        await send({"type": "http.response.body", "body": text})

    return answer


@pytest.fixture
def port() -> Iterator[int]:
    """A doorman whose pages keep their loop busy for a second each."""
    more_descriptors()
    bound = socket.create_server(("127.0.0.1", 0), backlog=1024)
    pages = asyncio.SelectorEventLoop()
    thread = threading.Thread(target=pages.run_forever, daemon=True)
    thread.start()
    config = uvicorn.Config(app(b"page", 1.0), lifespan="off")
    config.load()
    state = ServerState()

    def make() -> Any:
        return config.http_protocol_class(config=config, server_state=state, app_state={})

    async def beside() -> None:
        await asyncio.sleep(3600)

    taking = Doorman(bound, app(b"lifeline"), beside)
    taking.start(pages, make)
    yield bound.getsockname()[1]
    taking.close()
    for connection in list(state.connections):
        pages.call_soon_threadsafe(connection.shutdown)
    pages.call_soon_threadsafe(pages.stop)
    thread.join(5)
    pages.close()
    bound.close()


def ask(port: int, path: str, pieces: int = 1) -> bytes:
    """Return the answer's body; the request is sent in so many pieces."""
    head = f"POST {path} HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Length: 4\r\n\r\nbody".encode()
    with closing(socket.create_connection(("127.0.0.1", port), 10)) as line:
        for i in range(pieces):
            line.sendall(head[len(head) * i // pieces : len(head) * (i + 1) // pieces])
            time.sleep(0.02 if pieces > 1 else 0)
        answer = b""
        while data := line.recv(4096):
            answer += data
    return answer.rpartition(b"\r\n\r\n")[2]


def test_each_path_goes_to_its_own_loop_in_one_piece_or_in_many(port: int) -> None:
    assert ask(port, "/stop?page=x&stop=1") == b"lifeline"
    assert ask(port, "/load", pieces=5) == b"lifeline"
    assert ask(port, "/book", pieces=5) == b"page"


def test_stop_does_not_wait_for_a_page_that_takes_long(port: int) -> None:
    """The page keeps its loop busy for a second; STOP is answered meanwhile."""
    answered: list[str] = []

    def page() -> None:
        ask(port, "/compare?a=1&b=2")
        answered.append("page")

    waiting = threading.Thread(target=page)
    waiting.start()
    time.sleep(0.2)  # the page is being made
    assert ask(port, "/stop") == b"lifeline"
    assert not answered, "STOP was answered only after the page"
    waiting.join(10)


def test_a_connection_that_stopped_is_not_used_for_a_page(port: int) -> None:
    """A browser would send its next request for a page where only lifelines are."""
    with closing(socket.create_connection(("127.0.0.1", port), 10)) as sock, sock.makefile("rb") as answer:
        sock.sendall(b"POST /stop HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n\r\n")
        lines = [line.strip().lower() for line in answer]  # to its end: the server closes
    assert b"200" in lines[0] and b"connection: close" in lines


def test_a_thousand_half_open_requests_block_nobody(port: int) -> None:
    held = []
    try:
        for _ in range(1024):
            line = socket.create_connection(("127.0.0.1", port), 10)
            line.sendall(b"GET /book HTTP/1.1\r\nHost: x\r\n")
            held.append(line)
        assert ask(port, "/stop") == b"lifeline"
        wait_until(lambda: _closed(held[0]), "the oldest half-open request is kept")
    finally:
        for line in held:
            line.close()


def _closed(line: socket.socket) -> bool:
    line.settimeout(0.05)
    try:
        return line.recv(1) == b""
    except TimeoutError:
        return False
    except OSError:
        return True


def test_a_head_that_never_ends_is_cut_off(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doors, "HEAD_S", 0.2)
    with closing(socket.create_connection(("127.0.0.1", port), 10)) as line:
        line.sendall(b"GET /stop HTTP/1.1\r\n")
        wait_until(lambda: _closed(line), "a request that never ends is kept")
    with closing(socket.create_connection(("127.0.0.1", port), 10)) as line:
        line.sendall(b"GET /stop HTTP/1.1\r\nX: " + b"x" * (doors.HEAD_BYTES + 10))
        wait_until(lambda: _closed(line), "a head without bounds is kept")


def test_one_address_cannot_hold_all_connections(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doors, "OPEN_MAX", 8)
    held = [socket.create_connection(("127.0.0.1", port), 10) for _ in range(8)]
    with closing(socket.create_connection(("127.0.0.1", port), 10)) as line:
        wait_until(lambda: _closed(line), "a connection too many is kept")
    for other in held:
        other.close()


@pytest.mark.parametrize(
    ("head", "path"),
    [(b"GET /stop HTTP/1.1\r\n", b"/stop"), (b"nonsense\r\n", b""), (b"", b""), (b"GET /a b HTTP\r\n", b"")],
)
def test_asked_path(head: bytes, path: bytes) -> None:
    assert asked_path(head) == path
