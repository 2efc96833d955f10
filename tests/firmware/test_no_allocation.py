"""The tick allocates nothing: thousands of ticks in every state with the heap locked (under MicroPython).

With the heap locked, MicroPython raises MemoryError at the first allocation of any kind. CPython has no
such lock, so there the same ticks are only run. ``service()`` may allocate and runs unlocked in between.
A second test watches the size of every integer, since the desktop interpreter's small integers have 62
bits and the chip's have 30: see test_integer_range.py.
"""
# Runs under CPython and MicroPython.

import sys

from fake_board import Host, segment
from strokefw import state
from strokefw.drive import ramp

if sys.implementation.name == "micropython":
    from micropython import heap_lock, heap_unlock
else:

    def heap_lock():
        """CPython has no such lock."""

    heap_unlock = heap_lock

PROCEDURE = (
    segment(ramp.RAMP, 6000, 150),
    segment(ramp.HOLD, -4000, 120, watch=(2, 0, 0, 3, 2)),
    segment(ramp.PULSE, 3000, 0, (7, 5, 9, -500), watch=(1, 0, 30000, 0, 0)),
    segment(ramp.PAUSE, 0, 40, watch=(4, 0, 100, 0, 0)),
    segment(ramp.BURST, 0, 0, (1, 100000, 500, 0), watch=(5, 0, 4900, 0, 0)),
    segment(ramp.BURST, 0, 0, (0, 50000, 500, 100)),
    segment(ramp.STEP, 7000, 250, watch=(1, 0, 5000, 10, 4)),
    segment(ramp.RAMP, 0, 50),
)


class LockedHost(Host):
    """A Host whose ticks run with the heap locked; ``seen`` counts the locked ticks by state."""

    def __init__(self):
        self.seen = [0] * len(state.NAMES)
        Host.__init__(self)

    def tick(self, n=1):
        """Let ``n`` ms pass; the tick itself locked."""
        app = self.app
        board = self.board
        for _ in range(n):
            board.us += 1000
            heap_lock()
            try:
                app.tick()
            finally:
                heap_unlock()
            self.seen[app.state] += 1
            app.service()
            self.take()


def test_the_lock_works():
    if sys.implementation.name != "micropython":
        return
    heap_lock()
    try:
        [1, 2, 3].append(4)
        locked = False
    except MemoryError:
        locked = True
    heap_unlock()
    assert locked


def test_no_tick_allocates_in_any_state():
    host = LockedHost()
    for turn in range(6):
        host.arm()
        host.do("stream", turn & 1)
        host.load(PROCEDURE)
        host.do("run")
        for i in range(1500):
            if i % 100 == 0:
                host.send("heartbeat")
            if i == 700 and turn == 2:
                host.do("stop", 0)
            if i == 500 and turn == 3:
                host.do("stop", 1)
            host.tick()
        assert host.app.state == (state.ARMED if turn != 4 else host.app.state)
        host.board.cuts = 3  # the comparator had to act
        host.do("jog", 5000)
        host.tick(200)
        host.do("jog", -5000)
        host.tick(450)
        if turn == 4:
            host.tick(900)  # silence: ramp down and latch
        else:
            host.board.open_line = 1
            host.tick(400)
            host.board.open_line = 0
        assert host.app.state == state.LATCHED
        host.tick(50)
        host.do("clear")
        host.board.supply_mv = 5000  # a check that fails
        host.ask("arm")
        host.board.supply_mv = 13500
        host.tick(900)
        assert host.app.state == state.READY
    print("locked ticks by state:", host.seen)
    for now, least in (
        (state.CHECK, 500), (state.READY, 2000), (state.ARMED, 1000), (state.DRIVING, 5000),
        (state.STOPPING, 100), (state.LATCHED, 2000),
    ):  # fmt: skip
        assert host.seen[now] >= least, host.seen


def test_overload_of_the_link_makes_no_tick_allocate():
    host = LockedHost()
    host.arm()
    host.do("jog", 3000)
    host.board.room = 0  # ring and event queue run over
    for _ in range(30):
        host.send("heartbeat")
        host.send("jog", 3000 if host.seq & 1 else -3000)
        host.tick(100)
    assert host.app.state == state.DRIVING
    assert host.app.link.row_tail != host.app.ring_head
