"""The guard in front of everything: host names, origins, one-time tokens; without a network."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from strokebench.panel.security import COOKIE, WRONG_KEPT, Doors, Guard, neighbourhood, split_host

PORT = 8765
NAMES = frozenset(("localhost", "127.0.0.1", "::1"))
OURS = "127.0.0.1:8765"


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def ask(
    headers: dict[str, str],
    *,
    kind: str = "http",
    method: str = "GET",
    path: str = "/",
    doors: Doors | None = None,
    server: str = "127.0.0.1",
) -> int:
    """Return the status that a request meets: 200 when the application saw it, else the guard's own."""
    seen: list[int] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        seen.append(200)

    async def receive() -> dict[str, str]:
        return {"type": "websocket.connect"}

    async def send(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            seen.append(message["status"])
        elif message["type"] == "websocket.close":
            seen.append(message["code"])

    pairs = [(name.lower().encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": kind, "method": method, "path": path, "headers": pairs, "server": (server, PORT)}
    asyncio.run(Guard(app, NAMES, PORT, doors)(scope, receive, send))
    assert len(seen) == 1
    return seen[0]


@pytest.mark.parametrize("host", [OURS, "localhost:8765", "LOCALHOST:8765", "[::1]:8765"])
def test_our_own_names_are_let_in(host: str) -> None:
    assert ask({"host": host}) == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example:8765", "127.0.0.1.evil.example:8765", "localhost", "localhost:80", "", "127.0.0.1:8765x",
     "localhost:8765@evil.example", "10.1.2.3:8765", "[::1]", "localhost.:8765"],
)  # fmt: skip
def test_other_host_names_are_refused(host: str) -> None:
    assert ask({"host": host}) == 403
    assert ask({"host": host, "origin": f"http://{host}"}, kind="websocket") == 4403


def test_a_literal_address_is_ours_only_where_the_connection_arrived() -> None:
    assert ask({"host": "192.0.2.7:8765"}, server="192.0.2.7") == 200
    assert ask({"host": "192.0.2.8:8765"}, server="192.0.2.7") == 403


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1", "http://127.0.0.1:9999", "https://evil.example:8765",
               "http://localhost:8765", ""],
)  # fmt: skip
def test_foreign_origins_are_refused_whatever_they_want(origin: str) -> None:
    headers = {"host": OURS, "origin": origin}
    assert ask(headers, kind="websocket") == 4403
    assert ask(headers, method="POST") == 403
    assert ask(headers) == 403


def test_our_own_origin_may_act() -> None:
    headers = {"host": OURS, "origin": f"http://{OURS}"}
    assert ask(headers, kind="websocket") == 200
    assert ask(headers, method="POST") == 200


def test_what_acts_must_say_where_it_comes_from() -> None:
    assert ask({"host": OURS}, kind="websocket") == 4403
    for method in ("POST", "PUT", "DELETE", "PATCH", "OPTIONS"):
        assert ask({"host": OURS}, method=method) == 403


