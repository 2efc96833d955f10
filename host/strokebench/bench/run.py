"""A procedure while it runs: samples come out in chunks; marks, events and bursts are collected beside."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from strokefw import channels, state
from strokefw.link import wire

from strokebench.bench.bounds import Bounds, behind
from strokebench.data.run import Burst, Event, Mark, RunData
from strokebench.data.samples import TICK_S, Samples
from strokebench.errors import LinkError, LinkLost, ProtectionTripped, VersionMismatch
from strokebench.link import conversion
from strokebench.link.conversion import Units
from strokebench.link.link import Link, Message, fault_row
from strokebench.parts.procedure import Planned

CHUNK_ROWS = 100
"""Rows in a chunk at most: 100 ms at the bench's tick."""
SLICE_S = 0.02
STOP_RAMPED, STOP_AT_ONCE = 1, 2
REFETCH_S = 3.0
SILENT_S = 2.0
"""A running bench that sends nothing for this long is lost."""


def fits(message: Message, segments: int) -> bool:
    """Return False for a message that contradicts itself or a procedure of that many segments."""
    fields = message.fields
    if message.name == "samples":
        return bool(0 < fields["count"] * wire.SAMPLE_BYTES == len(message.tail))
    if message.name == "event" and fields["kind"] == state.EVENT_SEGMENT:
        return bool(fields["index"] < segments)
    if message.name == "event" and fields["kind"] == state.EVENT_RUN_END:
        return bool(fields["code"] < len(state.END_NAMES))
    if message.name == "burst":
        return bool(fields["channel"] < channels.N_CHANNELS and fields["rate_hz"])
    return True


def _backwards() -> VersionMismatch:
    return VersionMismatch(
        "The bench's clock ran backwards in the middle of the run.",
        "Unplug the bench, plug it in again; report it if it happens again.",
    )


