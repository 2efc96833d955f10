"""The one socket of each page: updates down, echoes and commands up. When it is silent, the part stops."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fastapi import WebSocket, WebSocketDisconnect

from strokebench.errors import StrokebenchError
from strokebench.panel.choice import Choice
from strokebench.panel.feed import PERIOD_S, Feed
from strokebench.panel.procedure_run import Papers

if TYPE_CHECKING:
    from strokebench.panel.driver import Driver

IN_FLIGHT = 4
"""Updates a page may be behind before the next ones are left out for it."""
COMMAND_BYTES = 8192
TEXT_MAX = 2000
LATE = "The page had been silent for a moment: what it asked for was not done."


class Page:
    """One connected page."""

    def __init__(self, socket: WebSocket, name: str) -> None:
        self.socket = socket
        self.name = name
        self.unanswered = 0
        self.seen = 0
        self.sending: asyncio.Task[None] | None = None


class Lifelines:
    """All connected pages, the broadcast to them, and what they may ask for."""

    def __init__(self, driver: Driver) -> None:
        self._driver = driver
        self.feed = Feed(driver)
        self.pages: dict[str, Page] = {}
        self.sent = self.dropped = 0
        self._do: dict[str, Callable[[dict[str, Any]], None]] = {
            "arm": lambda _: driver.order("arm"),
            "disarm": lambda _: driver.order("disarm"),
            "jog": lambda m: driver.order("jog", drive=float(m["drive"])),
            "release": lambda _: driver.order("release"),
            "clear": lambda _: driver.order("clear"),
            "close": lambda _: driver.order("close"),
            "run": lambda m: driver.order("run", papers=_papers(m)),
            "open": lambda m: driver.order("open", choice=_choice(m)),
        }

    async def serve(self, socket: WebSocket, name: str) -> None:
        """Live with one page until it leaves."""
        await socket.accept()
        page = Page(socket, name)
        self.pages[name] = page
        self._driver.deadman.join(name)
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
            self._driver.stop(f"The page that drives was {how}; the part was stopped.")

    def _hear(self, page: Page, text: str) -> None:
        try:
            message = json.loads(text)
            if "echo" in message:
                page.unanswered = max(0, page.unanswered - 1)
                self._driver.deadman.echoed(page.name, int(message["echo"]))
            elif "seen" in message:  # from a page that lies behind another: it lives but nobody looks at it
                page.unanswered = max(0, page.unanswered - 1)
            elif "do" in message:
                self._act(page, str(message["do"]), message)
        except StrokebenchError as error:
            self._driver.view.complain(error)
        except (ValueError, TypeError, KeyError, AttributeError):
            return  # nothing we know; a page of ours never sends it

    def _act(self, page: Page, name: str, message: dict[str, Any]) -> None:
        driver = self._driver
        if name == "stop":  # everybody may, always
            driver.stop()
        elif name == "hidden":
            self._gone(page.name, "hidden")
        elif name == "take":
            if not driver.deadman.take(page.name, moving=driver.view.now.moving):
                driver.view.say("Another page is moving the part; stop it first.", error=True)
        elif not driver.deadman.drives(page.name):
            return
        elif name == "give":
            if driver.view.now.moving:
                driver.stop("The controls were handed over; the part was stopped.")
            driver.deadman.give(page.name)
        elif name == "disarm" or name == "release" or not driver.deadman.silent():
            self._do[name](message)
        else:
            driver.view.say(LATE, "Press again.", error=True)

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
            for page in self.pages.values():
                if page.unanswered >= IN_FLIGHT or (page.sending is not None and not page.sending.done()):
                    self.dropped += 1
                else:
                    page.sending = loop.create_task(self._send(page, common))

    async def _send(self, page: Page, common: str) -> None:
        page.seen, points = self.feed.points(page.seen)
        mine = "true" if self._driver.deadman.drives(page.name) else "false"
        page.unanswered += 1
        self.sent += 1
        with contextlib.suppress(RuntimeError, WebSocketDisconnect, OSError):
            await page.socket.send_text(f'{common},"mine":{mine},"points":{points}}}')


def _papers(message: dict[str, Any]) -> Papers:
    fields = (str(message.get(name, ""))[:TEXT_MAX] for name in ("customer", "serial", "note"))
    return Papers(*fields)


def _choice(message: dict[str, Any]) -> Choice:
    faults = tuple(str(fault) for fault in message.get("faults", ()))
    return Choice(
        part=str(message["part"]),
        simulated=bool(message["simulated"]),
        port=str(message.get("port", "")),
        faults=faults,
        seed=int(message.get("seed", 1)),
        acknowledged=message.get("acknowledged") is True,
    )
