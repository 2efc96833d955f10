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
FOR_EVERYBODY = (ENTER, "/stop", "/join")
"""Where a session that only watches may send something."""
FOREIGN_SITES = ("cross-site", "same-site")
ROLES = ("watch", "drive")
"""What a session may do; watching includes STOP."""
ROLE = "strokebench_role"
"""Key of the role in a request's scope."""

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; frame-ancestors 'none'; base-uri 'self';"
    " form-action 'self'"
)
"""Nothing is run or styled but what is in our own files."""
HEADERS = [
    (b"x-frame-options", b"DENY"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"content-security-policy", POLICY.encode()),
]
"""Sent with every answer that does not set them itself."""

REFUSED = (
    '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    "<title>Refused - strokebench panel</title></head>"
    "<body><main><h1>Refused</h1><p>{}</p></main></body></html>\n"
)
"""A page of sentences of our own alone: who is refused gets nothing else of the panel, not even its style."""
Scope = dict[str, Any]


class Doors:
    """The one-time token and the sessions it has opened. ``announce`` gets each new token."""

    def __init__(
        self, announce: Callable[[str], object], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._announce = announce
        self._clock = clock
        self._lock = threading.Lock()
        self._sessions: dict[str, str] = {}
        """Role by session."""
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()
        """By neighbourhood: how often a wrong token came from there, and until when none counts."""
        self._token = ""
        self._invitation = ("", "watch")
        self._renew()

    def _renew(self) -> None:
        self._token = new_token()
        self._announce(self._token)

    def invite(self, role: str) -> str:
        """Return a one-time token for one more device of this role; the one before becomes void."""
        with self._lock:
            self._invitation = (new_token(), role)
            return self._invitation[0]

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
            role = self._role_of(token.strip().upper().replace("-", "").replace(" ", ""))
            if role is None:
                wait_s = min(WAIT_S * 2 ** min(times, 16), WAIT_MAX_S)
                self._wrong[where] = (times + 1, now_s + wait_s)
                self._wrong.move_to_end(where)
                while len(self._wrong) > WRONG_KEPT:
                    self._wrong.popitem(last=False)
                return None
            self._wrong.pop(where, None)
            session = secrets.token_urlsafe(32)
            self._sessions[session] = role
            return session

    def _role_of(self, typed: str) -> str | None:
        """Return the role that a token opens, and use the token up; None for a wrong one."""
        invited, role = self._invitation
        if hmac.compare_digest(typed.encode(), self._token.encode()):
            self._renew()
            return "drive"
        if invited and hmac.compare_digest(typed.encode(), invited.encode()):
            self._invitation = ("", "watch")
            return role
        return None

    def role(self, session: str) -> str | None:
        """Return what a cookie value's session may do, None where there is no such session."""
        with self._lock:
            same = [
                role
                for ours, role in self._sessions.items()
                if hmac.compare_digest(session.encode(), ours.encode())
            ]
        return same[0] if same else None

    def known(self, session: str) -> bool:
        """Tell whether a cookie value belongs to an open session."""
        return self.role(session) is not None


def new_token() -> str:
    """Return a token, the digits and letters that cannot be mistaken for each other."""
    return "".join(secrets.choice(TOKEN_SIGNS) for _ in range(TOKEN_LENGTH))


def spaced(token: str) -> str:
    """Return a token in groups of four, to be typed."""
    return "-".join(token[i : i + 4] for i in range(0, len(token), 4))


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
    ours. ``doors``: None when no token is needed (loopback). ``secure``: it is served with TLS.
    """

    def __init__(
        self, app: Any, names: frozenset[str], port: int, doors: Doors | None, *, secure: bool = False
    ) -> None:
        self.app = app
        self._names = names
        self._port = port
        self._doors = doors
        self._schemes = ("https", "wss") if secure else ("http", "ws")

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
                return "The header is there twice."
            headers[name] = value
        host = headers.get(b"host", b"").decode("latin-1").lower()
        if not self._ours(host, scope):
            return "This host name is not the panel's. Open it by the address it printed."
        if not self._same_origin(scope, headers, host):
            return "The request comes from another site."
        if self._doors is not None and not self._may_enter(scope, headers):
            return ENTER
        acts = scope["type"] == "http" and scope["method"] not in SAFE_METHODS
        if acts and not may_drive(scope) and scope["path"] not in FOR_EVERYBODY:
            return "This session may watch and stop, nothing else."
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
            return origin.decode("latin-1").lower() in [f"{scheme}://{host}" for scheme in self._schemes]
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
        role = self._doors.role(cookie.value) if cookie is not None else None
        if role is not None:
            scope[ROLE] = role
        return role is not None


def may_drive(scope: Any) -> bool:
    """Tell whether a request's session may drive; without doors every one may."""
    return bool(scope.get(ROLE, "drive") == "drive")


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
    kind = [(b"content-type", b"text/html; charset=utf-8"), *headers]
    await _with_headers(send)({"type": "http.response.start", "status": status, "headers": kind})
    await send({"type": "http.response.body", "body": REFUSED.format(text).encode() if text else b""})