class Run:
    """A running procedure: iterate over it, and come back within the heartbeat limit each time.

    Yields arrays of :data:`strokebench.data.samples.SAMPLE_DTYPE`, at most 100 ms each, time from the first
    row.
    ``marks``, ``events`` and ``bursts`` grow meanwhile; the newest mark's end is NaN while its segment runs.
    ``lost_rows`` counts samples that the bench sent and we did not get, or that it had to drop;
    ``refused_frames`` frames of samples that came twice or too late.
    ``chunk_rows`` may be set lower for a livelier view.

    Made by :meth:`strokebench.bench.bench.Bench.run`: ``units`` turns a burst's counts into values,
    ``stop_now`` stops the part at once and takes its supply off, ``accuracy`` and ``info`` are what
    :meth:`data` says of the bench.

    Raises :class:`ProtectionTripped` after the last chunk when the bench's protection ended the run, and
    :class:`LinkLost` when the bench goes away.  Leaving the loop early, by whatever way, stops the part.
    """

    def __init__(
        self,
        link: Link,
        units: Units,
        plan: list[Planned],
        heartbeat_s: float,
        *,
        stop_now: Callable[[], None],
        accuracy: dict[str, dict[str, float]],
        info: dict[str, Any],
    ) -> None:
        self.plan = plan
        self.marks: list[Mark] = []
        self.events: list[Event] = []
        self.bursts: list[Burst] = []
        self.lost_rows = 0
        self.outcome = "running"
        self.fault = 0
        self.last_s = 0.0
        self._link = link
        self._units = units
        self._stop_now = stop_now
        self._accuracy = accuracy
        self._info = info
        self._beat_s = heartbeat_s / 4
        self._raw = bytearray()
        self._tick0: int | None = None
        self._next_seq: int | None = None
        self._captures = Captures()
        self._bounds = Bounds(self.duration_s, len(plan))
        self.refused_frames = 0
        self.chunk_rows = CHUNK_ROWS
        self._stop_asked = self._stop_sent = 0
        self._began_s = self._stop_s = 0.0
        self._newest_s = -math.inf
        self._chunks = self._go()

    @property
    def duration_s(self) -> float:
        """Planned seconds of the whole procedure."""
        return sum(segment.duration_s for segment in self.plan)

    @property
    def label(self) -> str:
        """Label of the segment that runs now, empty before the first."""
        return self.marks[-1].label if self.marks else ""

    def stop(self, *, now: bool = False) -> None:
        """Ask for a stop; the last samples still come, then the loop ends. May be called from any thread.

        The drive ramps down within the slew limit, or goes off at once with ``now``.
        """
        self._stop_asked = max(self._stop_asked, STOP_AT_ONCE if now else STOP_RAMPED)

    def __iter__(self) -> Iterator[Samples]:
        return self._chunks

    def close(self) -> None:
        """Give up the loop; the part is stopped if it still runs."""
        self._chunks.close()

    def _go(self) -> Generator[Samples, None, None]:
        heard_s = self._began_s = self._link.port.now()
        try:
            while self.outcome == "running":
                messages = self._link.poll(SLICE_S)
                now_s = self._link.port.now()
                heard_s = now_s if messages else heard_s
                for message in messages:
                    self._take(message)
                self._keep_alive(now_s, heard_s)
                yield from self._ready(self.chunk_rows)
            yield from self._ready(1)
            self._fetch_missing()
        finally:
            self._close_mark(self.last_s + TICK_S)
            if self.outcome == "running":
                self.outcome = "cut"
                self._stop_now()
        if self.outcome == "fault":
            _key, sentence, check = fault_row(self.fault)
            raise ProtectionTripped(
                f"The bench ended the run: {sentence} (code {self.fault})", check, self.fault
            )

    def _keep_alive(self, now_s: float, heard_s: float) -> None:
        if now_s - heard_s > SILENT_S:
            raise LinkLost(
                f"The bench at {self._link.name} fell silent in the middle of the run.",
                "Check cable and supply; without a word from here it stops the part by itself.",
            )
        self._bounds.look_at_clock(now_s - self._began_s, now_s - self._stop_s if self._stop_sent else 0.0)
        if self._stop_asked > self._stop_sent:
            self._stop_sent, self._stop_s = self._stop_asked, now_s
            self._link.tell("stop", int(self._stop_sent == STOP_AT_ONCE))
        elif now_s - self._link.sent_s >= self._beat_s:
            self._link.tell("heartbeat")

    def _ready(self, least: int) -> Iterator[Samples]:
        """Yield what has come in chunks, once there are ``least`` rows."""
        size = self.chunk_rows * wire.SAMPLE_BYTES
        while len(self._raw) >= least * wire.SAMPLE_BYTES and self._tick0 is not None:
            rows = conversion.decode_rows(bytes(self._raw[:size]), self._tick0, self._units.few)
            del self._raw[:size]
            if not np.all(rows["time_s"][1:] > rows["time_s"][:-1]):
                raise _backwards()
            self.last_s = float(rows["time_s"][-1])
            yield rows

    def _take(self, message: Message) -> None:
        if not fits(message, len(self.plan)):
            raise VersionMismatch(
                f"The bench reported something impossible about this run ({message.name}).",
                "Use firmware and program of the same release; report it if they are.",
            )
        if message.name == "samples":
            self._samples(message)
        elif message.name == "event":
            self._event(**message.fields)
        elif message.name == "burst":
            self._bounds.add_burst()
            self._captures.begin(message.fields)
        elif message.name == "burst_data":
            self._captures.add(message.fields["offset"], message.tail)
        done = self._captures.finished()
        if done is not None:
            self._burst(*done)

    def _samples(self, message: Message) -> None:
        """Take rows that go on from the ones before; a frame that comes twice or too late is refused."""
        first, count = message.fields["first_seq"], message.fields["count"]
        tick = int.from_bytes(message.tail[:4], "little")
        last = int.from_bytes(message.tail[-wire.SAMPLE_BYTES :][:4], "little")
        if self._next_seq is not None and behind(self._next_seq, first):
            self.refused_frames += 1
            return
        if self._next_seq is not None:
            self.lost_rows += (first - self._next_seq) & state.TICK_MASK
        elif self._tick0 is not None:  # the run's first event was told: its tick has the first row
            self.lost_rows += max(0, round(self._time_s(tick) / TICK_S))
        self._next_seq = (first + count) & state.TICK_MASK
        if self._tick0 is None:
            self._tick0 = tick
        first_s, last_s = self._time_s(tick), self._time_s(last)
        if first_s <= self._newest_s or last_s < first_s:
            raise _backwards()
        self._newest_s = last_s
        self._bounds.add_rows(count, self._newest_s, self.lost_rows)
        self._raw += message.tail

    def _event(self, tick: int, kind: int, code: int, index: int, detail: int) -> None:
        self._bounds.add_event()
        time_s = self._time_s(tick)
        if kind == state.EVENT_SEGMENT:
            self._close_mark(time_s)
            segment = self.plan[index]
            self.marks.append(Mark(segment.label, time_s, math.nan, index, segment.kind))
            return
        if kind == state.EVENT_STATE and index == state.DRIVING:
            self._close_mark(time_s)  # what follows is the way down, no part of the procedure
        if kind == state.EVENT_RUN_END:
            self.outcome = state.END_NAMES[code]
            self.fault = self.fault or detail
            self._close_mark(time_s)
        number = code if kind in (state.EVENT_FAULT, state.EVENT_WARNING) else 0
        if kind == state.EVENT_FAULT:
            self.fault = code
        text = conversion.event_text(kind, code, index, detail)
        self.events.append(Event(time_s, conversion.named(state.EVENT_NAMES, kind, "event"), number, text))

    def _burst(self, fields: dict[str, int], counts: np.ndarray[Any, np.dtype[np.uint16]]) -> None:
        values, unit = conversion.burst_values(fields["channel"], counts, *self._units)
        name = channels.NAMES[fields["channel"]]
        start_s = self._time_s(fields["tick"]) - fields["pre"] / fields["rate_hz"]
        label = self.plan[fields["index"]].label if fields["index"] < len(self.plan) else ""
        self.bursts.append(Burst(name, unit, float(fields["rate_hz"]), start_s, values, label))

    def _fetch_missing(self) -> None:
        """Ask once more for the pieces of a capture that got lost; asking moves nothing."""
        gaps = self._captures.gaps()
        if not gaps:
            return
        with contextlib.suppress(LinkError):
            self._link.request("burst_read", gaps[0])
            deadline_s = self._link.port.now() + REFETCH_S
            while self._captures.gaps() and self._link.port.now() < deadline_s:
                for message in self._link.poll(SLICE_S):
                    self._take(message)

    def _close_mark(self, end_s: float) -> None:
        if self.marks and math.isnan(self.marks[-1].end_s):
            self.marks[-1] = replace(self.marks[-1], end_s=end_s)

    def _time_s(self, tick: int) -> float:
        if self._tick0 is None:
            self._tick0 = tick
        return conversion.seconds_between(self._tick0, tick)

    def data(self, samples: Samples, **info: Any) -> RunData:
        """Return everything as :class:`RunData`, with ``samples`` as the caller put the chunks together."""
        return RunData(
            samples=samples,
            marks=list(self.marks),
            events=list(self.events),
            bursts=list(self.bursts),
            accuracy=self._accuracy,
            info={**self._info, "lost_rows": self.lost_rows, "outcome": self.outcome, **info},
        )

    def __rich_repr__(self) -> Iterable[Any]:
        yield "outcome", self.outcome
        yield "label", self.label
        yield "last_s", self.last_s
        yield "lost_rows", self.lost_rows, 0


