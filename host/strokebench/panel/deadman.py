"""Who drives, and whether that page is still alive: without its echo the part stops.

The server numbers what it sends to the pages; a page's main thread sends each number back. What counts is
when the number was *sent*: an echo that was held up somewhere does not make its page look alive.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

LIMIT_S = 0.4
"""Longest age of the newest echo. With the way to the bridge this stays within half a second."""
PROCEDURE_LIMIT_S = 2.0
"""Longest age that a running procedure ever allows, however slow the page's computer is."""
FRAMES = 3.0
"""So many of the page's own slowest frames may pass in a procedure before it counts as dead."""
KEPT = 64


class Deadman:
    """One page drives at most, the others watch. Safe to use from any thread; times in seconds."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._sent: deque[tuple[int, float]] = deque(maxlen=KEPT)
        self._alive: dict[str, float] = {}
        self._frame_s: dict[str, float] = {}
        self._driver: str | None = None

    def join(self, page: str, *, watches: bool = False) -> None:
        """A page is there; it drives if nobody does, unless it only ``watches``."""
        with self._lock:
            self._alive[page] = float("-inf")
            if self._driver is None and not watches:
                self._driver = page

    def leave(self, page: str) -> bool:
        """A page is gone; True if it was the one that drove."""
        with self._lock:
            self._alive.pop(page, None)
            self._frame_s.pop(page, None)
            drove = self._driver == page
            if drove:
                self._driver = None
            return drove

    def take(self, page: str, *, moving: bool) -> bool:
        """Let ``page`` drive from now on; refused (False) while the part moves under another page's hand."""
        with self._lock:
            if page not in self._alive or (moving and self._driver not in (None, page)):
                return False
            self._driver = page
            return True

    def give(self, page: str) -> None:
        """Let go of the controls."""
        with self._lock:
            if self._driver == page:
                self._driver = None

    def drives(self, page: str) -> bool:
        """Tell whether ``page`` drives."""
        with self._lock:
            return page == self._driver

    @property
    def taken(self) -> bool:
        """Somebody drives."""
        with self._lock:
            return self._driver is not None

    def sent(self, number: int) -> None:
        """Note that ``number`` goes out to the pages now."""
        with self._lock:
            self._sent.append((number, self._clock()))

    def echoed(self, page: str, number: int, frame_s: float = 0.0) -> None:
        """Note that ``page`` has sent ``number`` back; a number never sent, or forgotten, means nothing.

        ``frame_s``: the longest time between two frames that the page has drawn in the last seconds.
        """
        with self._lock:
            if page in self._alive:
                self._frame_s[page] = frame_s
            for known, sent_s in self._sent:
                if known == number and page in self._alive:
                    self._alive[page] = max(self._alive[page], sent_s)

    def silent_s(self) -> float:
        """Return the age of the driving page's newest echo in seconds, infinite when nobody drives."""
        with self._lock:
            if self._driver is None:
                return float("inf")
            return self._clock() - self._alive[self._driver]

    def limit_s(self, procedure: bool) -> float:
        """Return the longest age of the newest echo, in seconds.

        Moving by hand: always :data:`LIMIT_S`. A ``procedure`` keeps to its own limits and ends by itself:
        it gives a page whose computer is busy three of its own slowest frames,
        :data:`PROCEDURE_LIMIT_S` at most. The frames were measured while the page lived, so that a page
        that has died gets no more time than its last answers had earned.
        """
        with self._lock:
            frame_s = self._frame_s.get(self._driver or "", 0.0)
        return min(max(LIMIT_S, FRAMES * frame_s), PROCEDURE_LIMIT_S) if procedure else LIMIT_S

    def silent(self, procedure: bool = False) -> bool:
        """Tell that nobody living drives: nothing may move."""
        return self.silent_s() > self.limit_s(procedure)
