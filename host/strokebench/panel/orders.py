"""What pages ask of the thread that owns the bench: in turn, except STOP, which drops the rest."""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, field
from typing import Any

QUEUE_MAX = 32


@dataclass(frozen=True)
class Order:
    """One thing to do, by name, with what it needs."""

    name: str
    args: dict[str, Any] = field(default_factory=dict)


class Orders:
    """A queue for one taker and many givers."""

    def __init__(self) -> None:
        self._ready = threading.Condition()
        self._waiting: deque[Order] = deque(maxlen=QUEUE_MAX)
        self._stop = ""
        self._stops = 0
        self._off = 0

    def put(self, order: Order) -> None:
        """Add an order; a newer jog replaces an older one that still waits."""
        with self._ready:
            if order.name == "jog":
                self._waiting = deque((o for o in self._waiting if o.name != "jog"), QUEUE_MAX)
            self._waiting.append(order)
            self._ready.notify()

    def stop(self, why: str) -> int:
        """Stop before anything else; what waits is forgotten, but for connecting, which moves nothing.

        ``why`` is a sentence; the first stays. Returns the stop's number, for :attr:`off`.
        """
        with self._ready:
            self._forget()
            self._stop = self._stop or why
            self._stops += 1
            self._ready.notify()
            return self._stops

    @property
    def stop_asked(self) -> str:
        """Why a stop is asked for, empty when none is."""
        return self._stop

    @property
    def stops(self) -> int:
        """Number of the newest stop."""
        return self._stops

    @property
    def off(self) -> int:
        """Number of the newest stop after which the bench itself has said that drive and supply are off."""
        return self._off

    def stopped(self) -> None:
        """The stop has been carried out; also what came in between is forgotten."""
        with self._ready:
            self._forget()
            self._stop = ""

    def _forget(self) -> None:
        self._waiting = deque((order for order in self._waiting if order.name == "open"), QUEUE_MAX)

    def confirmed(self, number: int) -> None:
        """The bench said that the part is off, and was asked after stop ``number``."""
        with self._ready:
            self._off = max(self._off, number)

    def take(self, wait_s: float) -> Order | None:
        """Return the next order, None when there is none within ``wait_s`` or a stop is asked for."""
        with self._ready:
            if not self._waiting and not self._stop and wait_s:
                self._ready.wait(wait_s)
            if self._stop or not self._waiting:
                return None
            return self._waiting.popleft()
