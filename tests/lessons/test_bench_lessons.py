"""Lessons 4 to 7, which run on the simulated bench, against equations solved by SciPy and closed formulas."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from strokebench import lessons
from strokebench.lessons import lesson4_softstart as four
from strokebench.lessons import lesson5_limits as five
from strokebench.lessons import lesson6_heat as six
from strokebench.lessons import lesson7_supply as seven
from strokefw import faults
from strokefw.guard import heat
from strokefw.guard import limits as guard_limits

from tests.reference.thermal import foster_k_per_w

CLOSE = pytest.approx


def solved_start(ramp_s: float) -> np.ndarray:
    """Current of the pump's start in A each 0.1 ms, from its equations alone (V = R i + L di/dt + K w)."""
    t, c = four.NOMINAL, four.CONDITIONS

    def rates(time_s: float, state: np.ndarray) -> list[float]:
        amps, speed = state
        duty = min(1.0, time_s / ramp_s)
        ohm = t.resistance_ohm + c.lead_ohm + 0.0058 + duty**2 * c.source_ohm
        volts = duty * c.supply_v - t.brush_v - ohm * amps - t.k_si * speed
        if amps <= 0.0 and volts < 0.0:
            return [0.0, 0.0]
        torque = t.k_si * amps - t.flow_nms2 * speed**2 - t.viscous_nms * speed
        dry = t.dry_nm if speed > 1e-6 else min(t.dry_nm * t.stiction, max(torque, 0.0))
        return [volts / t.inductance_h, (torque - dry) / t.inertia_kgm2]

    at = np.arange(0.0, four.LAST_S, 1e-4)
    return solve_ivp(rates, (0, four.LAST_S), [0.0, 0.0], t_eval=at, max_step=2e-4, method="LSODA").y[0]


def test_lesson_4_peaks_and_heat_follow_the_motors_equations() -> None:
    got = lessons.numbers(4)
    for ramp_s in (0.01, 0.1, 1.0):
        amps, ms = solved_start(ramp_s), round(ramp_s * 1000)
        per_tick = amps.reshape(-1, 10).mean(axis=1)
        assert got[f"peak_{ms}_a"] == CLOSE(per_tick.max(), rel=0.03)
        assert got[f"i2t_{ms}_a2s"] == CLOSE((amps**2).sum() * 1e-4, rel=0.04)
    assert got["running_a"] == CLOSE(amps[-1000:].mean(), rel=0.03)
    assert got["blocked_a"] == CLOSE(12.0 / 0.5558, rel=1e-3)  # Ohm
    assert (
        got["peak_10_a"] < got["blocked_a"] and got["peak_300_a"] < 1.5 * got["running_a"] < got["peak_100_a"]
    )
    # the battery's resistance carries the current at full drive
    assert got["sag_10_v"] == CLOSE(12.6 - 0.05 * got["peak_10_a"], abs=0.12)


def test_lesson_5_each_limit_does_what_it_is_for() -> None:
    got = lessons.numbers(5)
    stall_a = 12.6 / (five.MOTOR_OHM + 0.05 + 0.0058 + 0.02)
    assert got["none_held_a"] == CLOSE(stall_a, rel=0.015) and got["none_fault"] == 0
    assert got["peak_fault"] == faults.TRIPS and got["peak_top_a"] < five.PEAK_A
    assert got["mean_held_a"] == CLOSE(five.MEAN_A, rel=0.01) and got["mean_fault"] == 0
    assert five.MEAN_A < got["mean_top_a"] < five.MEAN_A * 1.25
    # linear ramp: the current passes the stall level at its share of the ramp; the guard looks every 8 ms, so
    # 4 ms later in the mean; stop at the slew limit, 10 ms
    begins_s = five.START_S * five.STALL_A / stall_a
    assert got["stall_off_s"] == CLOSE(begins_s + five.STALL_S + 0.004 + 0.01, abs=0.006)
    assert got["stall_fault"] == faults.STALL
    # integral of i^2 - rest^2: along the ramp from rest on, then at full current
    rest, k = five.REST_A, stall_a / five.START_S
    on_ramp = (stall_a**3 - rest**3) / (3 * k) - rest**2 * (stall_a - rest) / k
    full_s = (five.BUDGET_A2S - on_ramp) / (stall_a**2 - rest**2)
    assert got["budget_off_s"] == CLOSE(five.START_S + full_s + 0.01, rel=0.04)
    assert got["budget_fault"] == faults.BUDGET_PART
    # a ramp of the current counts a third of its time, up within START_S, down within 10 ms
    for name in ("none", "stall", "budget"):
        counted_s = got[f"{name}_off_s"] - (five.START_S + 0.01) * 2 / 3
        assert got[f"{name}_i2t_a2s"] == CLOSE(got[f"{name}_held_a"] ** 2 * counted_s, rel=0.015), name


