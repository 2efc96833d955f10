"""The classroom's board: a bare Pico whose readings come from the plant on the laptop, over the link.

Lock-step: the laptop sends ``readings`` for one tick, the chip does that tick and its link work, then tells
``outputs``. So time is the laptop's, and how fast it or the link is does not matter. The real board beneath
lends its link, lamp and watchdog; its bridge and rails, off since before this began, are never touched from
here. Only a reset leaves this mode. Tick and link work both run in the main loop, so they may allocate.

When somebody talks to the bench without feeding it (a program that does not know of the plant), it ticks by
itself with a supply of 0 V: it answers, and will not drive.
"""

import gc
import struct
from array import array

from strokefw import channels, state
from strokefw.app import App
from strokefw.compat import const
from strokefw.link import wire

NO_LEVEL = const(-1000000)  # mA: the fast limit's level was not set yet
ALONE_US = const(300000)  # so long may requests wait for readings
_GIVE_UP_US = const(2000000)  # a laptop that neither reads nor answers for so long has gone
_PLANT = wire.ID["plant"]
_READINGS = wire.ID["readings"]
_DATA = wire.ID["plant_data"]
_OUTPUTS = wire.ID["outputs"]
_BURST = wire.ID["plant_burst"]
_WANT = wire.ID["plant_want"]
_REPLY = wire.ID["reply"]


def run(real, kind):
    """Be a simulated bench of ``kind`` on the board ``real``, which is held off, until somebody wants the
    REPL.
    """
    asked = 0
    while True:
        real.watchdog()
        gc.collect()
        board = PlantBoard(real, kind)
        app = App(board)
        if asked:
            board.say(_REPLY, wire.pack(_REPLY, 0, 0), asked)
        asked = board.serve(app)
        if not asked:
            return
        kind = board.next_kind
        del app, board  # room for the next


class FedBoard:
    """A board whose readings are put in tick by tick, and whose outputs are collected until they are taken.

    What it cannot do by itself (pulses, bursts, the link's way out) is for those that derive from it.
    """

    def __init__(self):
        self._counts = array("H", [0] * channels.N_CHANNELS)
        self._link = b""  # what the host said to the bench itself
        self._open = self._ready = self._cut = self._tripped = 0
        self._tick = 0
        self._drive = self._gate = self._rail = self._led = self._fed = 0
        self._trip_ma = NO_LEVEL
        self._kept = None  # what the firmware wants kept, since it was taken
        self._slots = {}

    def scan(self, counts):
        """The newest readings."""
        memoryview(counts)[:] = self._counts

    def drive(self, drive, gate):
        """Collected."""
        self._drive = drive
        self._gate = gate

    def rail(self, mode):
        """Collected."""
        self._rail = mode

    def trips(self):
        """PWM cycles cut since the last call."""
        cut = self._cut
        self._cut = 0
        return cut

    def trip_level(self, ma):
        """Collected."""
        self._trip_ma = ma

    def tripped(self):
        """1 while the fast current limit's comparators trip."""
        return self._tripped

    def led(self, on):
        """Collected."""
        self._led = on

    def watchdog(self):
        """Collected."""
        self._fed = 1

    def estop(self):
        """1 while the emergency line is open."""
        return self._open

    def ticks_us(self):
        """Time of whoever puts the readings in."""
        return self._tick * state.TICK_US & state.TICK_MASK

    def read(self, buf):
        """Bytes for the bench itself; returns how many."""
        n = min(len(buf), len(self._link))
        buf[:n] = self._link[:n]
        self._link = self._link[n:]
        return n

    def stack_max(self):
        """Not known here."""
        return 0

    def burst_ready(self):
        """Whether all of a capture is there."""
        return self._ready

    def keep(self, record):
        """Collected."""
        self._kept = record

    def kept(self, record):
        """Nothing: the part begins when this does."""

    def load(self, slot):
        """A record stored since this began, or None."""
        return self._slots.get(slot)

    def store(self, slot, data):
        """Keep a record."""
        self._slots[slot] = bytes(data)


