"""Everything a bench sends while a guided procedure goes on, on one time axis, into the book as it comes."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from strokefw import state
from strokefw.link import wire

from strokebench.data.run import Event, Mark, RunData
from strokebench.data.samples import TICK_S, Samples, empty
from strokebench.errors import ProtectionTripped
from strokebench.link import conversion
from strokebench.link.link import Message, fault_row

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.book.writer import RunWriter

NOW_ROWS = 100
"""Readings are means over the last so many samples (0.1 s)."""


class Listener:
    """Collects samples, marks and events of a bench that streams; ``time_s`` counts from the first row."""

    def __init__(self, bench: Bench, writer: RunWriter) -> None:
        self.marks: list[Mark] = []
        self.events: list[Event] = []
        self.fault = 0
        self.lost_rows = 0
        self._bench, self._writer = bench, writer
        self._chunks: list[Samples] = []
        self._fresh: list[Samples] = []
        self._tick0: int | None = None
        self._next_seq: int | None = None

    @property
    def last_s(self) -> float:
        """Time of the newest sample, 0 before the first."""
        return float(self._chunks[-1]["time_s"][-1]) if self._chunks else 0.0

    def hear(self, timeout_s: float) -> None:
        """Take what comes in ``timeout_s``; :class:`ProtectionTripped` when the bench let go."""
        port = self._bench.link.port
        until_s = port.now() + timeout_s
        while (left_s := until_s - port.now()) > TICK_S / 2:
            for message in self._bench.link.poll(max(TICK_S, min(0.02, left_s))):
                self._take(message)
        self._keep()
        if self.fault:
            _key, sentence, check = fault_row(self.fault)
            raise ProtectionTripped(
                f"The bench ended the test: {sentence} (code {self.fault})", check, self.fault
            )

    def _take(self, message: Message) -> None:
        if message.name == "samples":
            first, tick = message.fields["first_seq"], int.from_bytes(message.tail[:4], "little")
            self._tick0 = tick if self._tick0 is None else self._tick0
            if self._next_seq is not None:
                self.lost_rows += (first - self._next_seq) & state.TICK_MASK
            self._next_seq = (first + len(message.tail) // wire.SAMPLE_BYTES) & state.TICK_MASK
            self._fresh.append(conversion.decode_rows(message.tail, self._tick0, self._bench.units.few))
        elif message.name == "event" and self._tick0 is not None:
            self._event(**message.fields)

    def _keep(self) -> None:
        """Commit what came in this slice, in one piece: every commit waits for the disk."""
        if self._fresh:
            self._chunks.append(np.concatenate(self._fresh))
            self._fresh.clear()
            self._writer.samples(self._chunks[-1])

    def _event(self, tick: int, kind: int, code: int, index: int, detail: int) -> None:
        assert self._tick0 is not None
        fault = kind == state.EVENT_FAULT
        self.fault = code if fault and not self.fault else self.fault
        number = code if kind in (state.EVENT_FAULT, state.EVENT_WARNING) else 0
        time_s = conversion.seconds_between(self._tick0, tick)
        name = conversion.named(state.EVENT_NAMES, kind, "event")
        self.add(Event(time_s, name, number, conversion.event_text(kind, code, index, detail)))

    def add(self, event: Event) -> None:
        """Put an event into the recording; it is on disk with the next samples."""
        self.events.append(event)
        self._writer.event(event)

    def mark(self, label: str) -> None:
        """End the stretch that runs and begin one called ``label``."""
        self.end_mark()
        self.marks.append(Mark(label, self.last_s, math.nan, len(self.marks), "hold"))
        self._writer.mark(self.marks[-1])

    def end_mark(self) -> None:
        """End the stretch that runs."""
        if self.marks and math.isnan(self.marks[-1].end_s):
            mark = self.marks[-1]
            self.marks[-1] = Mark(mark.label, mark.start_s, self.last_s, mark.index, mark.kind)
            self._writer.mark(self.marks[-1])

    def now(self, column: str) -> float:
        """Return the mean of the newest 0.1 s of a column, NaN before the first sample."""
        rows = self._chunks[-3:]
        values = np.concatenate([row[column] for row in rows])[-NOW_ROWS:] if rows else np.empty(0)
        return float(values.mean()) if len(values) else math.nan

    def data(self, outcome: str, **info: object) -> RunData:
        """Return everything as a run."""
        samples = np.concatenate(self._chunks) if self._chunks else empty()
        more = {**self._bench.info(), "lost_rows": self.lost_rows, "fault": self.fault, "outcome": outcome}
        return RunData(samples, self.marks, self.events, [], self._bench.accuracy(), {**more, **info})
