"""The runner must fail where ngspice itself would report success, and the decks must be the design's."""

import re

import pytest

from hardware.calc import bulk, design, gate, trip
from hardware.spice import runner

needs_ngspice = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
DIVIDER = """* a divider
* measures: half_v
.param top=1k
V1 a 0 10
R1 a b {top}
R2 b 0 1k
.control
op
let half_v = v(b)
print half_v
quit
.endc
.end
"""
SCALE = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "k": 1e3, "meg": 1e6, "": 1.0}


def number(text):
    value, suffix = re.fullmatch(r"([-\d.e]+)(meg|[numk]?)", text).groups()
    return float(value) * SCALE[suffix]


@needs_ngspice
def test_measures_and_changed_parameters():
    assert runner.run_text(DIVIDER)["half_v"] == pytest.approx(5)
    changed = runner.with_parameters(DIVIDER, {"TOP": 3e3})
    assert runner.run_text(changed)["half_v"] == pytest.approx(2.5)


@needs_ngspice
@pytest.mark.parametrize(
    "broken",
    [
        DIVIDER.replace("print half_v", ""),
        DIVIDER.replace("v(b)", "v(nowhere)"),
        DIVIDER.replace("half_v\n.param", "half_v other\n.param"),
        DIVIDER.replace("let half_v = v(b)", "let half_v = v(b)/0"),
    ],
    ids=["not printed", "no such node", "one of two", "not finite"],
)
def test_a_missing_measurement_is_a_failure(broken):
    with pytest.raises(runner.SpiceError, match="not measured"):
        runner.run_text(broken)


@needs_ngspice
def test_a_deck_that_does_not_parse_is_a_failure():
    with pytest.raises(runner.SpiceError):
        runner.run_text(DIVIDER.replace("R1 a b {top}", "R1 a b {no_such_parameter}"))


def test_unknown_parameter_and_empty_promise():
    with pytest.raises(runner.SpiceError, match="no parameter bottom"):
        runner.with_parameters(DIVIDER, {"bottom": 1})
    with pytest.raises(runner.SpiceError, match="promises no measurement"):
        runner._measures("x = 1", [])


def test_without_ngspice_the_runner_says_so(mocker):
    mocker.patch.object(runner.shutil, "which", return_value=None)
    with pytest.raises(runner.SpiceError, match="not installed"):
        runner.run_text(DIVIDER)


@needs_ngspice
def test_a_deck_that_hangs_is_stopped():
    endless = DIVIDER.replace("op\n", "tran 1p 10\n")
    with pytest.raises(runner.SpiceError, match="longer than"):
        runner.run_text(endless, timeout_s=0.5)


BRAKE_ON_V, BRAKE_OFF_V = bulk.brake_thresholds_v()
SAME = [
    ("bridge", "freq", design.PWM_HZ),
    ("bridge", "dead", design.DEAD_TIME_S),
    ("bridge", "rg", design.GATE_OHM),
    ("bridge", "rdrv", gate.DRIVER_OHM),
    ("bridge", "vdrv", design.GATE_DRIVE_V),
    ("bridge", "shunt", design.SHUNT_OHM),
    ("bridge", "cbulk", design.BULK_F),
    ("bridge", "esr", design.BULK_ESR_OHM),
    ("bridge", "csn", design.SNUBBER_F),
    ("bridge", "rsn", design.SNUBBER_OHM),
    ("trip", "trip_at", design.HARD_TRIP_A),
    ("trip", "rg", design.GATE_OHM),
    ("trip", "lead_h", trip.LEAD_SHORT_H),
    ("trip", "compdelay", trip.COMPARATOR_S),
    ("trip", "drvdelay", trip.DRIVER_S),
    ("regen", "brake_on", BRAKE_ON_V),
    ("regen", "brake_hyst", BRAKE_ON_V - BRAKE_OFF_V),
    ("regen", "brake_r", design.BRAKE_OHM),
    ("regen", "cbulk", design.BULK_F),
    ("reverse", "precharge", design.PRECHARGE_OHM),
    ("mainswitch", "amps", design.CURRENT_A),
    ("sensor", "rtop", design.SENSOR_TOP_OHM),
    ("sensor", "rbot", design.SENSOR_BOTTOM_OHM),
    ("sensor", "cf", design.SENSOR_FILTER_F),
    ("amplifier", "shunt", design.SHUNT_OHM),
    ("ranges", "shunt", design.SHUNT_OHM),
]


@pytest.mark.parametrize(("deck", "name", "value"), SAME)
def test_decks_use_the_designs_values(deck, name, value):
    assert number(runner.parameters(deck)[name]) == pytest.approx(value, rel=5e-3)
