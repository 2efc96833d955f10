"""Puts the panel together and serves it: pages, lifelines, reports, behind the guard."""

from __future__ import annotations

import asyncio
import contextlib
import ipaddress
import socket
import sys
import threading
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import FrameType
from typing import Any, Protocol

import uvicorn
from fastapi import FastAPI, Form, WebSocket
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from nicegui import app as framework
from nicegui import ui

from strokebench.errors import StrokebenchError, UsageError
from strokebench.panel.choice import Choice
from strokebench.panel.deadman import Deadman
from strokebench.panel.driver import Driver
from strokebench.panel.lifeline import Lifelines
from strokebench.panel.pages.bench import bench_page
from strokebench.panel.pages.book import book_page
from strokebench.panel.pages.compare import compare_page, load_run
from strokebench.panel.pages.enter import enter_page
from strokebench.panel.pages.frame import STATIC
from strokebench.panel.security import COOKIE, ENTER, Doors, Guard

LOCAL_NAMES = ("localhost", "127.0.0.1", "::1")
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; base-uri 'none'"
)
LEAVE_S = 1


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
        self.lifelines = Lifelines(self.driver)
        self.doors = None if is_loopback(options.listen) else Doors(announce)
        self.reports = threading.Lock()
        """One report at a time: the plotting library is not made for threads."""

    def app(self, port: int) -> FastAPI:
        """Return the web application, guarded for ``port``."""
        app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None, lifespan=self._lifespan)
        self._routes(app)
        self._pages()
        app.mount(STATIC, StaticFiles(packages=[("strokebench.panel", "static")]))
        names = frozenset((*LOCAL_NAMES, *own_names(self.options.listen)))
        # no bar on each request: it would be one without a name, and nothing here takes long
        framework.config.quasar_config["loadingBar"] = {"skipHijack": True}
        ui.run_with(
            app, title="strokebench panel", language="en-US", tailwind=False, dark=False,
            show_welcome_message=False, reconnect_timeout=5.0,
        )  # fmt: skip
        app.add_middleware(Guard, names=names, port=port, doors=self.doors)
        return app

    @contextlib.asynccontextmanager
    async def _lifespan(self, _app: FastAPI) -> AsyncIterator[None]:
        broadcast = asyncio.create_task(self.lifelines.broadcast())
        yield
        broadcast.cancel()

    def _pages(self) -> None:
        options = self.options

        @ui.page("/", title="Bench - strokebench panel")
        def _bench() -> None:
            bench_page(self.driver, options.choice)

        @ui.page("/book", title="Job book - strokebench panel")
        def _book(find: str = "") -> None:
            book_page(options.book, find)

        @ui.page("/compare", title="Compare - strokebench panel")
        def _compare(a: int, b: int) -> None:
            compare_page(options.book, a, b)

    def _routes(self, app: FastAPI) -> None:
        @app.websocket("/lifeline/{page}")
        async def _lifeline(socket: WebSocket, page: str) -> None:
            await self.lifelines.serve(socket, page[:64])

        @app.post("/stop")
        def _stop() -> Response:
            self.driver.stop()
            return Response(status_code=204)

        @app.get("/report/{run_id}")
        def _report(run_id: int) -> Response:
            return self._report(run_id)

        @app.get("/load")
        def _load() -> Response:
            lines = self.lifelines
            return JSONResponse({"pages": len(lines.pages), "sent": lines.sent, "dropped": lines.dropped})

        @app.get(ENTER)
        def _enter() -> Response:
            return self._enter(None)

        @app.post(ENTER)
        def _entered(token: str = Form("")) -> Response:
            return self._enter(token)

    def _enter(self, token: str | None) -> Response:
        if self.doors is None:
            return RedirectResponse("/", 303)
        style = (resources.files("strokebench.panel") / "static" / "panel.css").read_text(encoding="utf-8")
        if token is None:
            return HTMLResponse(enter_page(style))
        session = self.doors.enter(token)
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
            return Response(f"{error} {error.hint}", 404, media_type="text/plain")
        return HTMLResponse(text, headers={"content-security-policy": REPORT_POLICY})


class PanelServer(uvicorn.Server):
    """Stops the part as the first thing when it is told to end."""

    def __init__(self, config: uvicorn.Config, driver: Driver) -> None:
        super().__init__(config)
        self._driver = driver

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
    shown = f"[{options.listen}]" if ":" in options.listen else options.listen
    config = uvicorn.Config(
        panel.app(port), log_level="warning", access_log=False, server_header=False, ws="websockets-sansio",
        timeout_graceful_shutdown=LEAVE_S, ws_max_size=65536,
    )  # fmt: skip
    server: Any = PanelServer(config, panel.driver)
    panel.driver.start()
    if options.choice is not None:
        panel.driver.order("open", choice=options.choice)
    url = f"http://{shown}:{port}/"
    say(f"Panel: {url}   (Ctrl-C ends it and leaves the part off)", url=url)
    try:
        server.run(sockets=[bound])
    finally:
        panel.driver.close()
        bound.close()


def spaced(token: str) -> str:
    """Return a token in groups of four, to be typed."""
    return "-".join(token[i : i + 4] for i in range(0, len(token), 4))
