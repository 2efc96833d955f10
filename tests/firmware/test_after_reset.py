"""After a reset by the watchdog the bench pulses nothing before a computer asks for it."""
# Runs under CPython and MicroPython.

from fake_board import LIMITS, FakeBoard, Host
from strokefw import state
from strokefw.link import wire


class Watched(FakeBoard):
    """A board that notes whether anything was switched."""

    def __init__(self, cause):
        super().__init__()
        self.cause = cause
        self.switched = 0

    def rail(self, mode):
        """Note it."""
        super().rail(mode)
        self.switched += mode

    def pulse(self, leg, side, us):
        """Note it."""
        super().pulse(leg, side, us)
        self.switched += 1


def test_no_pulse_on_any_gate_after_a_watchdog_reset_until_a_computer_asks():
    host = Host(Watched(state.RESET_WATCHDOG))
    host.tick(3000)
    host.do("hello", wire.PROTOCOL)
    host.do("status")
    host.do("limits", *LIMITS)
    host.tick(1000)
    assert host.app.state == state.OFF and not host.board.switched
    assert host.ask("run")[1][0] and host.ask("jog", 100)[1][0]
    host.do("clear")
    host.do("disarm")
    host.do("stop", 1)
    host.tick(100)
    assert host.app.state == state.OFF and not host.board.switched
    assert host.ask("selftest")[1][0] == 0
    assert host.app.state == state.READY and host.board.switched


def test_arming_is_asking_too():
    host = Host(Watched(state.RESET_WATCHDOG))
    host.tick(100)
    host.arm()
    assert host.app.state == state.ARMED


def test_after_any_other_start_the_self_test_comes_by_itself():
    for cause in (state.RESET_POWER_ON, state.RESET_SOFT, state.RESET_OTHER):
        host = Host(Watched(cause))
        host.tick(2000)
        assert host.app.state == state.READY and host.board.switched


def test_the_log_tells_of_the_reset_although_nobody_asks():
    host = Host(Watched(state.RESET_WATCHDOG))
    host.tick(10)
    again = Host(Watched(state.RESET_POWER_ON))
    again.board.slots = host.board.slots
    again = Host(again.board)
    assert (0, state.EVENT_BOOT, state.RESET_WATCHDOG, 0) in again.app.log.rows()
