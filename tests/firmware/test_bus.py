"""Whether the USB bus is awake is known from its frame numbers, however seldom they are looked at."""
# Runs under CPython and MicroPython.

from array import array

from strokefw.link import bus

SLEEP_US = 3000  # USB 2.0, 7.1.7.6: a bus that is idle for longer is suspended
DRIFTS = (0, 500, -500)  # millionths between the computer's clock and the chip's


class Host:
    """A computer that sends a start of frame every ms of its own clock, until it sleeps."""

    def __init__(self, drift=0, first=2040, phase_us=300):
        self.frame_ns = 1000000 + drift
        self.first = first
        self.phase_us = phase_us
        self.asleep_us = -1
        self.words = bus.watch()

    def came(self, now_us):
        """Return (number, time in us) of the newest frame."""
        if 0 <= self.asleep_us < now_us:
            now_us = self.asleep_us
        count = (now_us - self.phase_us) * 1000 // self.frame_ns
        return (self.first + count) & 0x7FF, self.phase_us + count * self.frame_ns // 1000

    def look(self, now_us):
        """Return what the chip makes of it."""
        register = array("i", [self.came(now_us)[0]])
        return bus.awake(self.words, register, now_us & 0x3FFFFFFF)


def gaps(seed):
    """Yield pauses between looks in us: mostly short, some as long as a garbage collection."""
    while True:
        seed = (seed * 1103515245 + 12345) & 0x3FFFFFFF
        kind = seed >> 8 & 31
        yield 27000 if kind == 0 else 50 + (seed >> 12) % (400 if kind < 16 else 3500)


def test_a_bus_that_is_awake_is_found_so_at_every_look_but_the_first_ones():
    for drift in DRIFTS:
        host = Host(drift)
        now_us = (1 << 30) - 3000000  # the clock wraps under way
        sure = 0
        for gap_us in gaps(7):
            now_us += gap_us
            found = host.look(now_us)
            assert found or not sure, (drift, now_us)
            sure = found
            if now_us > (1 << 30) + 5000000:
                break
        assert sure


def test_a_bus_that_sleeps_is_never_taken_for_awake():
    for drift in DRIFTS:
        for seed in range(40):
            host = Host(drift, first=seed * 53, phase_us=seed * 23)
            host.asleep_us = 700000 + seed * 97
            now_us = 0
            for gap_us in gaps(seed):
                now_us += gap_us
                if host.look(now_us):
                    assert now_us - host.came(now_us)[1] < SLEEP_US, (drift, seed, now_us)
                if now_us > 800000:
                    break


def test_after_a_sleep_two_looks_a_frame_apart_are_enough():
    host = Host()
    for now_us in range(0, 50000, 700):
        host.look(now_us)
    host.asleep_us = 50000
    for now_us in range(50000, 3000000, 900):
        host.look(now_us)
    assert not host.look(3000000)
    host.asleep_us = -1
    host.first += 777  # the computer counted on
    assert not host.look(3000500) and host.look(3001600)


def test_without_a_computer_it_is_never_awake():
    words = bus.watch()
    still = array("i", [0])
    assert not [now_us for now_us in range(0, 3000000, 330) if bus.awake(words, still, now_us)]
