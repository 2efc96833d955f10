"""An encrypted way in: what comes is decrypted in the lifeline's thread and served like any connection."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from strokebench.errors import UsageError

HANDSHAKE_S = 5.0
PIECE_BYTES = 65536


def context_of(certificate: Path, key: Path) -> ssl.SSLContext:
    """Return a server's context for PEM files; :class:`UsageError` when they cannot be used."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as error:
        raise UsageError(
            f"The certificate {certificate} with the key {key} cannot be used: {error}.",
            "Give two PEM files that belong together: --tls CERT KEY.",
        ) from None
    return context


async def decrypted(sock: socket.socket, context: ssl.SSLContext) -> tuple[socket.socket, asyncio.Task[None]]:
    """Shake hands on ``sock``; return a plain socket in its place, and the task that passes the bytes on.

    Raises OSError (``ssl.SSLError`` is one) when the other end does not speak TLS in time.
    """
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    protocol = asyncio.StreamReaderProtocol(reader)
    transport, _ = await loop.connect_accepted_socket(
        lambda: protocol, sock, ssl=context, ssl_handshake_timeout=HANDSHAKE_S
    )
    writer = asyncio.StreamWriter(transport, protocol, reader, loop)
    ours, theirs = socket.socketpair()
    for end in (ours, theirs):
        end.setblocking(False)
    return theirs, loop.create_task(_pass_on(reader, writer, ours))


async def _pass_on(reader: asyncio.StreamReader, writer: asyncio.StreamWriter, ours: socket.socket) -> None:
    loop = asyncio.get_running_loop()

    async def inwards() -> None:
        while data := await reader.read(PIECE_BYTES):
            await loop.sock_sendall(ours, data)
        ours.shutdown(socket.SHUT_WR)

    async def outwards() -> None:
        while data := await loop.sock_recv(ours, PIECE_BYTES):
            writer.write(data)
            await writer.drain()

    ways = [loop.create_task(inwards()), loop.create_task(outwards())]
    try:
        await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for way in ways:
            way.cancel()
        await asyncio.gather(*ways, return_exceptions=True)
        ours.close()
        with contextlib.suppress(OSError):
            writer.close()


@dataclass(frozen=True)
class Ends:
    """Address and port of both ends of a connection."""

    there: tuple[str, int]
    here: tuple[str, int]


class Known:
    """A transport that says who is really at the other end; everything else is the transport's own."""

    def __init__(self, transport: Any, ends: Ends) -> None:
        self._transport = transport
        self._facts = {"socket": None, "peername": ends.there, "sockname": ends.here, "sslcontext": True}

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        """Return what is known of the connection."""
        return (
            self._facts.get(name, default)
            if name in self._facts
            else self._transport.get_extra_info(name, default)
        )

    def __getattr__(self, name: str) -> Any:
        return getattr(self._transport, name)
