"""A tiny board without physics, and a host's end of its link, for tests under CPython and MicroPython alike.

The current follows the drive at once, the legs follow drive and supply, nothing warms up. ``Host`` speaks
to an App tick by tick, so every test is in lock step and exact.
"""

from array import array

from strokefw import channels, state
from strokefw.app import App
from strokefw.link import wire

LIMITS = (20000, 15000, 9000, 16000, 50, -10000, 10000, 5000, 15000, 500, 3000, 15000, 600, 5000, 1000, 0)
"""A ``limits`` body's values: wide, slew 50 per tick, no part sensors expected."""


class FakeBoard:
    """Board methods on plain attributes, which tests set and look at."""

    def __init__(self):
        self.supply_mv = 13500
        self.sensor_a_mv = 2500
        self.sensor_b_mv = 2500
        self.ma_per_drive = 1  # 10 A at full drive
        self.extra_ma = 0
        self.open_line = 0
        self.now_drive = self.now_gate = self.now_rail = 0
        self.pulsed_side = -1
        self.us = 0
        self.cuts = 0
        self.level = 0
        self.edge_ma = 0  # the comparators trip below this level
        self.cause = 0
        self.fed = 0
        self.inbox = bytearray()
        self.outbox = bytearray()
        self.room = 1 << 20  # bytes the link takes per call
        self.slots = {}
        self.scratch = None
        self.capture = None
        self.capture_ready = 0
        self.triggers = 0
        self.raw_running = 0  # channel + 1 of the endless stream
        self.raw_next = 0
        self.raw_kept = 5000
        self.raw_per_tick = 0

    def scan(self, counts):
        """Fill the readings from the attributes."""
        drive = self.now_drive if self.now_gate else 0
        ma = drive * self.ma_per_drive + self.extra_ma
        bus = self.supply_mv if self.now_rail else 0
        coarse = channels.MID_SCALE + ma * 397 // 1000  # 65520 counts / 165 A
        fine = channels.MID_SCALE + ma * 3971 // 1000
        counts[channels.I_COARSE] = counts[channels.I_MAX] = counts[channels.I_MIN] = coarse
        counts[channels.I_FINE] = max(0, min(65520, fine))
        counts[channels.BUS] = bus * 2589 // 1000
        counts[channels.VIN] = self.supply_mv * 2589 // 1000
        if self.now_gate:
            counts[channels.LEG_A] = (bus * max(drive, 0) // 10000) * 2589 // 1000
            counts[channels.LEG_B] = (bus * max(0 - drive, 0) // 10000) * 2589 // 1000
        else:
            counts[channels.LEG_A] = counts[channels.LEG_B] = self._legs(bus) * 2589 // 1000
        counts[channels.SENSOR_A] = self.sensor_a_mv * 12764 // 1000
        counts[channels.SENSOR_B] = self.sensor_b_mv * 12764 // 1000
        counts[channels.FEED] = 63820
        counts[channels.NTC_HEATSINK] = counts[channels.NTC_PART] = 44571  # 10 k: 25 C

    def _legs(self, bus):
        # with the bridge off: where the pull resistors leave both legs, or where one MOSFET pulls both
        if self.pulsed_side < 0:
            return bus * 407 // 1000
        side = self.pulsed_side
        self.pulsed_side = -1
        return bus if side else 0

    def drive(self, drive, gate):
        """Keep what the bridge was told."""
        self.now_drive = drive
        self.now_gate = gate

    def trips(self):
        """Return the cuts since the last call."""
        cuts = self.cuts
        self.cuts = 0
        return cuts

    def trip_level(self, ma):
        """Keep the comparator's level."""
        self.level = ma

    def tripped(self):
        """Return 1 where the comparators trip at no current."""
        return 1 if self.level < self.edge_ma else 0

    def rail(self, mode):
        """Keep the main switch's mode."""
        self.now_rail = mode

    def pulse(self, leg, side, us):
        """Pull the legs in the next scan; the part joins them."""
        self.pulsed_side = side

    def led(self, on):
        """No lamp here."""

    def watchdog(self):
        """Count the feedings."""
        self.fed += 1

    def estop(self):
        """Return 1 while the test holds the line open."""
        return self.open_line

    def ticks_us(self):
        """Return virtual time."""
        return self.us

    def reset_cause(self):
        """Return the cause the test chose."""
        return self.cause

    def read(self, buf):
        """Hand over what the host wrote."""
        n = min(len(buf), len(self.inbox))
        if n:
            buf[:n] = self.inbox[:n]
            self.inbox = self.inbox[n:]
        return n

    def write(self, buf, n):
        """Take what the bench says, as far as there is room."""
        n = min(n, self.room)
        self.outbox.extend(bytes(buf[:n]))
        return n

    def burst_start(self, channel, rate_hz, count, pre):
        """Begin a capture of count values; the test (or a trigger) makes it ready."""
        if channel > channels.SENSOR_B:
            return 0
        self.capture = (channel, rate_hz, count, pre)
        self.capture_ready = 0 if pre else 3
        return rate_hz

    def burst_trigger(self):
        """Begin the part after the trigger: ready three polls later."""
        self.triggers += 1
        self.capture_ready = 3

    def burst_ready(self):
        """Return 1 at the third poll after start or trigger."""
        if self.capture_ready:
            self.capture_ready -= 1
            return 1 if self.capture_ready == 0 else 0
        return 0

    def burst_copy(self, offset, buf):
        """Fill with values 7 * index, so that any loss shows."""
        n = len(buf) // 2
        for i in range(n):
            value = (offset + i) * 7 & 0xFFFF
            buf[2 * i] = value & 255
            buf[2 * i + 1] = value >> 8
        return n

    def raw_start(self, channel, rate_hz):
        """Begin a stream of rate_hz / 1000 readings per tick (the test's clock is ``us``)."""
        self.raw_running = channel + 1
        self.raw_per_tick = rate_hz // 1000
        self.raw_next = self.us
        return rate_hz

    def raw_stop(self):
        """End it."""
        self.raw_running = 0

    def raw_head(self):
        """Return the number of the next reading."""
        return (self.us - self.raw_next) // 1000 * self.raw_per_tick & 0x3FFFFFFF

    def raw_oldest(self):
        """Return the number of the oldest kept."""
        return max(0, self.raw_head() - self.raw_kept)

    def raw_copy(self, first, buf, count):
        """Pack readings whose codes are 7 * number, so that any loss shows."""
        n = 3 * count // 2
        for i in range(0, count, 2):
            a = (first + i) * 7 & 4095
            b = (first + i + 1) * 7 & 4095
            at = 3 * i // 2
            buf[at] = a & 255
            buf[at + 1] = a >> 8 | (b & 15) << 4
            buf[at + 2] = b >> 4
        return n

    def load(self, slot):
        """Return what was stored."""
        return self.slots.get(slot)

    def store(self, slot, data):
        """Keep it."""
        self.slots[slot] = bytes(data)

    def stack_max(self):
        """Return 0: no chip."""
        return 0

    def uid(self):
        """Return eight bytes."""
        return b"fakefake"

    def keep(self, record):
        """Keep a copy, as the chip's scratch registers do."""
        self.scratch = bytes(record)

    def kept(self, record):
        """Fill in what was kept, if anything was."""
        if self.scratch:
            for i in range(len(record)):
                record[i] = self.scratch[2 * i] | self.scratch[2 * i + 1] << 8

    def kind(self):
        """Return 2, simulated."""
        return 2


class Host:
    """The host's end: sends requests, collects answers, rows and events of an App on a FakeBoard."""

    def __init__(self, board=None):
        self.board = board or FakeBoard()
        self.app = App(self.board)
        self.decoder = wire.Decoder()
        self.seq = 0
        self.answers = {}
        self.rows = []
        self.events = []
        self.messages = []
        self.steps = []  # (drive, gate, state) as applied in each tick

    def tick(self, n=1):
        """Let ``n`` ms pass: tick, service, decode."""
        app = self.app
        board = self.board
        for _ in range(n):
            board.us += 1000
            app.tick()
            self.steps.append((board.now_drive, board.now_gate, app.state))
            app.service()
            self.take()

    def take(self):
        """Decode what the bench wrote."""
        if not len(self.board.outbox):
            return
        data = bytes(self.board.outbox)
        self.board.outbox = bytearray()
        for kind, seq, body in self.decoder.feed(data):
            values = wire.unpack(kind, body)
            name = wire.NAME[kind]
            self.messages.append((name, values))
            if name == "samples":
                for at in range(0, len(values[3]), wire.SAMPLE_BYTES):
                    self.rows.append(wire.struct.unpack_from(wire.SAMPLE_FORMAT, values[3], at))
            elif name == "event":
                self.events.append(values)
            elif kind not in wire.UNSOLICITED:
                self.answers[seq] = (name, values)

    def send(self, name, *values, tail=b""):
        """Write a request; return its seq."""
        self.seq = self.seq % 255 + 1
        kind = wire.ID[name]
        self.board.inbox.extend(wire.frame(kind, self.seq, wire.pack(kind, *values, tail=tail)))
        return self.seq

    def ask(self, name, *values, tail=b"", ticks=1000):
        """Write a request and let time pass until its answer; return (name, values)."""
        seq = self.send(name, *values, tail=tail)
        self.answers.pop(seq, None)
        for _ in range(ticks):
            self.tick()
            if seq in self.answers:
                return self.answers[seq]
        raise AssertionError("no answer to " + name)

    def do(self, name, *values):
        """Ask for something whose plain reply must be 0."""
        answer = self.ask(name, *values)
        assert answer[0] != "reply" or answer[1][0] == 0, (name, answer)
        return answer

    def arm(self, limits=LIMITS):
        """Power-up check, hello, limits, arm."""
        self.tick(3)
        self.do("hello", wire.PROTOCOL)
        self.do("limits", *limits)
        self.do("arm")

    def load(self, segments):
        """Send a procedure: a list of (kind, target, duration, p1..p4, watch, action, value, after, hold)."""
        self.do("procedure_begin", len(segments))
        for index in range(len(segments)):
            self.do("segment", index, *segments[index])

    def run(self, limit=100000):
        """Run the loaded procedure to its end, heartbeats included; return the run_end event."""
        self.do("run")
        for i in range(limit):
            if i % 100 == 99:
                self.send("heartbeat")
            self.tick()
            if self.events and self.events[-1][1] == state.EVENT_RUN_END:
                return self.events[-1]
        raise AssertionError("the run did not end")


def segment(kind, target=0, ms=0, p=(0, 0, 0, 0), watch=(0, 0, 0, 0, 0)):
    """Return one segment's values for ``Host.load``."""
    return (kind, target, ms) + p + watch


def counts_of(board):
    """Return one scan of ``board``."""
    counts = array("H", [0] * channels.N_CHANNELS)
    board.scan(counts)
    return counts


def check_steps(host, slew):
    """Check every tick so far: driven only in DRIVING and STOPPING, within slew, reversal through zero."""
    before = 0
    for drive, gate, now in host.steps:
        assert not gate or now in (state.DRIVING, state.STOPPING), (drive, gate, now)
        assert gate or drive == 0
        assert not gate or -slew <= drive - before <= slew, (before, drive)
        assert drive * before >= 0, (before, drive)
        before = drive
