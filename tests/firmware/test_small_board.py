"""The small bench: ten times finer current ranges, its own limits, guards and self-test in proportion."""
# Runs under CPython and MicroPython.

from array import array

from fake_board import FakeBoard
from readings import counts_of
from strokefw import channels, faults
from strokefw.app import App
from strokefw.guard import current as guard_current
from strokefw.guard import limits as guard_limits
from strokefw.guard.guards import Guard
from strokefw.sensing.calib import TRIM_MAX, ZERO_MAX, Calibration
from strokefw.sensing.sense import Sense
from strokefw.tick import check

SMALL = 1


def test_reads_a_tenth_of_what_the_same_counts_are_on_the_reference_bench():
    sense = Sense(Calibration(), SMALL)
    for current_ma in range(-7900, 7901, 13):
        sense.update(counts_of(current_ma * 10))
        assert abs(sense.current_ma - current_ma) <= 1, (current_ma, sense.current_ma)
        assert abs(sense.bus_mv - 12000) <= 1


def test_blend_lies_where_the_fine_range_ends():
    sense = Sense(Calibration(), SMALL)
    for current_ma, shown_ma in ((400, 400), (490, 490 + 201 * 51 // 80), (760, 961)):
        counts = counts_of(current_ma * 10)
        counts[0] += 798  # coarse reads 201 mA high: at 490 mA it sees a peak of 691, 51 of 80 on
        sense.update(counts)
        assert abs(sense.current_ma - shown_ma) <= 2, (current_ma, sense.current_ma)


def test_products_stay_within_thirty_bits():
    for zero_sign in (-1, 1):
        calibration = Calibration()
        for channel in range(channels.N_CHANNELS):
            calibration.zero[channel] += zero_sign * ZERO_MAX
            calibration.trim[channel] = TRIM_MAX
        sense = Sense(calibration, SMALL)
        for level in (0, 65535):
            sense.update(array("H", [level] * channels.N_CHANNELS))
            for channel in range(channels.N_CHANNELS):
                zero, mul, shift = sense.words[3 * channel : 3 * channel + 3]
                assert abs((level + 8192 - zero) * mul + (1 << (shift - 1))) < 1 << 30, channel


def code_after(kind, current_ma, gate, ticks=400):
    """Code of a guard that sees this current on a board of ``kind``; its fine range clips where it must."""
    sense = Sense(Calibration(), kind)
    guard = Guard(sense, kind)
    seen = 0
    for _ in range(ticks):
        sense.update(counts_of(current_ma * channels.FINER[kind]))
        seen = seen or guard_current.CODES[guard_current.watch(guard.current_words, sense.values, gate, 0)]
        guard_current.bound(guard.current_words, sense.values, 0, 12000)
    return seen


def test_clipping_of_the_fine_range_is_no_fault_and_leakage_is_seen_sooner():
    assert code_after(SMALL, 4000, 1) == 0
    assert code_after(SMALL, 100, 0) == faults.CURRENT_OFF  # 100 mA with the bridge off
    assert code_after(0, 100, 0) == 0


def test_limits_are_those_of_a_five_ampere_bench():
    bounds = guard_limits.ABSOLUTE[SMALL]
    assert bounds.current_mean_ma == bounds.rest_ma == 5000
    assert bounds.current_max_ma == 6000  # its hard trip
    # heats the shunt and MOSFETs no longer than 10 s between the two
    assert bounds.i2t_a2s == (6 * 6 - 5 * 5) * 10


class SmallBoard(FakeBoard):
    def kind(self):
        return SMALL


def test_the_app_asks_the_board():
    app = App(SmallBoard())
    app.sense.update(counts_of(20000))
    assert abs(app.sense.current_ma - 2000) <= 1
    assert app.selftest.words[check.FINER] == 10
    assert check.ZERO_FINE_MA // 10 == 6
