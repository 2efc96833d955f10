"""Counts to units: against the scaling formulas, at the extremes, and without allocation."""
# Runs under CPython and MicroPython.

import math
from array import array

from readings import counts_of
from strokefw import channels
from strokefw.sensing.calib import TRIM_MAX, ZERO_MAX, Calibration
from strokefw.sensing.sense import (
    BIAS_DC,
    NO_READING,
    NTC_OK,
    NTC_OPEN,
    NTC_SHORT,
    TABLE,
    Sense,
    decidegrees,
)


def ntc_counts(temperature_c):
    """Counts of an ideal 10 k B3950 with 4.7 k pull-up (IEC 60539-1 one-beta law)."""
    ohm = 10000 * math.exp(3950 * (1 / (temperature_c + 273.15) - 1 / 298.15))
    return ohm / (ohm + channels.NTC_PULLUP_OHM) * channels.FULL_SCALE


def test_ideal_bench_reads_true_over_both_ranges():
    sense = Sense(Calibration())
    for current_ma in range(-80000, 80001, 137):
        sense.update(counts_of(current_ma))
        # coarse: half a count is 1.3 mA; fine: 0.13 mA; gain rounding 2.5e-5 of 80 A is 2 mA
        allowed = 4 if abs(current_ma) > 6400 else 1
        assert abs(sense.current_ma - current_ma) <= allowed, (current_ma, sense.current_ma)


def test_ranges_are_blended_without_a_step():
    sense = Sense(Calibration())
    last = None
    for current_ma in range(6000, 7700, 3):
        counts = counts_of(current_ma)
        counts[0] += 80  # the coarse range reads 201 mA high: the blend must spread it over 800 mA
        counts[11] = counts[0]
        sense.update(counts)
        if last is not None:
            assert 0 <= sense.current_ma - last <= 9, current_ma
        last = sense.current_ma
    assert abs(last - current_ma - 201) < 10


def test_fine_range_is_left_when_the_ripple_peak_leaves_it():
    sense = Sense(Calibration())
    counts = counts_of(5000)
    counts[1] -= 4000  # the fine amplifier clips the ripple, so that its mean reads 1 A low
    counts[11] = counts_of(9000)[0]
    sense.update(counts)
    assert abs(sense.current_ma - 5000) <= 4


def test_sensor_is_ratiometric_and_feed_is_watched():
    sense = Sense(Calibration())
    good = ((5000, 2500, 1), (4600, 2717, 1), (5090, 2455, 1))
    cases = good + ((5131, 2500, 0), (4300, 2500, 0), (0, 2500, 0))
    for feed_mv, expected_mv, ok in cases:
        sense.update(counts_of(feed_mv=feed_mv))
        assert abs(sense.sensor_a_mv - expected_mv) <= 1 and sense.feed_ok == ok, feed_mv
        assert abs(sense.feed_mv - feed_mv) <= 1


def test_calibration_is_applied():
    calibration = Calibration()
    calibration.zero[channels.I_FINE] += 100
    calibration.trim[channels.I_FINE] = 328  # +1.001 %
    calibration.zero[channels.BUS] = -200
    sense = Sense(calibration)
    sense.update(counts_of(3000))
    assert abs(sense.current_ma - round((3000 - 100 * 16500 / 65520) * 1.01001)) <= 1
    assert abs(sense.bus_mv - (12000 + 200 * 25300 / 65520)) <= 2


def test_table_is_the_formula():
    worst = 0
    for tenth in range(-200, 1201):
        counts = int(ntc_counts(tenth / 10))
        worst = max(worst, abs(decidegrees(counts) - tenth))
    assert worst <= 3, worst  # 0.3 C
    for index in range(2, 126):
        ohm = channels.NTC_PULLUP_OHM * 512 * index / (channels.FULL_SCALE - 512 * index)
        celsius = 1 / (1 / 298.15 + math.log(ohm / 10000) / 3950) - 273.15
        assert abs(TABLE[index] - BIAS_DC - celsius * 10) < 0.52, index


def test_published_resistances_read_back():
    # reference values of a 10 k B3950 computed from the one-beta law, IEC 60539-1: ohm at C
    for celsius, ohm in ((-20, 105385), (0, 33620.6), (25, 10000), (60, 2486.2), (85, 1086.7), (100, 697.5)):
        counts = round(ohm / (ohm + 4700) * 65520)
        assert abs(decidegrees(counts) - celsius * 10) <= 3, celsius


def test_broken_thermistors_are_named_not_read():
    sense = Sense(Calibration())
    cases = ((65520, NTC_OPEN), (63600, NTC_OPEN), (0, NTC_SHORT), (900, NTC_SHORT), (30000, NTC_OK))
    for counts, state in cases:
        for _ in range(40):
            sense.update(counts_of(ntc_counts=counts))
        assert sense.heatsink_ntc == state and sense.part_ntc == state
        assert (sense.heatsink_dc == NO_READING) == (state != NTC_OK)
        assert (sense.part_dc == NO_READING) == (state != NTC_OK)


def test_temperatures_are_means_of_sixteen_ticks():
    sense = Sense(Calibration())
    low, high = 28000, 30000
    for tick in range(4800):
        sense.update(counts_of(ntc_counts=low if tick & 1 else high))
        if tick > 24:
            assert sense.heatsink_dc == sense.part_dc == decidegrees((low + high) // 2), tick


def test_extremes_stay_small_integers():
    limit = 1 << 30
    for zero_sign in (-1, 1):
        for trim in (-TRIM_MAX, TRIM_MAX):
            calibration = Calibration()
            for channel in range(channels.N_CHANNELS):
                calibration.zero[channel] += zero_sign * ZERO_MAX
                calibration.trim[channel] = trim
            sense = Sense(calibration)
            for level in (0, 1, 32760, 65535):
                sense.update(array("H", [level] * channels.N_CHANNELS))
                for channel in range(channels.N_CHANNELS):
                    zero, mul, shift = sense.words[3 * channel : 3 * channel + 3]
                    product = (level + 8192 - zero) * mul + (1 << (shift - 1))
                    assert -limit < product < limit, (channel, product)
                    signed = channel in (0, 1, 11, 12)
                    assert sense.values[channel] == (product >> shift if signed else max(0, product >> shift))
                # the ratio is the largest product outside the kernel
                assert max(sense.values[6], sense.values[7]) * 5000 + 5000 < limit
                assert abs(sense.values[0] - sense.values[1]) * 800 < limit


def test_update_allocates_nothing():
    try:
        from micropython import heap_lock, heap_unlock
    except ImportError:
        return  # MicroPython only; the same file runs there
    sense = Sense(Calibration())
    scans = [counts_of(current_ma) for current_ma in (-70000, -6800, 0, 300, 6800, 70000)]
    sense.update(scans[0])
    heap_lock()
    try:
        for _ in range(100):
            for counts in scans:
                sense.update(counts)
    finally:
        heap_unlock()
