"""The log is stored in pieces: at rest only, safe before the host hears of it, requests heard in between."""
# Runs under CPython and MicroPython.

from fake_board import FakeBoard, Host, segment
from strokefw import faults, state
from strokefw.drive import ramp
from strokefw.link import wire
from strokefw.tick import events
from strokefw.tick import kernel as at

PIECE_MS = 400  # a flash's worst case for a sector


class SlowBoard(FakeBoard):
    """Stores like the chip: in pieces, each of which takes long, without a tick in it."""

    def __init__(self):
        super().__init__()
        self.begun_in = []
        self.app = None
        self.safe = {}

    def store(self, slot, data):
        """Yield after each of four pieces; the second makes it safe."""
        for piece in range(4):
            self.begun_in.append(self.app.state)
            self.us += PIECE_MS * 1000
            if piece == 1:
                self.safe[slot] = bytes(data)
            yield piece > 0


class SlowHost(Host):
    """A Host on such a board; ``heard`` notes whether the log was safe whenever the bench spoke."""

    def __init__(self):
        self.heard = []
        super().__init__(SlowBoard())
        self.board.app = self.app

    def take(self):
        """Look before the message is taken."""
        if len(self.board.outbox):
            self.heard.append(self.logged(faults.HEARTBEAT_LOST))
        super().take()

    def logged(self, code):
        """Return whether a fault would still be in the log after a loss of power."""
        kept = FakeBoard()
        kept.slots = self.board.safe
        return any(row[1:3] == (state.EVENT_FAULT, code) for row in events.Ring(kept).rows())


def silent_while_driving():
    """Return a host whose bench has latched fault 61."""
    host = SlowHost()
    host.tick(1500)
    host.arm()
    host.load([segment(ramp.HOLD, 3000, 60000)])
    host.do("run")
    host.tick(2000)
    assert host.app.fault == faults.HEARTBEAT_LOST
    return host


def test_flash_is_written_only_while_the_supply_is_open():
    host = silent_while_driving()
    assert len(host.board.begun_in) >= 8
    assert set(host.board.begun_in) <= {state.READY, state.LATCHED}


def test_the_log_is_safe_before_the_end_of_the_run_is_told():
    host = silent_while_driving()
    told = [name for name, values in host.messages if name == "event" and values[1] == state.EVENT_RUN_END]
    assert told and host.heard[-1]
    first = host.heard.index(True)
    assert not any(host.heard[:first]) and all(host.heard[first:])


def test_requests_are_heard_between_two_pieces():
    host = SlowHost()
    while not host.board.begun_in:
        host.tick()
    pieces = len(host.board.begun_in)
    host.ask("hello", wire.PROTOCOL, ticks=4)
    assert pieces < len(host.board.begun_in) <= pieces + 3


def test_a_tick_that_the_flash_held_up_is_not_missed_and_the_clock_goes_on():
    host = SlowHost()
    host.tick(1500)
    assert len(host.board.begun_in) == 4
    assert host.app.overruns == 0
    assert host.app.ticks == host.board.us // 1000
    assert host.app.words[at.BEGAN] == host.board.us


def test_a_calibration_is_stored_whole_before_it_is_answered():
    host = SlowHost()
    host.tick(1500)
    record = host.app.calibration.record()
    host.board.begun_in = []
    assert host.ask("calib_write", tail=record)[1][0] == 0
    assert len(host.board.begun_in) == 4 and len(host.board.safe) == 2
