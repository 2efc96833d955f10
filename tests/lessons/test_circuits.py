"""Lessons 1 to 3 against formulas, ngspice and the hardware calculations."""

from __future__ import annotations

import math

import pytest
from strokebench import lessons
from strokebench.lessons import lesson1_duty, lesson2_freewheel, lesson3_deadtime, mosfet

from hardware.calc import design, gate
from hardware.spice import runner
from tests.reference import chopper

PERCENT = pytest.approx


def test_lesson_1_currents_follow_ohm_and_the_ripple_its_formula() -> None:
    got, c = lessons.numbers(1), lesson1_duty.CONDITIONS
    for duty in lesson1_duty.DUTIES:
        # Ohm's law for the whole loop; the battery carries the duty's share of the current only
        loop_ohm = lesson1_duty.COIL_OHM + c.lead_ohm + 0.0058 + duty**2 * c.source_ohm
        assert got[f"current_{round(duty * 100)}_a"] == PERCENT(
            duty * c.supply_v / loop_ohm, rel=0.015, abs=0.01
        )
        assert got[f"volts_{round(duty * 100)}_v"] == PERCENT(duty * c.supply_v, rel=0.015, abs=0.05)
    assert got["slope_ohm"] == PERCENT(lesson1_duty.COIL_OHM + c.lead_ohm, rel=0.015)
    # Mohan, Undeland, Robbins: exact exponentials
    exact = chopper.steady_state(12.0, 0.0, 0.0, 4.06, lesson1_duty.COIL_H, 0.5, 20_000.0)
    assert got["ripple_ma"] == PERCENT(exact.peak_to_peak_a * 1e3, rel=0.06)
    assert got["inductance_mh"] == PERCENT(2.0, rel=0.06)


def test_lesson_2_times_follow_the_logarithm() -> None:
    got = lessons.numbers(2)
    start_a = 12.0 / 4.0 * (1 - math.exp(-4.0))
    assert got["start_a"] == PERCENT(start_a, rel=1e-6)
    for key, against_v in (("diode_ms", 0.8), ("bare_ms", 64.0 - 12.0)):
        assert got[key] == PERCENT(chopper.decay_time_s(start_a, 4.0, 0.1, against_v) * 1e3, rel=1e-4)
    # energy balance: what the switch took = stored + from the supply - in the copper, integrals by hand
    tau_s, low_a = 0.025, -(64.0 - 12.0) / 4.0
    end_s = got["bare_ms"] * 1e-3
    charge = low_a * end_s + (start_a - low_a) * tau_s * (1 - math.exp(-end_s / tau_s))
    assert got["bare_mj"] == PERCENT(64.0 * charge * 1e3, rel=1e-4)
    assert got["stored_mj"] == PERCENT(0.5 * 0.1 * start_a**2 * 1e3)
    assert (got["diode_switch_v"], got["bare_switch_v"]) == (12.0 + 0.8, 64.0)
    assert got["bare_peak_w"] == PERCENT(64.0 * start_a)
    assert got["mean_w"] == PERCENT(10 * got["bare_mj"] * 1e-3)
    assert got["free_air_c"] == PERCENT(25.0 + 62.0 * got["mean_w"])
    assert got["from_100_c"] == PERCENT(100.0 + got["die_rise_k"])
    assert got["bare_mj"] > got["stored_mj"] and got["free_air_c"] > mosfet.JUNCTION_MAX_C


DECK = """* A coil on a switch, with a 64 V clamp across the switch
* measures: end_s energy_j
V1 p 0 12
L1 p m 0.1 ic={start}
R1 m d 4
Bz d 0 i = (v(d) > 64) ? (v(d)-64)*1e3 : 0
Rleak d 0 1meg
.param start=2.945053
.control
tran 1u 8m 0 1u uic
let power = v(d)*i(L1)
meas tran end_s WHEN i(L1)=1m FALL=1
meas tran energy_j INTEG power from=0 to=7m
quit
.endc
.end
"""


@pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
def test_lesson_2_without_the_diode_against_ngspice() -> None:
    got, spice = lessons.numbers(2), runner.run_text(DECK)
    assert got["bare_ms"] == PERCENT(spice["end_s"] * 1e3, rel=0.01)
    assert got["bare_mj"] == PERCENT(spice["energy_j"] * 1e3, rel=0.01)


LOOP = """* Both MOSFETs on: 12 V into 20 nH and 5.2 milliohm
* measures: none_a slow_a
V1 a 0 12
L1 a b 20n ic=0
R1 b 0 5.2m
.control
tran 0.2n 900n 0 0.2n uic
meas tran none_a FIND i(L1) AT={none}
meas tran slow_a FIND i(L1) AT={slow}
quit
.endc
.end
"""


@pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
def test_lesson_3_shoot_through_against_ngspice() -> None:
    got = lessons.numbers(3)
    spice = runner.run_text(
        LOOP.replace("{none}", f"{got['none_ns']:.3f}n").replace("{slow}", f"{got['slow_ns']:.3f}n")
    )
    assert got["none_a"] == PERCENT(spice["none_a"], rel=0.005)
    assert got["slow_a"] == PERCENT(spice["slow_a"], rel=0.005)


def test_lesson_3_gate_and_diode_as_in_the_hardware_calculations() -> None:
    got, fet = lessons.numbers(3), design.BRIDGE_FET
    ours = (mosfet.ON_OHM, mosfet.GATE_C, mosfet.MILLER_C, mosfet.PLATEAU_V, mosfet.DIODE_V, mosfet.RATING_V)
    assert ours == (fet.on_ohm, fet.gate_c, fet.miller_c, fet.plateau_v, fet.diode_v, fet.rating_v)
    assert PERCENT(fet.junction_case_k_per_w + design.PAD_K_PER_W) == mosfet.JUNCTION_SINK_K_PER_W
    assert mosfet.GATE_OHM == design.GATE_OHM + gate.DRIVER_OHM
    assert got["off_ns"] == PERCENT(gate.turn_off_s(fet, design.GATE_OHM) * 1e9)
    assert got["on_ns"] == PERCENT(gate.turn_on_s(fet, design.GATE_OHM) * 1e9)
    assert lesson3_deadtime.SET_S == design.DEAD_TIME_S
    # application-note term 2 Vf I td f, for the part of the gap in which neither conducts
    gap_s = design.DEAD_TIME_S - got["none_ns"] * 1e-9
    assert got["set_w"] == PERCENT(2 * fet.diode_v * 40.0 * gap_s * 20e3)
    # small-time limit V^2 t^2/(2 L) of the energy is an upper bound, 3 % away here
    bound_uj = 12.0**2 * (got["none_ns"] * 1e-9) ** 2 / (2 * 20e-9) * 1e6
    assert 0.96 * bound_uj < got["none_uj"] < bound_uj
    # a step of 12 V on R and L takes V^2/R (t - tau (1 - exp(-t/tau))) by then
    tau_s = 20e-9 / 5.2e-3
    for name, heat in (("none", got["none_uj"] * 1e-6 * 40e3), ("slow", got["slow_w"])):
        time_s = got[f"{name}_ns"] * 1e-9
        joule = 12.0**2 / 5.2e-3 * (time_s - tau_s * (1 - math.exp(-time_s / tau_s)))
        assert heat == PERCENT(joule * 40e3, rel=0.01), name
    assert got["none_w"] == PERCENT(got["none_uj"] * 1e-6 * 40e3)
    assert got["lost_pct"] == PERCENT(2 * design.DEAD_TIME_S * 20e3 * 100)
    assert got["slow_none_c"] > mosfet.JUNCTION_MAX_C > got["set_c"]


def test_least_loss_lies_where_one_is_off_as_the_other_begins() -> None:
    got = lessons.numbers(3)
    assert got["best_ns"] == PERCENT(got["none_ns"], abs=10)
    assert (
        lesson2_freewheel.after_opening(1.0, 64.0).ends_s < lesson2_freewheel.after_opening(1.0, 12.8).ends_s
    )