class PlantBoard(FedBoard):
    """A board's methods for the app; ``serve`` is the main loop.

    The Pico's own bridge, switches and records stay as they are; those of the plant are on the laptop.
    """

    def __init__(self, real, kind):
        FedBoard.__init__(self)
        self._real = real
        self._kind = self.next_kind = kind
        self._in = bytearray(256)
        self._rest = b""
        self._decoder = wire.Decoder()
        self._due = self._again = self._trigger = 0
        self._data = None
        self._asking = False
        self._pulses = b""
        self._alone = False
        self._since = self._paced = real.ticks_us()

    # -- main loop ---------------------------------------------------------------------------------------

    def serve(self, app):
        """Do tick after tick; returns the number of the request to begin anew, 0 when the REPL is wanted."""
        real = self._real
        while not real.repl_wanted(True):
            real.watchdog()
            self._hear()
            if self._again:
                return self._again
            if self._due:
                self._due = 0
                app.tick()
                app.service()
                self.tell()
            elif self._unfed():
                app.tick()
                app.service()
        return 0

    def _hear(self):
        n = self._real.read(self._in)
        if not n:
            return
        pieces = (self._rest + bytes(memoryview(self._in)[:n])).split(b"\0")
        self._rest = pieces.pop()
        for piece in pieces:
            # the byte behind the first is the type, which is never zero
            if len(piece) > 1 and piece[1] in (_PLANT, _READINGS, _DATA):
                for kind, seq, body in self._decoder.feed(piece + b"\0"):
                    self._obey(kind, seq, body)
            else:
                self._link += piece + b"\0"
        if len(self._rest) > wire.MAX_ENCODED:
            self._link += self._rest  # no frame: the app counts it
            self._rest = b""

    def _obey(self, kind, seq, body):
        if kind == _PLANT:
            self.next_kind = body[0]
            self._again = seq
        elif kind == _DATA and not self._asking:
            self.tell()  # the laptop wants to know whether we are there
        elif kind == _DATA:
            self._data = body
        elif len(body) == 5 + 2 * channels.N_CHANNELS:
            self._open, self._ready, self._tripped, cut = struct.unpack_from("<BBBH", body, 0)
            self._cut += cut
            self._counts = array("H", body[5:])
            self._tick += 1
            self._due = 1
            self._alone = False

    def _unfed(self):
        # whether to do a tick without readings
        now = self._real.ticks_us()
        if not self._alone:
            if not self._link:
                self._since = now
            elif (now - self._since) & state.TICK_MASK > ALONE_US:
                self._alone = True
                for channel in (channels.BUS, channels.VIN, channels.LEG_A, channels.LEG_B):
                    self._counts[channel] = 0
        if not self._alone or (now - self._paced) & state.TICK_MASK < state.TICK_US:
            return False
        self._paced = now
        self._tick += 1
        return True

    def tell(self):
        """Hand over what the firmware set in this tick; the laptop's turn."""
        body = wire.pack(
            _OUTPUTS, self._drive, self._gate, self._rail, self._led, self._fed, self._trigger, self._trip_ma,
            tail=self._pulses,
        )  # fmt: skip
        self._fed = self._trigger = 0
        self._pulses = b""
        self.say(_OUTPUTS, body, self._tick & 0xFF)

    def say(self, kind, body, seq=0):
        """Send one frame."""
        frame = wire.frame(kind, seq, body)
        self.write(frame, len(frame))

    def _ask(self, kind, body):
        # a question to the laptop in the middle of a tick; nothing when it has gone
        self._data = None
        self._asking = True
        self.say(kind, body)
        real = self._real
        began = real.ticks_us()
        while (
            self._data is None
            and not self._again
            and (real.ticks_us() - began) & state.TICK_MASK < _GIVE_UP_US
        ):
            real.watchdog()
            self._hear()
        self._asking = False
        return self._data or b""

    # -- what the app calls ------------------------------------------------------------------------------

    def pulse(self, leg, side, us):
        """Told to the laptop."""
        self._pulses += wire.pack_row(_OUTPUTS, leg, side, us)

    def led(self, on):
        """The Pico's own lamp shows the pattern too."""
        FedBoard.led(self, on)
        self._real.led(on)

    def reset_cause(self):
        """As after power-on: the simulated bench begins with this mode."""
        return 0

    def write(self, buf, n):
        """Send all; to a laptop that has gone, nothing."""
        real = self._real
        began = real.ticks_us()
        at = 0
        while at < n and (real.ticks_us() - began) & state.TICK_MASK < _GIVE_UP_US:
            real.watchdog()
            at += real.write(memoryview(buf)[at:n], n - at)
        return n

    def burst_start(self, channel, rate_hz, count, pre):
        """Begin a capture on the laptop; the rate it takes, 0 when it cannot."""
        self._ready = 0
        data = self._ask(_BURST, wire.pack(_BURST, channel, rate_hz, count, pre))
        return struct.unpack("<I", data)[0] if len(data) == 4 else 0

    def burst_trigger(self):
        """Told to the laptop."""
        self._trigger = 1

    def burst_copy(self, offset, buf):
        """Fetch counts from value ``offset`` on; returns how many bytes."""
        piece = self._ask(_WANT, wire.pack(_WANT, offset, len(buf)))[: len(buf)]
        buf[: len(piece)] = piece
        return len(piece)

    def raw_start(self, channel, rate_hz):
        """No endless stream over a link that works tick by tick."""
        return 0

    def uid(self):
        """The Pico's own."""
        return self._real.uid()

    def kind(self):
        """The bench that the laptop wants to see; the handshake says so."""
        return self._kind
