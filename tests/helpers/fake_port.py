"""A port with nothing behind it but bytes: answers as scripted, in virtual time."""

from __future__ import annotations

from collections.abc import Callable

from strokebench.errors import LinkLost
from strokefw import state
from strokefw.link import wire
from strokefw.sensing import calib

UID = bytes(range(8))


def welcome(**changes: object) -> bytes:
    """Return the body of a welcome; ``changes`` by field name."""
    fields: dict[str, object] = dict.fromkeys(wire.FIELDS[wire.ID["welcome"]], 0)
    fields.update(
        protocol=wire.PROTOCOL, table_hash=wire.TABLE_HASH, version_minor=1, board_kind=2, uid=UID,
        tick_us=1000, state=state.READY, current_max_ma=60000, current_mean_ma=45000, supply_min_mv=6000,
        supply_max_mv=24000, slew_per_ms=1000, heatsink_max_dc=900, segments_max=250, ring_rows=256,
    )  # fmt: skip
    fields.update(changes)
    return wire.pack(wire.ID["welcome"], *fields.values())


def row(tick: int, drive: int = 0, current_ma: int = 0, **more: int) -> bytes:
    """Return one travelling sample."""
    import struct

    fields = dict.fromkeys(wire.field_names(wire.SAMPLE), 0)
    fields.update(
        tick=tick, drive=drive, current_ma=current_ma, supply_mv=12000, heatsink_dc=250, part_dc=-32768
    )
    fields.update(more)
    return struct.pack(wire.SAMPLE_FORMAT, *fields.values())


class FakePort:
    """Bytes in, bytes out.

    ``script`` maps a request's name to a function of its field values that returns the answer's frames (see
    :meth:`frame`), or None for silence; a request not in it gets an ok reply.  ``outbox`` is what the bench
    has said and the host has not read yet.  ``requests`` keeps what was asked.
    """

    def __init__(self, script: dict[str, Callable[..., bytes | None]] | None = None) -> None:
        self.script = script or {}
        self.outbox = bytearray()
        self.requests: list[tuple[str, tuple[int, ...]]] = []
        self.closed = False
        self.gone = False
        self.time_s = 0.0
        self.on_wait: Callable[[], None] = lambda: None
        self._decoder = wire.Decoder()
        self._bench_seq = 0
        self._host_seq = 0

    def frame(self, name: str, *values: object, tail: bytes = b"", seq: int | None = None) -> bytes:
        """Return a frame; answers take the request's number, the rest the bench's own."""
        if seq is None:
            seq = self._host_seq
            if wire.ID[name] in wire.UNSOLICITED:
                self._bench_seq = seq = (self._bench_seq + 1) % 256
        return wire.frame(wire.ID[name], seq, wire.pack(wire.ID[name], *values, tail=tail))

    def say(self, name: str, *values: object, tail: bytes = b"") -> None:
        """Let the bench say something unasked."""
        self.outbox += self.frame(name, *values, tail=tail)

    def read(self, timeout_s: float) -> bytes:
        if self.gone:
            raise LinkLost("gone")
        if not self.outbox:
            self.on_wait()
        if not self.outbox:
            self.time_s += timeout_s
        data, self.outbox = bytes(self.outbox), bytearray()
        return data

    def write(self, data: bytes) -> None:
        if self.gone:
            raise LinkLost("gone")
        for kind, seq, body in self._decoder.feed(data):
            self._host_seq = seq
            name = wire.NAME[kind]
            values = wire.unpack(kind, body)
            self.requests.append((name, values))
            self.outbox += self._answer(name, values) or b""

    def _answer(self, name: str, values: tuple[int, ...]) -> bytes | None:
        if name in self.script:
            return self.script[name](*values)
        if name == "hello":
            return wire.frame(wire.ID["welcome"], self._host_seq, welcome())
        if name == "calib_read":
            return self.frame("calib_record", tail=calib.Calibration().record())
        if name == "limits":
            return self.frame("limits_in_force", *values)
        return self.frame("reply", 0, 0)

    def close(self) -> None:
        self.closed = True

    def now(self) -> float:
        return self.time_s

    def asked(self) -> list[str]:
        """Return the names of all requests so far."""
        return [name for name, _values in self.requests]