def solved_sink(air_c: float, ohmic_a: float, end_c: float) -> tuple[float, float]:
    """Seconds until the sink is at ``end_c`` (or 40) and the current then: C dT/dt = P(I(T)) - (T - Ta)/R."""
    derate_c, cut_c = guard_limits.HEATSINK_DERATE_DC / 10, guard_limits.HEATSINK_MAX_DC / 10

    def amps(sink_c: float) -> float:
        share = min(1.0, 1 - 0.9 * (sink_c - derate_c) / (cut_c - derate_c))
        return float(min(ohmic_a, 45.0 * share))

    def rates(_time_s: float, state: np.ndarray) -> list[float]:
        watts = 0.15 + 0.0058 * amps(state[0]) ** 2
        return [(watts - (state[0] - air_c) / six.SINK_K_PER_W) / six.SINK_J_PER_K]

    def hot(_time_s: float, state: np.ndarray) -> float:
        return float(state[0] - end_c)

    hot.terminal = True  # type: ignore[attr-defined]
    got = solve_ivp(rates, (0, six.HOLD_S), [air_c], events=hot, max_step=0.1)
    return float(got.t[-1]), amps(got.y[0][-1])


@pytest.mark.slow
def test_lesson_6_sink_follows_its_exponential_and_derating_balances() -> None:
    got = lessons.numbers(6)
    derate_c, cut_c = guard_limits.HEATSINK_DERATE_DC / 10, guard_limits.HEATSINK_MAX_DC / 10

    def watts(amps: float) -> float:
        return 0.15 + 0.0058 * amps**2

    # Ohm's law for load, leads, bridge and battery
    ohmic_a = 12.6 / (six.LOAD_OHM + 0.05 + 0.0058 + 0.02)
    assert got["start_a"] == CLOSE(ohmic_a, rel=0.01) and got["loose_a"] == CLOSE(ohmic_a, rel=0.01)
    # one thermal resistance and capacity: Ta + P R (1 - exp(-t/RC)); the ramp of 0.1 s is left out
    stage = [(six.SINK_K_PER_W, six.SINK_K_PER_W * six.SINK_J_PER_K)]
    expected = six.COOL_C + watts(got["start_a"]) * foster_k_per_w(stage, six.HOLD_S)
    assert got["loose_sink_c"] == CLOSE(expected, abs=4.0)  # the current is read to 1 %, its square to 2 %
    assert got["loose_read_c"] == CLOSE(six.COOL_C, abs=1.0) and got["loose_junction_c"] > 175.0
    # at balance the losses at the derated current hold the sink where that derating belongs
    balance_c = six.COOL_C + six.SINK_K_PER_W * watts(got["cool_a"])
    assert got["cool_sink_c"] == CLOSE(balance_c, abs=2.0) and derate_c < got["cool_sink_c"] < cut_c
    share = 1 - 0.9 * (got["cool_sink_c"] - derate_c) / (cut_c - derate_c)
    assert got["cool_a"] == CLOSE(45.0 * share, rel=0.05)
    assert got["cool_fault"] == 0
    assert got["cool_a"] == CLOSE(solved_sink(six.COOL_C, ohmic_a, cut_c)[1], rel=0.03)
    # it creeps towards the cut-out, so that 0.1 C in the reading are seconds: until where it really got
    assert got["hot_s"] == CLOSE(solved_sink(six.HOT_C, ohmic_a, got["hot_sink_c"])[0], rel=0.05)
    assert got["hot_fault"] == faults.HEATSINK_HOT and got["hot_sink_c"] == CLOSE(cut_c, abs=1.0)
    rise_k = six.mosfet.JUNCTION_SINK_K_PER_W * 0.0024 * got["loose_a"] ** 2
    assert got["loose_junction_c"] == CLOSE(got["loose_sink_c"] + rise_k, abs=0.2)
    # the junction's path is that of the firmware's own estimate
    assert sum(r for r, _ in heat.REFERENCE_STAGES) / 1000 == CLOSE(six.mosfet.JUNCTION_SINK_K_PER_W)


