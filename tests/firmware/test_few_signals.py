"""A board that measures current, bridge supply and one sensor: the rest is left out, and nobody judges it."""
# Runs under CPython and MicroPython.

from fake_board import LIMITS, FakeBoard, Host
from strokefw import channels, faults, state
from strokefw.guard import limits as guard_limits
from strokefw.guard import volts
from strokefw.link import wire
from strokefw.tick import check, selftest

KIND = channels.FEW
MEASURED = (channels.I_COARSE, channels.I_MAX, channels.I_MIN, channels.BUS, channels.SENSOR_A)
OWN = (4500, 2900, 9000, 16000, 50, -10000, 10000, 5000, 2500, 500, 2900, 2900, 600, 2900, 1000, 0)
"""Limits that it allows."""


class FewBoard(FakeBoard):
    """The fake board without what such a board lacks; its bridge is charged as long as there is a supply."""

    def __init__(self):
        FakeBoard.__init__(self)
        self.shorted = 0  # 1: a switch is; the bridge empties as soon as it switches, 2: only backward
        self.empty = 0
        self.ma_per_drive = 0

    def kind(self):
        return KIND

    def scan(self, counts):
        FakeBoard.scan(self, counts)
        if self.shorted and self.now_gate and (self.shorted == 1 or self.now_drive < 0):
            self.empty = 1
        counts[channels.BUS] = 0 if self.empty else self.supply_mv * 2589 // 1000
        counts[channels.SENSOR_A] = self.sensor_a_mv * 13104 // 1000  # a share of 5 V
        for channel in range(channels.N_CHANNELS):
            if channel not in MEASURED:
                counts[channel] = 0


def host_on(board):
    """A host of this board, greeted, after the check at power-up."""
    host = Host(board)
    host.tick(1500)
    return host


def selftest_of(board):
    """The self-test's code and results by name."""
    host = host_on(board)
    test = host.app.selftest
    return test.code, {selftest.NAMES[row[0]]: row[1] for row in test.results}


def test_a_good_one_passes_and_names_only_what_it_saw():
    code, found = selftest_of(FewBoard())
    assert code in (0, faults.CALIBRATION)
    unseen = {
        "current_zero_fine_ma", "reference_mv", "heatsink_dc", "precharge_permille", "leg_a_permille",
        "legs_apart_permille", "pulse_a_low_permille", "main_switch_mv",
    }  # fmt: skip
    assert not unseen & set(found)
    assert 13400 < found["supply_mv"] < 13600 and 990 <= found["supply_held_permille"] <= 1001


def test_a_shorted_switch_empties_the_bridge_in_one_direction_or_the_other():
    for shorted in (1, 2):
        board = FewBoard()
        board.shorted = shorted
        code, found = selftest_of(board)
        assert code == faults.PRECHARGE and found["supply_held_permille"] < check.HELD_LOW
        assert board.now_gate == 0 and board.now_rail == 0


def test_without_a_supply_it_waits_then_refuses():
    board = FewBoard()
    board.supply_mv = 0
    host = Host(board)
    host.tick(1000)
    assert host.app.state == state.CHECK
    host.tick(2500)
    assert host.app.selftest.code == faults.PRECHARGE


def test_it_drives_without_legs_terminals_feed_and_thermistors():
    host = Host(FewBoard())
    host.arm(OWN[:-1] + (guard_limits.SENSORS,))
    host.tick(10)
    assert host.app.state == state.ARMED
    for _ in range(10):
        host.do("jog", 3000)
        host.tick(100)
    assert host.app.state == state.DRIVING and host.app.fault == 0
    v = host.app.sense
    assert v.sensor_a_mv == 2500 and v.current_ma == v.values[channels.I_COARSE]
    assert v.vin_mv == v.leg_a_mv == v.leg_b_mv == v.feed_mv == v.sensor_b_mv == 0


def refused(host, name, *values):
    """The code of a refusal."""
    answer, found = host.ask(name, *values)
    assert answer == "reply"
    return found[0]


def test_limits_with_a_thermistor_are_refused():
    host = host_on(FewBoard())
    host.do("hello", wire.PROTOCOL)
    wanted = OWN[:-1] + (guard_limits.PART_NTC,)
    assert refused(host, "limits", *wanted) == faults.OUT_OF_RANGE
    host.do("limits", *OWN)


def test_the_guard_of_a_board_that_has_legs_still_looks_at_them():
    host = Host()
    assert host.app.guard.volt_words[volts.NO_LEGS] == 0
    assert host_on(FewBoard()).app.guard.volt_words[volts.NO_LEGS] == 1
    assert LIMITS[0] > OWN[0]


def test_a_stream_of_the_range_that_it_lacks_is_refused():
    host = host_on(FewBoard())
    host.do("hello", wire.PROTOCOL)
    assert refused(host, "raw", channels.I_FINE, 10000) == faults.OUT_OF_RANGE
    assert host.ask("raw", channels.I_COARSE, 10000)[0] == "raw_begun"
