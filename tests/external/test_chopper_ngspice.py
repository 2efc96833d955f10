"""The chopped-current formulas against ngspice (skipped without it)."""

import pytest

from hardware.spice import runner
from tests.reference import chopper

pytestmark = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
R, L = 2.5, 1e-3
DECK = """* R-L-EMF behind an ideal chopper
* measures: low_a high_a mean_a
V1 a 0 PULSE({low} {high} 0 1n 1n {on} {period})
{diode}
R1 b c 2.5
L1 c e 1m ic={start}
V2 e 0 {emf}
.model ideal d(is=1e-12 n=0.001)
.control
tran {step} {stop} {begin} {step} uic
meas tran low_a MIN i(L1)
meas tran high_a MAX i(L1)
meas tran mean_a AVG i(L1)
quit
.endc
.end
"""


def simulate(high, low, emf, duty, hertz, start, diode="Vx a b 0"):
    period = 1 / hertz
    values = {
        "high": high,
        "low": low,
        "emf": emf,
        "on": duty * period - 1e-9,
        "period": period,
        "start": start,
    }
    values |= {"step": period / 2000, "begin": 20 * period, "stop": 24 * period, "diode": diode}
    text = DECK
    for name, value in values.items():
        text = text.replace("{" + name + "}", str(value))
    return runner.run_text(text)


@pytest.mark.parametrize(
    ("low", "emf", "duty", "hertz"), [(0, 4, 0.6, 2000), (-12, 0, 0.75, 20_000), (0, 1, 0.3, 5000)]
)
def test_continuous_current(low, emf, duty, hertz):
    wanted = chopper.steady_state(12, low, emf, R, L, duty, hertz)
    found = simulate(12, low, emf, duty, hertz, wanted.minimum_a)
    assert found["low_a"] == pytest.approx(wanted.minimum_a, rel=1e-3)
    assert found["high_a"] == pytest.approx(wanted.maximum_a, rel=1e-3)
    assert found["mean_a"] == pytest.approx(wanted.mean_a, rel=1e-3)


def test_discontinuous_current():
    """The diode in series keeps the EMF from driving backward; it drops less than a millivolt."""
    wanted = chopper.discontinuous(12, 4, R, L, 0.3, 500)
    found = simulate(12, 0, 4, 0.3, 500, 0, diode="Dx a b ideal")
    assert found["high_a"] == pytest.approx(wanted.peak_a, rel=1e-3)
    assert found["mean_a"] == pytest.approx(wanted.mean_a, rel=2e-3)
    assert abs(found["low_a"]) < 1e-3
