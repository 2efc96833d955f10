"""Puts the panel together and serves it: pages, lifelines, reports, behind the guard."""

from __future__ import annotations

import asyncio
import base64
import gc
import hashlib
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
from fastapi.middleware.gzip import GZipMiddleware
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles

from strokebench.panel.addresses import (
    is_loopback,
    is_wildcard,
    listening_socket,
    own_names,
    reachable_address,
)
from strokebench.panel.charts import chart_files
from strokebench.panel.choice import Choice
from strokebench.panel.deadman import Deadman
from strokebench.panel.doorman import Doorman, more_descriptors
from strokebench.panel.driver import Driver
from strokebench.panel.failures import add_error_pages
from strokebench.panel.instrument.routes import Sources, add_routes
from strokebench.panel.jobs import add_job_routes
from strokebench.panel.lifeline import Lifelines
from strokebench.panel.pages.bench import bench_page
from strokebench.panel.pages.book import Filter, book_page
from strokebench.panel.pages.compare import compare_page
from strokebench.panel.pages.connect import connect_page, picture
from strokebench.panel.pages.enter import SCRIPT, enter_page, join_page
from strokebench.panel.pages.findings import live_findings
from strokebench.panel.pages.frame import CHARTS, STATIC
from strokebench.panel.pages.run import run_page
from strokebench.panel.pages.sorry import sorry_page
from strokebench.panel.pages.stop import REPORT_POLICY, with_stop
from strokebench.panel.pages.trend import trend_page
from strokebench.panel.runs import load_run
from strokebench.panel.security import COOKIE, ENTER, POLICY, ROLES, Doors, Guard, may_drive, spaced
from strokebench.panel.tls import context_of
from strokebench.panel.wishes import Wishes

LOCAL_NAMES = ("localhost", "127.0.0.1", "::1")
CHART_FILES = chart_files()
LEAVE_S = 1
TURN_S = 0.001
TEXT_MAX = 200


@dataclass(frozen=True)
class Options:
    """What the command line asked for. ``http_port`` 0: any free one. ``tls``: certificate and key (PEM)."""

    listen: str = "127.0.0.1"
    http_port: int = 8765
    book: Path = Path("strokebench.book")
    choice: Choice | None = None
    tls: tuple[Path, Path] | None = None


