"""The one socket of each page: updates down, echoes and commands up. When it is silent, the part stops."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from strokebench.errors import StrokebenchError
from strokebench.panel import wishes
from strokebench.panel.feed import PERIOD_S, Feed
from strokebench.panel.security import may_drive
from strokebench.panel.wishes import Wishes

if TYPE_CHECKING:
    from strokebench.panel.driver import Driver

IN_FLIGHT = 4
"""Updates a page may be behind before the next ones are left out for it."""
COMMAND_BYTES = 16384
PAGES_MAX = 256
"""Pages at once, of all addresses."""
PAGES_OF_ONE = 224
WATCHERS_AT_ONCE = 64
"""Pages that get the same update; more of them take turns, so that STOP does not wait for a crowd."""
NAME_MAX = 64
STOPS_KEPT = 32
FRAME_MAX_S = 10.0
FULL = 4429
BY_THE_BENCH = ("run", "gently")
"""The bench's own clock moves the part then: begun with the same patience that it goes on with."""
LATE = "The page had been silent for a moment. Its last command was not carried out."


class Page:
    """One connected page."""

    def __init__(self, socket: WebSocket, name: str, address: str = "", *, watches: bool = False) -> None:
        self.socket = socket
        self.name = name
        self.address = address
        self.watches = watches
        self.stops: dict[int, int] = {}
        """The page's own number of each STOP, and the driver's."""
        self.unanswered = 0
        self.seen = 0
        self.sending: asyncio.Task[None] | None = None


