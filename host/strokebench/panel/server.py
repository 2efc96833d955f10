"""Puts the panel together and serves it: pages, lifelines, reports, behind the guard."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import FrameType
from typing import Any, Protocol

import uvicorn
from fastapi import FastAPI, Form, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from nicegui import app as framework
from nicegui import ui

from strokebench.errors import StrokebenchError, UsageError
from strokebench.panel.choice import Choice
from strokebench.panel.deadman import Deadman
from strokebench.panel.doorman import Doorman, more_descriptors
from strokebench.panel.driver import Driver
from strokebench.panel.lifeline import Lifelines
from strokebench.panel.pages.bench import bench_page
from strokebench.panel.pages.book import book_page
from strokebench.panel.pages.compare import compare_page, load_run
from strokebench.panel.pages.connect import connect_page, picture
from strokebench.panel.pages.enter import enter_page, sorry_page
from strokebench.panel.pages.frame import STATIC
from strokebench.panel.pages.stop import with_stop
from strokebench.panel.security import COOKIE, ENTER, Doors, Guard
from strokebench.panel.wishes import Wishes

LOCAL_NAMES = ("localhost", "127.0.0.1", "::1")
REPORT_POLICY = (
    "default-src 'none'; style-src 'self' 'unsafe-inline'; img-src data:; script-src 'self';"
    " connect-src 'self'; frame-ancestors 'none'; base-uri 'none'"
)
LEAVE_S = 1
BACKLOG = 1024
TEXT_MAX = 200
DOCUMENTATION = ("192.0.2.1", "2001:db8::1")
"""Addresses that nobody has (RFC 5737, RFC 3849)."""


@dataclass(frozen=True)
class Options:
    """What the command line asked for. ``http_port`` 0: any free one."""

    listen: str = "127.0.0.1"
    http_port: int = 8765
    book: Path = Path("strokebench.book")
    choice: Choice | None = None


class Panel:
    """The panel's parts: driver, lifelines, and the doors when other machines may come in."""

    def __init__(self, options: Options, announce: Callable[[str], object]) -> None:
        self.options = options
        self.driver = Driver(options.book, Deadman())
        self.lifelines = Lifelines(self.driver, Wishes(options.choice))
        self.doors = None if is_loopback(options.listen) else Doors(announce)
        self.reports = threading.Lock()
        """One report at a time: the plotting library is not made for threads."""

    def app(self, port: int) -> FastAPI:
        """Return the web application of the pages, guarded for ``port``."""
        app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
        self._routes(app)
        self._pages()
        app.mount(STATIC, StaticFiles(packages=[("strokebench.panel", "static")]))
        # no bar on each request: it would be one without a name, and nothing here takes long
        framework.config.quasar_config["loadingBar"] = {"skipHijack": True}
        ui.run_with(
            app, title="strokebench panel", language="en-US", tailwind=False, dark=False,
            show_welcome_message=False, reconnect_timeout=5.0,
        )  # fmt: skip
        app.add_middleware(Guard, names=self._names(), port=port, doors=self.doors)
        return app

    def lifeline(self, port: int) -> Guard:
        """Return the web application of the lifelines, guarded for ``port``; it has a loop of its own."""
        return Guard(self.lifelines.app(), self._names(), port, self.doors)

    def _names(self) -> frozenset[str]:
        return frozenset((*LOCAL_NAMES, *own_names(self.options.listen)))

    def _pages(self) -> None:
        options = self.options

        @ui.page("/", title="Bench - strokebench panel")
        def _bench() -> None:
            bench_page(self.driver, options.choice)

        @ui.page("/book", title="Job book - strokebench panel")
        async def _book(find: str = "") -> None:
            await book_page(options.book, find[:TEXT_MAX])

        @ui.page("/compare", title="Compare - strokebench panel")
        async def _compare(a: str = "", b: str = "") -> None:
            await compare_page(options.book, a, b)

        @ui.page("/connect", title="Wiring - strokebench panel")
        def _connect(part: str = "") -> None:
            connect_page(part)

    def _routes(self, app: FastAPI) -> None:
        @app.get("/wiring/{part}.svg")
        def _wiring(part: str) -> Response:
            text = picture(part)
            if text is None:
                return HTMLResponse(sorry_page("There is no drawing of such a part."), 404)
            return Response(text, media_type="image/svg+xml")

        @app.post("/stop")  # from a connection that has served pages before
        def _stop(request: Request) -> Response:
            return self.lifelines.stop(request)

        @app.get("/report/{run_id}")
        def _report(run_id: int) -> Response:
            return self._report(run_id)

        @app.get(ENTER)
        def _enter() -> Response:
            return self._enter(None)

        @app.post(ENTER)
        def _entered(request: Request, token: str = Form("", max_length=100)) -> Response:
            return self._enter(token, request.client.host if request.client else "")

        @app.exception_handler(RequestValidationError)
        async def _malformed(_request: Request, _error: RequestValidationError) -> Response:
            return HTMLResponse(sorry_page("There is nothing at this address."), 404)

    def _enter(self, token: str | None, address: str = "") -> Response:
        if self.doors is None:
            return RedirectResponse("/", 303)
        folder = resources.files("strokebench.panel") / "static"
        style = "".join((folder / name).read_text(encoding="utf-8") for name in ("stop.css", "panel.css"))
        if token is None:
            return HTMLResponse(enter_page(style))
        session = self.doors.enter(token, address)
        if session is None:
            return HTMLResponse(enter_page(style, wrong=True), 403)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, session, httponly=True, samesite="strict", path="/")
        return answer

    def _report(self, run_id: int) -> Response:
        from strokebench.data.findings import Verdict
        from strokebench.report import render
        from strokebench.verdict.examine import examine

        try:
            data, findings, profile = load_run(self.options.book, run_id)
            with self.reports:
                if findings and data.info.get("verdict"):
                    verdict = Verdict(data.info["verdict"])
                else:
                    findings, verdict = examine(data, profile)
                text = render(data, profile, findings, verdict)
        except StrokebenchError as error:
            return HTMLResponse(sorry_page(f"{error} {error.hint}"), 404)
        return HTMLResponse(with_stop(text), headers={"content-security-policy": REPORT_POLICY})


