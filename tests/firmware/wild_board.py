"""A board whose converters read anything, and a session over it: extremes for the firmware's arithmetic."""

from fake_board import LIMITS, FakeBoard, Host, segment
from strokefw import channels, state
from strokefw.drive import ramp

EXTREMES = (0, 1, 16, 32760, 32767, 40000, 65519, 65520, 65535)


class WildBoard(FakeBoard):
    """Reads like a FakeBoard, but while ``wild`` every few ticks some channels read an extreme."""

    def __init__(self):
        FakeBoard.__init__(self)
        self.wild = 0
        self.x = 12345

    def dice(self, n):
        """Return a repeatable number below ``n``."""
        self.x = (self.x * 1103515245 + 12345) & 0x7FFFFFFF
        return (self.x >> 8) % n

    def scan(self, counts):
        """Fill the readings, then spoil some."""
        FakeBoard.scan(self, counts)
        if self.wild and self.dice(3) == 0:
            for channel in range(channels.N_CHANNELS):
                if self.dice(100) < self.wild:
                    counts[channel] = EXTREMES[self.dice(len(EXTREMES))]
            self.cuts = self.dice(21)

    def trips(self):
        """Return the cuts since the last call."""
        cuts = self.cuts
        self.cuts = 0
        return cuts


PROCEDURES = (
    (segment(ramp.RAMP, 10000, 600000),),
    (
        segment(ramp.RAMP, -10000, 1),
        segment(ramp.RAMP, 10000, 1),
        segment(ramp.PULSE, 10000, 0, (1, 1, 10000, -10000)),
    ),
    (
        segment(ramp.PAUSE, 0, 3),
        segment(ramp.BURST, 0, 0, (0, 1, 50000, 49999)),
        segment(ramp.STEP, 9999, 600000),
    ),
    (segment(ramp.HOLD, 10000, 600000, watch=(1, 0, (1 << 30) - 1, 65535, 65535)),),
)


def widest():
    """Return the widest limits the bench takes, with the fastest and the slowest slew by turns."""
    wide = list(LIMITS)
    wide[0] = 60000
    wide[1] = 45000
    wide[8] = 60000
    wide[2:4] = (8000, 17000)
    wide[10:14] = (100000, 45000, 100000, 45000)
    wide[14] = 1500
    return wide


def play(run_tick):
    """Play many short runs with rising wildness, ``run_tick(tick)`` for each tick; return ticks by state."""
    board = WildBoard()
    host = Host(board)
    seen = [0] * len(state.NAMES)
    plain = host.app.tick

    def tick():
        run_tick(plain)
        seen[host.app.state] += 1

    host.app.tick = tick
    host.app.ticks = state.TICK_MASK - 4000  # the counters wrap on the way
    host.app.ring_head = state.TICK_MASK - 2000
    host.app.link.drop_pending()
    host.app.calibration.trim[channels.I_COARSE] = host.app.calibration.trim[channels.I_FINE] = 6553
    host.app.sense.reload()
    for turn in range(28):
        board.wild = 0
        board.ma_per_drive = (1, 3, 6)[turn % 3]
        host.tick(30)
        if host.app.state == state.LATCHED:
            host.do("clear")
        host.do("hello", 1)
        limits = widest()
        limits[4] = (1, 50, 1000)[turn % 3]
        host.do("limits", *limits)
        host.do("arm")
        host.load(PROCEDURES[turn % 4])
        host.do("run")
        host.tick(30)
        board.wild = (0, 3, 20, 60)[turn // 4 % 4]
        for _ in range(6):
            host.send("heartbeat")
            host.tick(90)
        board.wild = 0
        board.supply_mv = (13500, 25000, 3000)[turn % 3]
        host.tick(60)
        board.supply_mv = 13500
        while host.app.state not in (state.READY, state.LATCHED):
            host.tick(100)
    return seen
