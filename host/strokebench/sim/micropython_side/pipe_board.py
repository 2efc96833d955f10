"""A board whose other half is the host's simulated one, reached over stdin and stdout each millisecond."""

# Runs in MicroPython, which has no typing: like the firmware, without annotations.
# mypy: ignore-errors

import struct
import sys
from array import array

import burst_rate
import layout
from strokefw import channels
from strokefw.plant_board import FedBoard


class PipeBoard(FedBoard):
    """Board methods of the firmware. Inputs hold for one exchange; outputs are collected until the next."""

    def __init__(self):
        FedBoard.__init__(self)
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._burst = b""
        self._raw = None
        self._asks = bytearray()
        self._uid, self._kind, self._cause, self._before, records = struct.unpack(
            layout.START_HEAD, self._exactly(layout.START_BYTES)
        )
        for _ in range(records):
            slot, length = struct.unpack(layout.RECORD_HEAD, self._exactly(layout.RECORD_BYTES))
            self._slots[slot] = self._exactly(length)

    def _exactly(self, n):
        data = self._in.read(n)
        while len(data) < n:
            more = self._in.read(n - len(data))
            if not more:
                raise SystemExit
            data += more
        return data

    def receive(self):
        """Wait for the next millisecond; SystemExit when the host has gone."""
        head = self._exactly(layout.IN_BYTES)
        self._open, self._ready, self._tripped, cut, links, bursts, raws = struct.unpack(layout.IN_HEAD, head)
        self._cut += cut
        self._counts = array("H", self._exactly(2 * channels.N_CHANNELS))
        if links:
            self._link += self._exactly(links)
        if bursts:
            self._burst = self._exactly(bursts)
        if raws:
            self._raw.add(array("H", self._exactly(raws)))
        self._tick += 1

    def send(self):
        """Hand over what the firmware set and asked for in this millisecond."""
        if self._kept is not None:
            self._ask(layout.KEEP, bytes(self._kept))
            self._kept = None
        asks = self._asks
        head = struct.pack(
            layout.OUT_HEAD,
            self._drive,
            self._gate,
            self._rail,
            self._led,
            self._fed,
            self._trip_ma,
            len(asks),
        )
        self._out.write(head + asks)
        self._fed = 0
        self._asks = bytearray()

    def _ask(self, operation, data=b""):
        self._asks.append(operation)
        self._asks += data

    def pulse(self, leg, side, us):
        self._ask(layout.PULSE, struct.pack(layout.PULSE_BODY, leg, side, us))

    def kept(self, record):
        for i in range(len(record)):
            record[i] = self._before[2 * i] | self._before[2 * i + 1] << 8

    def reset_cause(self):
        return self._cause

    def write(self, buf, n):
        self._ask(layout.LINK, struct.pack("<H", n))
        self._asks += bytes(buf[:n])
        return n

    def burst_start(self, channel, rate_hz, count, pre):
        rate = burst_rate.allowed(channel, rate_hz, count)
        self._ready = 0
        self._ask(layout.BURST, struct.pack(layout.BURST_BODY, channel, rate_hz, count, pre))
        return rate

    def burst_trigger(self):
        self._ask(layout.TRIGGER)

    def burst_copy(self, offset, buf):
        piece = self._burst[2 * offset : 2 * offset + len(buf)]
        buf[: len(piece)] = piece
        return len(piece)

    def raw_start(self, channel, rate_hz):
        self._raw = burst_rate.RawKept()
        self.raw_copy = self._raw.copy
        self._ask(layout.RAW, struct.pack(layout.RAW_BODY, channel, rate_hz))
        return burst_rate.raw_allowed(rate_hz)

    def raw_stop(self):
        self._ask(layout.RAW, struct.pack(layout.RAW_BODY, 0, 0))

    def raw_head(self):
        return self._raw.head

    def raw_oldest(self):
        return self._raw.oldest()

    def store(self, slot, data):
        FedBoard.store(self, slot, data)
        self._ask(layout.STORE, struct.pack(layout.RECORD_HEAD, slot, len(data)))
        self._asks += data

    def uid(self):
        return self._uid

    def kind(self):
        return self._kind
