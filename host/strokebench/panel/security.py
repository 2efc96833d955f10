"""Who may talk to the panel: this machine's own pages, and others only with a token typed once.

Three checks on every request and every socket, before anything else sees it: the Host header must be a name
of ours (a foreign name that resolves to us is DNS rebinding), the Origin of whatever can act must be ours (a
foreign page in the user's browser), and with ``--listen`` the session cookie must be known.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from typing import Any

COOKIE = "strokebench_session"
ENTER = "/enter"
TOKEN_SIGNS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
TOKEN_LENGTH = 12
"""31^12, about 59 bits: a thousand tries a second for a year find it with a chance of 1 in 25 million."""
WAIT_S = 1.0
WAIT_MAX_S = 60.0
WRONG_KEPT = 1024
SAFE_METHODS = ("GET", "HEAD")
FOREIGN_SITES = ("cross-site", "same-site")

HEADERS = [
    (b"x-frame-options", b"DENY"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (
        b"content-security-policy",
        # the page framework compiles its templates in the browser, hence unsafe-eval
        b"default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval';"
        b" style-src 'self' 'unsafe-inline';"
        b" img-src 'self' data:; font-src 'self' data:; connect-src 'self'; frame-ancestors 'none';"
        b" base-uri 'self'; form-action 'self'; object-src 'none'",
    ),
]
"""Sent with every answer that does not set them itself."""

Scope = dict[str, Any]


class Doors:
    """The one-time token and the sessions it has opened. ``announce`` is told each new token."""

    def __init__(
        self, announce: Callable[[str], object], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._announce = announce
        self._clock = clock
        self._lock = threading.Lock()
        self._sessions: set[str] = set()
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()
        """By neighbourhood: how often a wrong token came from there, and until when none counts."""
        self._token = ""
        self._renew()

    def _renew(self) -> None:
        self._token = "".join(secrets.choice(TOKEN_SIGNS) for _ in range(TOKEN_LENGTH))
        self._announce(self._token)

    def enter(self, token: str, address: str = "") -> str | None:
        """Return a new session's cookie value for the right token, which is then used up; else None.

        After a wrong token no token counts for a second from that ``address``, after the next for two, and so
        on up to :data:`WAIT_MAX_S`. Others are not held up.
        """
        where = neighbourhood(address)
        with self._lock:
            times, not_before_s = self._wrong.get(where, (0, 0.0))
            now_s = self._clock()
            if now_s < not_before_s:
                return None
            typed = token.strip().upper().replace("-", "").replace(" ", "")
            if not hmac.compare_digest(typed.encode(), self._token.encode()):
                wait_s = min(WAIT_S * 2 ** min(times, 16), WAIT_MAX_S)
                self._wrong[where] = (times + 1, now_s + wait_s)
                self._wrong.move_to_end(where)
                while len(self._wrong) > WRONG_KEPT:
                    self._wrong.popitem(last=False)
                return None
            self._wrong.pop(where, None)
            self._renew()
            session = secrets.token_urlsafe(32)
            self._sessions.add(session)
            return session

    def known(self, session: str) -> bool:
        """Tell whether a cookie value belongs to an open session."""
        with self._lock:
            return any(hmac.compare_digest(session.encode(), ours.encode()) for ours in self._sessions)


def neighbourhood(address: str) -> str:
    """Return the address, of IPv6 the /64 that one machine may have all to itself."""
    try:
        there = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return ""
    if there.version == 6:
        return str(ipaddress.ip_network((int(there) >> 64 << 64, 64)))
    return str(there)


class Guard:
    """ASGI middleware around everything, web pages and sockets alike.

    ``names``: host names that are ours; besides, the literal address the connection came in at. ``port``:
    ours. ``doors``: None when no token is needed (loopback).
    """

    def __init__(self, app: Any, names: frozenset[str], port: int, doors: Doors | None) -> None:
        self.app = app
        self._names = names
        self._port = port
        self._doors = doors

    async def __call__(self, scope: Scope, receive: Any, send: Any) -> None:
        """Let the request through, or answer it here."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        problem = self._problem(scope)
        if problem is None:
            await self.app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403, "reason": problem})
        elif problem == ENTER and scope["method"] in SAFE_METHODS:
            await _answer(send, 303, "", [(b"location", ENTER.encode())])
        else:
            await _answer(send, 403, problem, [])

    def _problem(self, scope: Scope) -> str | None:
        headers: dict[bytes, bytes] = {}
        for name, value in scope["headers"]:
            if name in (b"host", b"origin") and name in headers:
                return "Refused: the header is there twice."
            headers[name] = value
        host = headers.get(b"host", b"").decode("latin-1").lower()
        if not self._ours(host, scope):
            return "Refused: this host name is not the panel's. Open it by the address it printed."
        if not self._same_origin(scope, headers, host):
            return "Refused: the request comes from another site."
        if self._doors is not None and not self._may_enter(scope, headers):
            return ENTER
        return None

    def _ours(self, host: str, scope: Scope) -> bool:
        name, port = split_host(host)
        if port != self._port:
            return False
        if name in self._names:
            return True
        server = scope.get("server") or ("", 0)
        return _same_address(name, str(server[0]))

    def _same_origin(self, scope: Scope, headers: dict[bytes, bytes], host: str) -> bool:
        origin = headers.get(b"origin")
        if origin is not None:
            return origin.decode("latin-1").lower() in (f"http://{host}", f"ws://{host}")
        if scope["type"] == "websocket" or scope["method"] not in SAFE_METHODS:
            return False
        if headers.get(b"sec-fetch-site", b"none").decode("latin-1") not in FOREIGN_SITES:
            return True
        # a link to us is fine, embedding us is not
        return (headers.get(b"sec-fetch-mode"), headers.get(b"sec-fetch-dest")) == (b"navigate", b"document")

    def _may_enter(self, scope: Scope, headers: dict[bytes, bytes]) -> bool:
        if scope["type"] == "http" and scope["path"] == ENTER:
            return True
        try:
            cookie = SimpleCookie(headers.get(b"cookie", b"").decode("latin-1")).get(COOKIE)
        except CookieError:
            return False
        assert self._doors is not None
        return cookie is not None and self._doors.known(cookie.value)


def split_host(host: str) -> tuple[str, int]:
    """Return name (brackets of IPv6 taken off) and port of a Host header; port 80 when it names none."""
    if host.startswith("["):
        name, _, rest = host[1:].partition("]")
        port = rest.removeprefix(":")
    else:
        name, _, port = host.partition(":")
    return name, int(port) if port.isascii() and port.isdigit() else (80 if not port else -1)


def _same_address(name: str, server: str) -> bool:
    """True for a literal address (no name can be one) at which this very connection arrived."""
    try:
        return ipaddress.ip_address(name) == ipaddress.ip_address(server)
    except ValueError:
        return False


def _with_headers(send: Any) -> Any:
    async def sending(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            own = list(message.get("headers", ()))
            there = {name.lower() for name, _ in own}
            message = {**message, "headers": own + [pair for pair in HEADERS if pair[0] not in there]}
        await send(message)

    return sending


async def _answer(send: Any, status: int, text: str, headers: list[tuple[bytes, bytes]]) -> None:
    plain = [(b"content-type", b"text/plain; charset=utf-8"), *headers]
    await _with_headers(send)({"type": "http.response.start", "status": status, "headers": plain})
    await send({"type": "http.response.body", "body": text.encode()})