class Captures:
    """Puts one burst together from its pieces, which may come in any order."""

    def __init__(self) -> None:
        self._fields: dict[str, int] | None = None
        self._counts = np.zeros(0, np.uint16)
        self._have = np.zeros(0, bool)

    def begin(self, fields: dict[str, int]) -> None:
        """Expect the capture that ``fields`` announces."""
        self._fields = fields
        self._counts = np.zeros(fields["count"], np.uint16)
        self._have = np.zeros(fields["count"], bool)

    def add(self, offset: int, raw: bytes) -> None:
        """Take a piece; one that does not fit the announced capture is dropped."""
        piece = np.frombuffer(raw, "<u2")
        if offset + len(piece) <= len(self._counts):
            self._counts[offset : offset + len(piece)] = piece
            self._have[offset : offset + len(piece)] = True

    def finished(self) -> tuple[dict[str, int], np.ndarray[Any, np.dtype[np.uint16]]] | None:
        """Return the capture once, when its last piece is there."""
        if self._fields is None or not self._have.all():
            return None
        fields, self._fields = self._fields, None
        return fields, self._counts

    def gaps(self) -> list[int]:
        """Return where pieces are missing."""
        if self._fields is None:
            return []
        missing = np.flatnonzero(~self._have)
        return [int(offset) for offset in missing if offset == 0 or self._have[offset - 1]]