def pumped_up(speed_rad_s: float) -> tuple[float, float]:
    """Highest volts of the capacitors, and ms until 25 V: C dV/dt = -D i, L di/dt = D V - E - R i."""
    t, duty = seven.NOMINAL, seven.DUTY_AFTER
    ohm = t.resistance_ohm + 0.05 + 0.0058

    def rates(_time_s: float, state: np.ndarray) -> list[float]:
        volts, amps, speed = state
        drop_v = t.brush_v * math.tanh(amps / 0.1)
        torque = t.k_si * amps - t.flow_nms2 * speed**2 - t.viscous_nms * speed - t.dry_nm
        growth = (duty * volts - t.k_si * speed - drop_v - ohm * amps) / t.inductance_h
        return [-duty * amps / 10e-3, growth, torque / t.inertia_kgm2]

    begin = [12.6, (12.6 - t.brush_v - t.k_si * speed_rad_s) / ohm, speed_rad_s]
    got = solve_ivp(rates, (0, 0.15), begin, max_step=5e-5)
    return float(got.y[0].max()), 1e3 * float(got.t[np.argmax(got.y[0] > seven.CAPACITOR_V)])


def test_lesson_7_sag_is_ohms_law_and_the_lift_that_of_a_boost_converter() -> None:
    got = lessons.numbers(7)
    for mohm in (20, 120):
        assert got[f"run_{mohm}_v"] == CLOSE(12.6 - mohm * 1e-3 * got[f"run_{mohm}_a"], abs=0.06)
        assert got[f"fault_{mohm}"] == 0
        assert got[f"low_{mohm}_v"] == CLOSE(12.6 - mohm * 1e-3 * got[f"amps_{mohm}_a"], abs=0.06)
    assert got["fault_300"] == faults.SUPPLY_SAG and got["low_300_v"] < seven.MIN_V
    # the firmware held it below the lesson's limit: a quarter of an ampere may flow for each volt of room
    assert 14.0 < got["guarded_v"] < 17.0 and got["guarded_back_a"] < (17.0 - 12.3) / 4 + 0.5
    # not before the blades are slow enough for the voltage: E / 17 V is their share of the supply
    assert got["guarded_s"] > 3 * seven.DOWN_S
    emf_v = seven.NOMINAL.k_si * got["speed_rad_s"]
    lift_v = emf_v / seven.DUTY_AFTER  # boost converter, Erickson/Maksimovic ch. 2: V = E/D without losses
    assert 0.8 * lift_v < got["bare_v"] < lift_v
    assert got["rotor_j"] == CLOSE(0.5 * 1.5e-3 * got["speed_rad_s"] ** 2)
    assert got["all_v"] == CLOSE(math.sqrt(12.6**2 + 2 * got["rotor_j"] / 10e-3))
    assert got["bare_v"] > seven.CAPACITOR_V > got["guarded_v"]
    peak_v, passed_ms = pumped_up(got["speed_rad_s"])
    assert got["bare_v"] == CLOSE(peak_v, rel=0.03) and got["bare_ms"] == CLOSE(passed_ms, abs=1.5)
