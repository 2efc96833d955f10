"""The requests of an instrument view: curves, and the numbers of a stretch."""

from __future__ import annotations

import math
import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fastapi import FastAPI
from fastapi.responses import JSONResponse, Response

from strokebench.errors import StrokebenchError, UsageError
from strokebench.panel.instrument.sources import Source, live_source, pair_source, run_source
from strokebench.panel.runs import load_run

if TYPE_CHECKING:
    from strokebench.panel.driver import Driver

LIVE = "live"
KEPT = 3
"""Sources in memory: a run of ten minutes takes about 90 MB."""


class Sources:
    """Makes the source of a name (``live``, ``12``, ``12-15``) and keeps the last ones."""

    def __init__(self, driver: Driver, book: Path) -> None:
        self._driver = driver
        self._book = book
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, Source] = OrderedDict()

    def get(self, name: str) -> Source:
        """Return the source; raises :class:`StrokebenchError` when the book has no such run."""
        if name == LIVE:
            return live_source(self._driver)
        numbers = name.split("-")
        if not 1 <= len(numbers) <= 2 or not all(
            number.isdecimal() and len(number) < 15 for number in numbers
        ):
            raise UsageError(f"There is no history {name[:40]!r}.", "Choose a run in the job book.")
        with self._lock:  # one at a time: making one takes memory
            if name not in self._kept:
                made = self._make([int(number) for number in numbers])
                if not made.ended:
                    return made.source  # it grows
                self._kept[name] = made.source
                while len(self._kept) > KEPT:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(name)
            return self._kept[name]

    def _make(self, numbers: list[int]) -> Made:
        loaded = [load_run(self._book, number) for number in numbers]
        ended = all(data.info.get("outcome") != "running" for data, _, _ in loaded)
        data, findings, profile = loaded[0]
        if len(loaded) == 1:
            return Made(run_source(data, findings, profile), ended)
        other, _, other_profile = loaded[1]
        return Made(pair_source((data, profile), (other, other_profile)), ended)


class Made:
    """A source, and whether its runs have ended."""

    def __init__(self, source: Source, ended: bool) -> None:
        self.source = source
        self.ended = ended


def add_routes(app: FastAPI, sources: Sources) -> None:
    """Serve ``/curves/NAME`` and ``/numbers/NAME``, in worker threads."""

    @app.get("/curves/{name}")
    def _curves(name: str, start: float = -math.inf, end: float = math.inf, points: int = 800) -> Response:
        return _answer(sources, name, lambda source: source.stretch(start, end, points))

    @app.get("/numbers/{name}")
    def _numbers(name: str, start: float, end: float) -> Response:
        low, high = sorted((start, end))
        return _answer(sources, name, lambda source: source.numbers(low, high))


def _answer(sources: Sources, name: str, ask: Callable[[Source], dict[str, Any]]) -> Response:
    try:
        return JSONResponse(ask(sources.get(name)))
    except StrokebenchError as error:
        return JSONResponse({"error": f"{error} {error.hint}"}, 404)