class Panel:
    """The panel's parts: driver, lifelines, and the doors when other machines may come in."""

    def __init__(self, options: Options, announce: Callable[[str], object]) -> None:
        self.options = options
        self.driver = Driver(options.book, Deadman())
        self.lifelines = Lifelines(self.driver, Wishes(options.choice))
        self.doors = None if is_loopback(options.listen) else Doors(announce)
        self.sources = Sources(self.driver, options.book)
        self.url = ""
        self.reports = threading.Lock()
        """One report at a time: the plotting library is not made for threads."""

    def app(self, port: int) -> FastAPI:
        """Return the web application of the pages, guarded for ``port``."""
        app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
        add_error_pages(app)
        self._pages(app)
        self._doors(app)
        add_routes(app, self.sources)
        add_job_routes(app, self.options.book, self.reports)
        app.mount(STATIC, StaticFiles(packages=[("strokebench.panel", "static")]))
        app.mount(CHARTS, StaticFiles(directory=CHART_FILES))
        app.add_middleware(GZipMiddleware, minimum_size=1024)
        app.add_middleware(
            Guard, names=self._names(), port=port, doors=self.doors, secure=self.options.tls is not None
        )
        return app

    def lifeline(self, port: int) -> Guard:
        """Return the web application of the lifelines, guarded for ``port``; it has a loop of its own."""
        secure = self.options.tls is not None
        return Guard(self.lifelines.app(), self._names(), port, self.doors, secure=secure)

    def _names(self) -> frozenset[str]:
        return frozenset((*LOCAL_NAMES, *own_names(self.options.listen)))

    def _pages(self, app: FastAPI) -> None:
        options = self.options

        @app.get("/", response_class=HTMLResponse)
        def _bench() -> str:
            return bench_page(self.driver, options.choice)

        @app.get("/findings", response_class=HTMLResponse)
        def _findings() -> str:
            return live_findings(self.driver)

        @app.get("/book", response_class=HTMLResponse)
        def _book(
            find: str = "", part: str = "", customer: str = "", verdict: str = "", page: int = 1
        ) -> str:
            find, part, customer, verdict = (text[:TEXT_MAX] for text in (find, part, customer, verdict))
            return book_page(options.book, Filter(find, part, customer, verdict, page))

        @app.get("/trend", response_class=HTMLResponse)
        def _trend(part: str = "", customer: str = "", finding: str = "") -> str:
            return trend_page(options.book, *(text[:TEXT_MAX] for text in (part, customer, finding)))

        @app.get("/compare", response_class=HTMLResponse)
        def _compare(a: str = "", b: str = "") -> str:
            return compare_page(options.book, self.sources, a, b)

        @app.get("/connect", response_class=HTMLResponse)
        def _connect(part: str = "") -> str:
            return connect_page(part[:TEXT_MAX], self.driver)

        @app.get("/wiring/{part}.svg")
        def _wiring(part: str) -> Response:
            text = picture(part)
            if text is None:
                return HTMLResponse(sorry_page(404, "There is no drawing of such a part."), 404)
            return Response(text, media_type="image/svg+xml")

        @app.get("/run/{run_id}", response_class=HTMLResponse)
        def _run(run_id: int) -> str:
            return run_page(options.book, self.sources, run_id)

        @app.get("/report/{run_id}")
        def _report(run_id: int) -> Response:
            return self._report(run_id)

    def _doors(self, app: FastAPI) -> None:
        @app.post("/stop")  # from a connection that has served pages before
        def _stop(request: Request) -> Response:
            return self.lifelines.stop(request)

        @app.get(ENTER)
        def _enter() -> Response:
            return self._enter(None)

        @app.post(ENTER)
        def _entered(request: Request, token: str = Form("", max_length=100)) -> Response:
            return self._enter(token, request.client.host if request.client else "")

        @app.get("/join", response_class=HTMLResponse)
        def _join() -> str:
            return join_page(self.url if self.doors else "")

        @app.post("/join", response_class=HTMLResponse)
        def _invite(request: Request, role: str = Form("watch", max_length=10)) -> Response:
            if self.doors is None or role not in ROLES or not may_drive(request.scope):
                return HTMLResponse(
                    sorry_page(403, "This device only watches. It cannot let others in."), 403
                )
            token = self.doors.invite(role)
            return HTMLResponse(join_page(self.url, token, role, spaced=spaced(token)))

    def _enter(self, token: str | None, address: str = "") -> Response:
        if self.doors is None:
            return RedirectResponse("/", 303)
        folder = resources.files("strokebench.panel") / "static"
        style = "".join((folder / name).read_text(encoding="utf-8") for name in ("stop.css", "panel.css"))
        policy = {
            "content-security-policy": f"{POLICY}; style-src {digest(style)}; script-src {digest(SCRIPT)}"
        }
        if token is None:
            return HTMLResponse(enter_page(style), headers=policy)
        session = self.doors.enter(token, address)
        if session is None:
            return HTMLResponse(enter_page(style, wrong=True), 403, headers=policy)
        answer = RedirectResponse("/", 303)
        secure = self.options.tls is not None
        answer.set_cookie(COOKIE, session, httponly=True, samesite="strict", path="/", secure=secure)
        return answer

    def _report(self, run_id: int) -> Response:
        from strokebench.data.findings import Verdict
        from strokebench.report import render
        from strokebench.report.workshop import workshop_for
        from strokebench.verdict.examine import examine

        data, findings, profile = load_run(self.options.book, run_id)
        with self.reports:
            if findings and data.info.get("verdict"):
                verdict = Verdict(data.info["verdict"])
            else:
                findings, verdict = examine(data, profile)
            text = render(data, profile, findings, verdict, workshop_for(self.options.book))
        return HTMLResponse(with_stop(text), headers={"content-security-policy": REPORT_POLICY})


class PanelServer(uvicorn.Server):
    """Stops the part as the first thing when it ends."""

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


def digest(text: str) -> str:
    """Return what a content security policy calls this script or style."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


class Say(Protocol):
    """Tells the people a line, and a program what is in it."""

    def __call__(self, line: str, /, **facts: str) -> object: ...


def _be_quick() -> None:
    """Have the lifeline wait less for whatever else this program does.

    What is loaded by now stays to the end. A collection of garbage need not look at it again, which took 18
    to 45 ms each time. A thread that computes gives way after 1 ms instead of 5.
    """
    gc.collect()
    gc.freeze()
    sys.setswitchinterval(TURN_S)


def serve(options: Options, say: Say) -> None:
    """Serve until Ctrl-C or SIGTERM; ``say`` gets the address (``url``) and each ``token``, a line each."""
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
    tls = context_of(*options.tls) if options.tls else None
    doorman = Doorman(bound, panel.lifeline(port), panel.lifelines.broadcast, tls)
    server: Any = PanelServer(config, panel.driver, doorman)
    more_descriptors()
    panel.driver.start()
    if options.choice is not None:
        panel.driver.order("open", choice=options.choice)
    url = panel.url = f"{'https' if tls else 'http'}://{shown}:{port}/"
    _be_quick()
    say(f"Panel: {url}   (Ctrl-C ends it and leaves the part off)", url=url)
    try:
        server.run(sockets=[])
    finally:
        panel.driver.close()
        bound.close()