class Lifelines:
    """All connected pages, the broadcast to them, and what they may ask for."""

    def __init__(self, driver: Driver, asks: Wishes | None = None) -> None:
        self._driver = driver
        self.feed = Feed(driver)
        self.pages: dict[str, Page] = {}
        self.sent = self.dropped = 0
        self._next = 0
        asks = asks or Wishes()
        self._do: dict[str, Callable[[dict[str, Any]], None]] = {
            "arm": lambda _: driver.order("arm"),
            "disarm": lambda _: driver.order("disarm"),
            "jog": lambda m: driver.order("jog", drive=wishes.drive(m)),
            "release": lambda _: driver.order("release"),
            "clear": lambda _: driver.order("clear"),
            "check": lambda _: driver.order("check"),
            **{name: partial(self._ask, name) for name in ("gently", "touch", "connected", "give_up")},
            "find": lambda m: driver.order("find", pins=wishes.number({"pins": 0, **m}, "pins")),
            "polarity": lambda m: driver.order("polarity", right=wishes.answer(m)),
            "close": lambda _: driver.order("close"),
            "run": lambda m: driver.order("run", papers=wishes.papers(m)),
            "open": lambda m: driver.order("open", choice=asks.choice(m)),
        }

    def _ask(self, name: str, _message: dict[str, Any]) -> None:
        self._driver.order(name)

    def app(self) -> Starlette:
        """Return the web application that serves the lifelines, and STOP's second way, and nothing else."""

        async def lifeline(socket: WebSocket) -> None:
            await self.serve(socket, socket.path_params["page"][:NAME_MAX])

        async def stop(request: Request) -> Response:
            return self.stop(request)

        async def load(_request: Request) -> Response:
            return JSONResponse({"pages": len(self.pages), "sent": self.sent, "dropped": self.dropped})

        return Starlette(
            routes=[
                WebSocketRoute("/lifeline/{page}", lifeline),
                Route("/stop", stop, methods=["POST"]),
                Route("/load", load),
            ]
        )

    def stop(self, request: Request) -> Response:
        """STOP's second way, beside the socket: the first to come stops, the page's number makes them one."""
        page = self.pages.get(request.query_params.get("page", "")[:NAME_MAX])
        wanted = request.query_params.get("stop", "")
        self._stop(page, int(wanted) if wanted.isascii() and wanted.isdigit() and len(wanted) < 16 else None)
        return Response(status_code=204)

    def _stop(self, page: Page | None, number: int | None) -> None:
        if page is None or number is None:
            self._driver.stop()
        elif number not in page.stops:
            page.stops[number] = self._driver.stop()
            while len(page.stops) > STOPS_KEPT:
                page.stops.pop(next(iter(page.stops)))

    async def serve(self, socket: WebSocket, name: str) -> None:
        """Live with one page until it leaves."""
        address = socket.client.host if socket.client else ""
        watches = socket.query_params.get("role") == "watch" or not may_drive(socket.scope)
        page = Page(socket, name, address, watches=watches)
        of_one = sum(other.address == page.address for other in self.pages.values())
        if name not in self.pages and (len(self.pages) >= PAGES_MAX or of_one >= PAGES_OF_ONE):
            await socket.close(FULL)
            return
        await socket.accept()
        self.pages[name] = page
        self._driver.deadman.join(name, watches=page.watches)
        try:
            while True:
                text = await socket.receive_text()
                if len(text) <= COMMAND_BYTES:
                    self._hear(page, text)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            if self.pages.get(name) is page:
                del self.pages[name]
                self._gone(name, "closed")

    def _gone(self, name: str, how: str) -> None:
        drove = self._driver.deadman.drives(name)
        if how == "closed":
            self._driver.deadman.leave(name)
        if drove and self._driver.view.now.moving:
            self._driver.stop(f"The page that drives was {how}. The part was stopped.")

    def _hear(self, page: Page, text: str) -> None:
        try:
            message = json.loads(text)
            if not isinstance(message, dict):
                return
            if "echo" in message:
                page.unanswered = max(0, page.unanswered - 1)
                frame_s = min(wishes.number({"frame": 0, **message}, "frame") / 1000, FRAME_MAX_S)
                self._driver.deadman.echoed(page.name, wishes.number(message, "echo"), frame_s)
            elif "seen" in message:  # from a page that lies behind another: it lives but nobody looks at it
                page.unanswered = max(0, page.unanswered - 1)
            elif "do" in message:
                self._act(page, str(message["do"]), message)
        except StrokebenchError as error:
            self._driver.view.complain(error)
        except (ValueError, RecursionError):
            return  # nothing we know; a page of ours never sends it

    def _act(self, page: Page, name: str, message: dict[str, Any]) -> None:
        driver = self._driver
        if name == "stop":  # everybody may, always
            self._stop(page, wishes.number(message, "stop") if "stop" in message else None)
        elif page.watches:
            return
        elif name == "hidden":
            self._gone(page.name, "hidden")
        elif name == "take":
            if not driver.deadman.take(page.name, moving=driver.view.now.moving):
                driver.view.say("Another page is moving the part. Stop it first.", error=True)
        elif not driver.deadman.drives(page.name):
            return
        elif name == "give":
            if driver.view.now.moving:
                driver.stop("The controls were handed over. The part was stopped.")
            driver.deadman.give(page.name)
        elif name not in ("disarm", "release") and driver.deadman.silent(name in BY_THE_BENCH):
            driver.view.say(LATE, "Press again.", error=True)
        elif name in self._do:
            self._do[name](message)

    async def broadcast(self) -> None:
        """Send updates for ever, 20 a second; what a page that lags is not sent is counted."""
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        while True:
            due_s = max(due_s + PERIOD_S, loop.time())
            await asyncio.sleep(due_s - loop.time())
            if not self.pages:
                continue
            common = self.feed.next()
            for page in self._turn():
                if page.unanswered >= IN_FLIGHT or (page.sending is not None and not page.sending.done()):
                    self.dropped += 1
                else:
                    page.sending = loop.create_task(self._send(page, common))

    def _turn(self) -> list[Page]:
        """Return the pages whose turn it is: always the one that drives, and the next of the others."""
        pages = list(self.pages.values())
        if len(pages) <= WATCHERS_AT_ONCE:
            return pages
        self._next = (self._next + WATCHERS_AT_ONCE) % len(pages)
        drives = [page for page in pages if self._driver.deadman.drives(page.name)]
        turn = (pages[self._next :] + pages[: self._next])[:WATCHERS_AT_ONCE]
        return drives + [page for page in turn if page not in drives]

    async def _send(self, page: Page, common: str) -> None:
        page.seen, points = self.feed.points(page.seen)
        mine = "true" if self._driver.deadman.drives(page.name) else "false"
        may = "false" if page.watches else "true"
        off = max((own for own, number in page.stops.items() if number <= self._driver.orders.off), default=0)
        page.unanswered += 1
        self.sent += 1
        with contextlib.suppress(RuntimeError, WebSocketDisconnect, OSError):
            await page.socket.send_text(f'{common},"mine":{mine},"may":{may},"off":{off},"points":{points}}}')
