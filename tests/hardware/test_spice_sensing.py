"""Sensor inputs, current amplifiers, and both current ranges through the firmware's own merging code."""

from array import array
from itertools import pairwise

import pytest
from strokefw import channels
from strokefw.sensing import calib
from strokefw.sensing.sense import Sense

from hardware.calc import design, sense
from hardware.spice import runner

pytestmark = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")


@pytest.fixture(scope="module")
def sensor():
    return runner.run("sensor")


@pytest.fixture(scope="module")
def amplifier():
    return runner.run("amplifier")


def test_sixteen_volts_either_way_do_no_harm(sensor):
    """Node within 0.9 V of the rails (the buffer's limit is 1 V) and far below the clamp's 100 mA."""
    assert sensor["high_v"] < design.ADC_REFERENCE_V + 0.9
    assert sensor["low_v"] > -0.9
    assert sensor["clamp_ua"] < 200


def test_a_small_series_resistor_would_not_protect():
    assert runner.run("sensor", rtop=1e3, rbot=1.8e3)["clamp_ua"] > 10_000


def test_five_volts_read_right_with_the_clamps_leakage(sensor):
    share = design.SENSOR_BOTTOM_OHM / (design.SENSOR_TOP_OHM + design.SENSOR_BOTTOM_OHM)
    assert sensor["node_5v"] == pytest.approx(5 * share, abs=0.5e-3)
    assert sensor["leak_uv"] < 1e6 * design.ADC_REFERENCE_V / design.ADC_CODES


def test_a_clamp_that_leaks_microamperes_would_show():
    """The reason for the low-leakage pair: 1 uA through 64 kOhm is 64 mV."""
    assert runner.run("sensor", leak=1e-6)["leak_uv"] > 50_000


def test_loading_and_time_constant_as_calculated(sensor):
    top, bottom = design.SENSOR_TOP_OHM, design.SENSOR_BOTTOM_OHM
    ideal = 2.5 * bottom / (top + bottom)
    assert 1 - sensor["pot_v"] / ideal == pytest.approx(sense.loading_error(5e3, top + bottom), rel=0.02)
    tau_ms = 1e3 * top * bottom / (top + bottom) * design.SENSOR_FILTER_F
    assert sensor["tau_ms"] == pytest.approx(tau_ms, rel=0.01)


def test_amplifier_is_as_fast_as_its_bandwidth(amplifier):
    """One pole: rise time 0.35/bandwidth; the 60 A step is slower by the slew limit."""
    assert amplifier["rise_us"] == pytest.approx(0.35 / sense.INA_BANDWIDTH_HZ * 1e6, rel=0.02)
    assert amplifier["rise_us"] < amplifier["slew_us"] < 1.5


def test_a_pwm_edge_disturbs_and_is_gone_by_mid_pulse(amplifier):
    step_mv = 1e3 * design.ADC_REFERENCE_V / design.ADC_CODES
    assert amplifier["coarse_peak_mv"] > 10 * step_mv
    assert abs(amplifier["settle_mv"]) < step_mv
    assert abs(amplifier["coarse_mid_ma"]) < 1
    assert abs(amplifier["fine_mid_ma"]) < 1


def test_mean_over_whole_periods_is_clean(amplifier):
    """Up and down edges cancel, which is why the firmware averages whole PWM periods."""
    assert abs(amplifier["coarse_mean_ma"]) < 1
    assert abs(amplifier["fine_mean_ma"]) < 1


@pytest.fixture(scope="module")
def ranges():
    return runner.run("ranges")


def merged(result):
    """Run both amplifier outputs through strokefw.sensing.sense, as on the chip; (true A, read A) pairs."""
    chip, counts = Sense(calib.Calibration()), array("H", [0] * channels.N_CHANNELS)
    waves = zip(result.waves["i-sweep"], result.waves["v(coarse)"], result.waves["v(fine)"], strict=True)
    for amps, coarse_v, fine_v in waves:
        for index in (channels.I_COARSE, channels.I_MAX, channels.I_MIN):
            counts[index] = round(coarse_v / design.ADC_REFERENCE_V * channels.FULL_SCALE)
        counts[channels.I_FINE] = round(fine_v / design.ADC_REFERENCE_V * channels.FULL_SCALE)
        chip.update(counts)
        yield amps, chip.current_ma / 1000


def test_merged_reading_is_right_everywhere(ranges):
    """Error within gain 0.2 % and offset 25 mA of the amplifiers, over both ranges."""
    pairs = list(merged(ranges))
    assert len(pairs) > 2000
    assert all(abs(read - amps) <= 0.0022 * abs(amps) + 0.028 for amps, read in pairs)


def test_hand_over_makes_no_step(ranges):
    reads = [read for _, read in merged(ranges)]
    steps = [b - a for a, b in pairwise(reads)]
    assert min(steps) > 0.035
    assert max(steps) < 0.065


def test_fine_range_alone_would_be_blind_above_8_a(ranges):
    assert ranges["fine_20"] > 3.2
    assert ranges["coarse_60"] == pytest.approx(1.65 + 60e-3 * 20, rel=0.003)
