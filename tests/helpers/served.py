"""A simulated bench served in real time from a thread, as a program of its own would serve it."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterator
from queue import Queue

from strokebench.bench.spec import SimSpec

START_S = 10
"""So long a server may take to begin, and to end."""


@contextlib.contextmanager
def served(start: Callable[..., None], spec: SimSpec) -> Iterator[str]:
    """Run ``start`` of sim.engine.serve; yield the name that it announces; it must end when asked to."""
    names: Queue[str] = Queue()
    ended = threading.Event()
    thread = threading.Thread(target=lambda: start(spec, announce=names.put, stop=ended.is_set))
    thread.start()
    try:
        yield names.get(timeout=START_S)
    finally:
        ended.set()
        thread.join(START_S)
        assert not thread.is_alive()
