"""An endless stream of one channel's single readings, numbered, and what was lost of it."""

from __future__ import annotations

from collections.abc import Iterator
from types import TracebackType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from strokefw import channels, state

from strokebench.errors import LinkLost, UsageError
from strokebench.link import conversion
from strokebench.link.conversion import Units
from strokebench.link.link import Link, Message

SLICE_S = 0.02
SILENT_S = 2.0
LEFT = channels.FULL_SCALE // 4095
"""A 12-bit code as left-aligned counts."""
CHANNELS = channels.NAMES[:3]
"""Those on the chip's own converter."""


class RawPiece(NamedTuple):
    """Readings in a row: number of the first since the start, values in A or V, readings lost so far."""

    first_index: int
    values: NDArray[np.float64]
    lost: int


class RawStream:
    """A stream that runs: a context manager, and an iterator over :class:`RawPiece` without an end.

    ``rate_hz`` is the true rate: 125 kHz divided by a whole number, at least as fast as asked for where that
    is possible. ``lost`` counts the readings that never came, whether the bench had to overwrite them or the
    link lost them; ``lost_on_bench`` those of the bench alone. Where some are missing, ``first_index`` jumps.

    Beside a run, take what has come with :meth:`ready` between its chunks. It goes on through a latched
    fault; leaving the context, or a new session, ends it. A burst segment meanwhile fails: they share the
    memory. ``units`` turns its counts into values.
    """

    def __init__(self, link: Link, units: Units, channel: str, rate_hz: float) -> None:
        if channel not in CHANNELS:
            raise UsageError(f"There is no stream of {channel!r}.", f"Choose from: {', '.join(CHANNELS)}.")
        if not 1 <= rate_hz <= state.TICK_MASK:
            raise UsageError(f"A stream of {rate_hz:g} Hz cannot be.", f"Ask for 1 to {channels.RAW_HZ} Hz.")
        self._link = link
        self._units = units
        self._channel = channels.NAMES.index(channel)
        self._next = 0
        self._open = True
        self.lost = self.lost_on_bench = 0
        self._link.raw.clear()
        begun = self._link.request("raw", self._channel, round(rate_hz), answer="raw_begun")
        self.rate_hz = float(begun.fields["rate_hz"])
        self.unit = "A" if channel.startswith("current") else "V"

    def ready(self, timeout_s: float = 0.0) -> list[RawPiece]:
        """Return what has come, waiting up to ``timeout_s`` when nothing has."""
        return [self._piece(message) for message in self._link.poll_raw(timeout_s)]

    def _piece(self, message: Message) -> RawPiece:
        jump = (message.fields["first"] - self._next) & state.TICK_MASK
        self.lost += jump
        self.lost_on_bench = message.fields["lost"]
        first = self._next + jump
        codes = unpacked(message.tail)
        self._next = first + len(codes)
        values, _unit = conversion.burst_values(self._channel, codes * LEFT, *self._units)
        return RawPiece(first, values, self.lost)

    def __iter__(self) -> Iterator[RawPiece]:
        heard_s = self._link.port.now()
        while self._open:
            pieces = self.ready(SLICE_S)
            now_s = self._link.port.now()
            heard_s = now_s if pieces else heard_s
            if now_s - heard_s > SILENT_S:
                raise LinkLost("The bench no longer sends its stream.", "Open it again and ask anew.")
            yield from pieces

    def close(self) -> None:
        """End the stream; may be called twice. Raises :class:`LinkLost` when the bench does not answer."""
        if self._open:
            self._open = False
            self._link.request("raw", self._channel, 0)
            self._link.raw.clear()

    def __enter__(self) -> RawStream:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def unpacked(tail: bytes) -> NDArray[np.uint16]:
    """Return the 12-bit codes in a raw_data's tail: two in three bytes, the first one's low byte first."""
    low, mixed, high = np.frombuffer(tail, np.uint8).reshape(-1, 3).astype(np.uint16).T
    codes = np.empty(2 * len(low), np.uint16)
    codes[0::2] = low | (mixed & 15) << 8
    codes[1::2] = mixed >> 4 | high << 4
    return codes
