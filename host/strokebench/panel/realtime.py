"""A simulated bench that lives in real time in a thread of its own, as a real one lives in its box.

The bench goes on when the panel's thread hangs, so that its own heartbeat limit is a real second net.
"""

from __future__ import annotations

import queue
import threading
import time
from typing import Any

from strokebench.bench.spec import SimSpec
from strokebench.errors import LinkLost

HELD_MESSAGES = 4096


class MemoryLine:
    """The bench's end of a pair of queues (a line of :mod:`strokebench.sim.engine.serve`)."""

    name = "memory"

    def __init__(self) -> None:
        self.to_bench: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self.to_host: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    def receive(self, wait_s: float) -> bytes:
        """Return what the host sent, waiting up to ``wait_s``."""
        try:
            return self.to_bench.get(timeout=wait_s)
        except queue.Empty:
            return b""

    def send(self, data: bytes) -> None:
        """Pass ``data`` to the host; lost when it has not read for long, as on a real line."""
        if self.to_host.qsize() < HELD_MESSAGES:
            self.to_host.put(data)

    def close(self) -> None:
        """Nothing to let go of."""


class LivePort:
    """A :class:`strokebench.link.port.Port` to the bench of ``spec`` in real time; ``close`` ends it."""

    def __init__(self, spec: SimSpec) -> None:
        from strokebench.sim import open_port

        self._line = MemoryLine()
        self._ended = threading.Event()
        self._bench = open_port(spec)
        self._thread = threading.Thread(target=self._live, name="simulated bench", daemon=True)
        self._thread.start()

    @property
    def board(self) -> Any:
        """The simulated board, None where the firmware runs in a process of its own."""
        return getattr(self._bench, "board", None)

    def _live(self) -> None:
        from strokebench.sim.engine.serve import run

        try:
            run(self._line, self._bench, self._ended.is_set)
        finally:
            self._ended.set()
            self._bench.close()

    def read(self, timeout_s: float) -> bytes:
        """Return what has arrived, waiting up to ``timeout_s`` for the first byte."""
        waiting = self._line.to_host
        try:
            data = waiting.get(timeout=max(0.0, timeout_s))
            while not waiting.empty():
                data += waiting.get_nowait()
        except queue.Empty:
            if self._ended.is_set():
                raise LinkLost("The simulated bench has ended.", "Connect it again.") from None
            return b""
        return data

    def write(self, data: bytes) -> None:
        """Send all of ``data``."""
        if self._ended.is_set():
            raise LinkLost("The simulated bench has ended.", "Connect it again.")
        self._line.to_bench.put(data)

    def close(self) -> None:
        """End the bench; may be called twice."""
        self._ended.set()
        self._thread.join(2.0)

    def now(self) -> float:
        """Return the computer's monotonic clock in seconds."""
        return time.monotonic()