def test_a_foreign_page_may_link_to_us_but_not_embed_us() -> None:
    foreign = {"host": OURS, "sec-fetch-site": "cross-site"}
    assert ask({**foreign, "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}) == 200
    assert ask({**foreign, "sec-fetch-mode": "navigate", "sec-fetch-dest": "iframe"}) == 403
    assert ask({**foreign, "sec-fetch-mode": "no-cors"}) == 403
    assert ask({**foreign, "sec-fetch-mode": "cors"}) == 403


def test_two_host_headers_are_refused() -> None:
    async def no_app(scope: Any, receive: Any, send: Any) -> None:
        raise AssertionError("let through")

    answers: list[int] = []

    async def send(message: dict[str, Any]) -> None:
        answers.append(message.get("status", 0))

    headers = [(b"host", OURS.encode()), (b"host", b"evil.example")]
    scope = {"type": "http", "method": "GET", "path": "/", "headers": headers, "server": ("127.0.0.1", PORT)}
    asyncio.run(Guard(no_app, NAMES, PORT, None)(scope, None, send))
    assert answers[0] == 403


def test_without_a_session_only_the_door_is_open() -> None:
    doors = Doors(lambda token: None)
    assert ask({"host": OURS}, doors=doors) == 303
    assert ask({"host": OURS}, path="/report/1", doors=doors) == 303
    assert ask({"host": OURS}, path="/enter", doors=doors) == 200
    acting = {"host": OURS, "origin": f"http://{OURS}"}
    assert ask(acting, kind="websocket", path="/lifeline/x", doors=doors) == 4403
    assert ask(acting, kind="websocket", path="/enter", doors=doors) == 4403
    assert ask(acting, method="POST", path="/stop", doors=doors) == 403
    assert ask({**acting, "cookie": f"{COOKIE}=guess"}, kind="websocket", doors=doors) == 4403


def test_a_token_opens_one_session_and_is_then_used_up() -> None:
    announced: list[str] = []
    doors = Doors(announced.append)
    session = doors.enter(announced[0].lower())
    assert session is not None and doors.known(session)
    assert len(announced) == 2 and announced[1] != announced[0]
    assert doors.enter(announced[0]) is None
    headers = {"host": OURS, "origin": f"http://{OURS}", "cookie": f"other=1; {COOKIE}={session}"}
    assert ask(headers, kind="websocket", doors=doors) == 200


def test_who_watches_reads_and_stops_and_changes_nothing() -> None:
    doors = Doors(lambda token: None)
    watches, drives = (doors.enter(doors.invite(role)) for role in ("watch", "drive"))
    for session, changes in ((watches, 403), (drives, 200)):
        said = {"host": OURS, "origin": f"http://{OURS}", "cookie": f"{COOKIE}={session}"}
        assert ask(said, doors=doors, path="/jobs/1") == 200
        assert ask(said, doors=doors, method="POST", path="/stop") == 200
        assert ask(said, doors=doors, method="POST", path="/jobs/1/sign") == changes


def test_tokens_cannot_be_tried_quickly() -> None:
    announced: list[str] = []
    clock = Clock()
    doors = Doors(announced.append, clock)
    assert doors.enter("wrong", "192.0.2.1") is None
    assert doors.enter(announced[0], "192.0.2.1") is None, "the right one, but too soon after a wrong one"
    clock.now_s += 1.1
    assert doors.enter("wrong", "192.0.2.1") is None
    clock.now_s += 1.1
    assert doors.enter(announced[0], "192.0.2.1") is None, "the second wrong one costs twice as much"
    clock.now_s += 1.0
    assert doors.enter(announced[0], "192.0.2.1") is not None


def test_wrong_tokens_slow_down_only_who_sends_them() -> None:
    """One wrong token a second kept the owner out before."""
    announced: list[str] = []
    clock = Clock()
    doors = Doors(announced.append, clock)
    for i in range(5000):
        doors.enter("wrong", f"2001:db8::{i:x}" if i % 2 else f"198.51.100.{i % 250}")
        clock.now_s += 0.01
    assert len(announced) == 1, "somebody else's tries replaced the owner's token"
    assert doors.enter(announced[0], "192.0.2.1") is not None
    assert len(doors._wrong) <= WRONG_KEPT
    assert neighbourhood("2001:db8::1") == neighbourhood("2001:db8::ffff") != neighbourhood("2001:db8:0:1::1")


def test_token_typed_with_dashes_and_blanks() -> None:
    announced: list[str] = []
    doors = Doors(announced.append)
    token = announced[0]
    assert doors.enter(f" {token[:4]}-{token[4:8]} {token[8:].lower()} ") is not None


@pytest.mark.parametrize(
    ("host", "parts"),
    [
        ("a:1", ("a", 1)),
        ("a", ("a", 80)),
        ("[::1]:9", ("::1", 9)),
        ("[::1]", ("::1", 80)),
        ("a:x", ("a", -1)),
    ],
)
def test_split_host(host: str, parts: tuple[str, int]) -> None:
    assert split_host(host) == parts
