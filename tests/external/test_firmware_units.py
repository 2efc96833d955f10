"""The chip's integer conversions against Ohm's law and the thermistor law in floats."""

from array import array

import pytest
from strokebench.physics import ntc as law
from strokefw import channels
from strokefw.sensing import calib, sense


def counts_of_ntc(celsius):
    ohm = law.resistance_ohm(celsius, 3950)
    return round(65520 * law.divider_ratio(ohm, channels.NTC_PULLUP_OHM))


@pytest.mark.parametrize("celsius", range(-20, 121, 5))
def test_thermistor_table_against_iec_60539(celsius):
    """R = R25 exp(B(1/T - 1/T25)); the table may be 0.3 K off."""
    assert sense.decidegrees(counts_of_ntc(celsius)) / 10 == pytest.approx(celsius, abs=0.3)


def test_open_and_short_thermistor():
    assert sense.condition(65520) == sense.NTC_OPEN
    assert sense.condition(0) == sense.NTC_SHORT
    assert sense.decidegrees(65520) == sense.NO_READING


def scan(**volts):
    counts = array("H", [0] * channels.N_CHANNELS)
    for name in ("I_COARSE", "I_FINE", "I_MAX", "I_MIN"):
        counts[getattr(channels, name)] = channels.MID_SCALE
    for name, at_pin_v in volts.items():
        counts[getattr(channels, name)] = round(at_pin_v / 3.3 * channels.FULL_SCALE)
    return counts


def read(**volts):
    reading = sense.Sense(calib.Calibration())
    reading.update(scan(**volts))
    return reading


@pytest.mark.parametrize("amps", [-60, -12, 12, 40, 60])
def test_coarse_current_is_ohms_law(amps):
    """1 mOhm times gain 20 about 1.65 V."""
    pin_v = 1.65 + amps * 1e-3 * 20
    found = read(I_COARSE=pin_v, I_MAX=pin_v, I_MIN=pin_v)
    assert found.current_ma == pytest.approx(1000 * amps, abs=5)


@pytest.mark.parametrize("amps", [-6, -0.05, 0, 0.001, 2, 6])
def test_fine_current_is_ohms_law(amps):
    """1 mOhm times gain 200 about 1.65 V, resolved to a milliampere."""
    coarse_v = 1.65 + amps * 1e-3 * 20
    found = read(I_FINE=1.65 + amps * 1e-3 * 200, I_COARSE=coarse_v, I_MAX=coarse_v, I_MIN=coarse_v)
    assert found.current_ma == pytest.approx(1000 * amps, abs=1)


@pytest.mark.parametrize("volts", [0, 9, 12, 16, 24])
def test_supply_is_its_divider(volts):
    found = read(BUS=volts * 27 / 207, VIN=volts * 27 / 207)
    assert found.bus_mv == pytest.approx(1000 * volts, abs=4)
    assert found.vin_mv == found.bus_mv


@pytest.mark.parametrize("feed_v", [4.6, 5.0, 5.1])
def test_sensor_is_ratiometric(feed_v):
    """Common practice: a potentiometer's output counts as a share of its own feed."""
    share = 180 / 280
    found = read(SENSOR_A=0.3 * feed_v * share, SENSOR_B=0.9 * feed_v * share, FEED=feed_v * share)
    assert (found.sensor_a_mv, found.sensor_b_mv) == (pytest.approx(1500, abs=3), pytest.approx(4500, abs=3))
    assert found.feed_ok