class PanelServer(uvicorn.Server):
    """Stops the part as the first thing when it is told to end."""

    def __init__(self, config: uvicorn.Config, driver: Driver, doorman: Doorman) -> None:
        super().__init__(config)
        self._driver = driver
        self._doorman = doorman

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin without a socket of its own: the doorman hands connections over."""
        await super().startup(sockets=[])

        def make() -> Any:
            return self.config.http_protocol_class(
                config=self.config, server_state=self.server_state, app_state=self.lifespan.state
            )  # type: ignore[call-arg]

        self._doorman.start(asyncio.get_running_loop(), make)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the lifelines, then the pages."""
        self._doorman.close()
        await super().shutdown(sockets=[])

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Ctrl-C or SIGTERM."""
        self._driver.stop("The panel was closed.")
        super().handle_exit(sig, frame)


def is_loopback(address: str) -> bool:
    """Tell whether only this machine can reach ``address``."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"


def is_wildcard(address: str) -> bool:
    """Tell whether ``address`` stands for all addresses of this machine: no browser can open it."""
    try:
        return ipaddress.ip_address(address).is_unspecified
    except ValueError:
        return False


def reachable_address(wildcard: str) -> str:
    """Return the address at which others reach this machine, the loopback's when it has no network.

    Choosing a way to an address of the documentation's network sends nothing.
    """
    family, there = (
        (socket.AF_INET6, DOCUMENTATION[1]) if ":" in wildcard else (socket.AF_INET, DOCUMENTATION[0])
    )
    with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asking:
        asking.connect((there, 9))
        return str(asking.getsockname()[0])
    return "::1" if ":" in wildcard else "127.0.0.1"


def own_names(listen: str) -> set[str]:
    """Return the host names under which the panel at ``listen`` may be asked for, lower case."""
    if is_loopback(listen):
        return {listen.lower()}
    host = socket.gethostname().lower()
    return {listen.lower(), host, f"{host.partition('.')[0]}.local"}


def listening_socket(address: str, port: int) -> socket.socket:
    """Return a bound socket; :class:`UsageError` in a plain sentence when that cannot be."""
    try:
        family, kind, proto, _, where = socket.getaddrinfo(address, port, type=socket.SOCK_STREAM)[0]
        bound = socket.socket(family, kind, proto)
        if sys.platform != "win32":  # there the option would let two programs share the port
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind(where)
        bound.listen(BACKLOG)
    except (OSError, OverflowError) as error:
        raise UsageError(
            f"The panel cannot listen on {address}, port {port}: {error}.", "Choose another with --http-port."
        ) from None
    return bound


class Say(Protocol):
    """Tells the people a line, and a program what is in it."""

    def __call__(self, line: str, /, **facts: str) -> object: ...


def serve(options: Options, say: Say) -> None:
    """Serve until Ctrl-C or SIGTERM; ``say`` is told the address (``url``), and each ``token``, in a line."""
    bound = listening_socket(options.listen, options.http_port)
    port = bound.getsockname()[1]

    def announce(token: str) -> None:
        say(f"One-time token for the next browser: {spaced(token)}", token=spaced(token))

    panel = Panel(options, announce)
    outward = options.listen if not is_wildcard(options.listen) else reachable_address(options.listen)
    shown = f"[{outward}]" if ":" in outward else outward
    config = uvicorn.Config(
        panel.app(port), log_level="warning", access_log=False, server_header=False, ws="websockets-sansio",
        timeout_graceful_shutdown=LEAVE_S, ws_max_size=65536,
    )  # fmt: skip
    doorman = Doorman(bound, panel.lifeline(port), panel.lifelines.broadcast)
    server: Any = PanelServer(config, panel.driver, doorman)
    more_descriptors()
    panel.driver.start()
    if options.choice is not None:
        panel.driver.order("open", choice=options.choice)
    url = f"http://{shown}:{port}/"
    say(f"Panel: {url}   (Ctrl-C ends it and leaves the part off)", url=url)
    try:
        server.run(sockets=[])
    finally:
        panel.driver.close()
        bound.close()


def spaced(token: str) -> str:
    """Return a token in groups of four, to be typed."""
    return "-".join(token[i : i + 4] for i in range(0, len(token), 4))
