"""How far the simulated parts are from what other people's code makes of the same equations: one table.

``python -m tests.helpers.plant_deviations docs/simulation.md`` works all rows out and writes them between the
page's two marker lines (needs control, scipy and ngspice). A test works the quick ones out again.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import control
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants.base import BRIDGE_OHM
from strokebench.sim.plants.pieces import ripple
from strokebench.sim.plants.pieces.friction import slide

from tests.external import test_plant_friction as rubbing
from tests.external import test_plant_motor as motor
from tests.external import test_plant_solenoid as coil
from tests.external import test_plant_throttle as throttle
from tests.helpers.spice_run import transient
from tests.reference.chopper import steady_state
from tests.reference.friction import lugre_force, lugre_rate, steady_force
from tests.reference.motor import ripples_per_turn

BEGIN = "<!-- begin of the deviations: python -m tests.helpers.plant_deviations docs/simulation.md -->"
END = "<!-- end of the deviations -->"
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Row:
    """One comparison; ``work_out`` returns the largest deviation in % of the largest value, or what ``of``
    says. ``quick``: it needs neither ngspice nor more than about a second."""

    what: str
    against: str
    of: str
    work_out: Callable[[], float]
    quick: bool = True


def largest(ours: Floats, theirs: Floats) -> float:
    """Return the largest difference in % of the largest value of ``theirs``."""
    return float(100 * np.abs(np.asarray(ours) - theirs).max() / np.abs(theirs).max())


def speed_step() -> float:
    plant = motor.powered(motor.CTMS)
    ours = []
    for _ in range(3000):
        plant.advance(1.0, True, 2)
        ours.append(plant.speed_rad_s / 12.0)
    system = control.tf([0.01], np.polymul([0.01, 0.1], [0.5, 1.0]) + np.array([0, 0, 0.01**2]))
    times = np.arange(3001) * 1e-3
    return largest(np.array(ours), control.step_response(system, times).outputs[1:])


def started_pump(ticks: int = 99) -> tuple[Floats, Floats]:
    plant = motor.powered(motor.PUMP)
    amps, speed = [], []
    for _ in range(ticks):
        plant.advance(1.0, True, 2)
        amps.append(plant._amps)
        speed.append(plant.speed_rad_s)
    return np.array(amps), np.array(speed)


def pump_by_scipy() -> tuple[Floats, Floats]:
    p = motor.PUMP

    def rates(_t: float, state: Floats) -> list[float]:
        amps, speed = state
        torque = p.k_si * amps - p.viscous_nms * speed - p.flow_nms2 * speed**2
        dry = min(p.dry_nm, max(torque, 0.0)) if speed <= 0 else p.dry_nm
        own = p.k_si * speed + (p.resistance_ohm + BRIDGE_OHM) * amps
        return [(12.0 - own) / p.inductance_h, (torque - dry) / p.inertia_kgm2]

    times = np.arange(1, 100) * 1e-3
    solved = solve_ivp(rates, (0, 0.1), [0.0, 0.0], "RK45", times, rtol=1e-9, atol=1e-9, max_step=5e-5)
    return solved.y[0], solved.y[1]


def pump_by_ngspice() -> tuple[Floats, Floats]:
    """Electro-mechanical analogue: speed is the voltage on a capacitor of J farads."""
    p = motor.PUMP
    deck = f"""* brushed pump
V1 in 0 PULSE(0 12 0 1n 1n 1 2)
R1 in a {p.resistance_ohm + BRIDGE_OHM}
L1 a b {p.inductance_h} ic=0
B1 b s V={p.k_si}*V(w)
Vs s 0 0
B2 0 w I={p.k_si}*I(Vs)-{p.dry_nm}*tanh(V(w)/0.05)
B3 w 0 I={p.viscous_nms}*V(w)+{p.flow_nms2}*V(w)*abs(V(w))
C1 w 0 {p.inertia_kgm2} ic=0"""
    found = transient(deck, {"amps": "i(Vs)", "speed": "v(w)"}, 2e-5, np.arange(1, 100) * 1e-3, "uic")
    return found["amps"], found["speed"]


def coil_by_scipy() -> float:
    ours, theirs = coil.stepped(coil.powered(), 7), plunger_by_scipy(np.arange(141) * 5e-5)
    return largest(ours, theirs)


def plunger_by_scipy(times: Floats) -> Floats:
    """Current of the reference solenoid after a 12 V step, before it seats."""

    def rates(_t: float, state: Floats) -> list[float]:
        amps, u, speed = state
        gap = 0.5e-3 + 1.5e-3 - u
        henry, slope = 20e-3 + 4e-5 / gap, 4e-5 / gap**2
        force = 0.5 * amps**2 * slope - 0.6 - 300 * u
        if u <= 0 and force < 0:
            force, speed = 0.0, 0.0
        return [(12 - (20 + BRIDGE_OHM) * amps - slope * speed * amps) / henry, speed, force / 0.010]

    last = float(times[-1])
    solved = solve_ivp(rates, (0, last), [0.0] * 3, "RK45", times, rtol=1e-9, atol=1e-12, max_step=2e-5)
    return np.asarray(solved.y[0])


def coil_by_ngspice() -> float:
    """States on capacitors of 1 F: flux, place in mm, speed in mm/s."""
    gap = "(2e-3-min(max(V(x)*1e-3,0),1.5e-3))"
    deck = f"""* plunger coil
V1 a 0 PULSE(0 12 0 1n 1n 1 2)
Rbig a 0 1meg
Bl 0 lam I=V(a)-{20 + BRIDGE_OHM}*V(i)
Cl lam 0 1 ic=0
Bi i 0 V=V(lam)/(20e-3+4e-5/{gap})
Bx 0 x I=max(V(v),0)
Cx x 0 1 ic=0
Bf f 0 V=0.5*V(i)*V(i)*4e-5/({gap}*{gap})-0.6-0.3*V(x)
Bv 0 v I=1e3*(V(x)>1e-9 ? V(f) : max(V(f),0))/0.010
Cv v 0 1 ic=0"""
    times = np.arange(141) * 5e-5
    theirs = transient(deck, {"amps": "v(i)"}, 2e-6, times, "uic")["amps"]
    return largest(coil.stepped(coil.powered(), 7)[1:], theirs[1:])


def stuck_coil() -> float:
    """An inductance that stays: plain R and L in ngspice."""
    plant = coil.powered(SimSpec(**{**coil.IDEAL.__dict__, "faults": ("stuck_open",)}))
    ours = coil.stepped(plant, 20)
    deck = f"* coil\nV1 a 0 PULSE(0 12 0 1n 1n 1 2)\nR1 a b {20 + BRIDGE_OHM}\nL1 b 0 40m ic=0"
    theirs = transient(deck, {"amps": "-i(V1)"}, 1e-5, np.arange(401) * 5e-5, "uic")["amps"]
    return largest(ours[1:], theirs[1:])


def throttle_step() -> tuple[float, float]:
    plant = throttle.powered()
    start = plant.angle_rad = 0.16
    angles, amps = [start], [0.0]
    for _ in range(40):
        plant.advance(0.5, True, 2)
        angles.append(plant.angle_rad)
        amps.append(plant._amps)
    angle, _speed, current = throttle.reference(6.0, 0.041, start)
    free = angle < 1.45
    return largest(np.array(angles)[free] - start, angle[free] - start), largest(
        np.array(amps)[free], current[free]
    )


def stick_slip_peak() -> float:
    return float(100 * (rubbing.stick_slip(8.5)[0].max() / 1.508 - 1))


def stick_slip_period() -> float:
    speed = rubbing.stick_slip(28.0)[1]
    starts = np.flatnonzero((speed[1:] > 0) & (speed[:-1] == 0)) * rubbing.STEP_S
    return float(100 * (np.diff(starts).mean() / 6.36 - 1))


def stick_slip_way() -> float:
    """Place of the pulled mass over 12 s against LuGre with its bristles, in % of one slip."""

    def rates(t: float, state: Floats) -> list[float]:
        place, speed, bristle = state
        force = 2.0 * (0.1 * t - place) - lugre_force(rubbing.LUGRE, bristle, speed)
        return [speed, force, lugre_rate(rubbing.LUGRE, bristle, speed)]

    times = np.arange(0, 12.0, 0.01)
    solved = solve_ivp(rates, (0, 12), [0.0, 0.0, 0.0], "LSODA", times, rtol=1e-7, atol=1e-10)
    ours = np.cumsum(rubbing.stick_slip(12.0)[1]) * rubbing.STEP_S
    return largest(np.interp(times, np.arange(len(ours)) * rubbing.STEP_S, ours), solved.y[0])


def stribeck_curve() -> float:
    """Force at which a sliding body keeps its speed, against the published steady curve."""
    ours, theirs = [], []
    for speed in (1e-4, 5e-4, 1e-3, 2e-3, 1e-2, 0.1):
        wanted = steady_force(rubbing.LUGRE, speed)
        after = slide(
            speed, wanted, rubbing.COULOMB, rubbing.EXTRA, rubbing.STRIBECK, rubbing.VISCOUS, 1.0, 1e-6
        )
        ours.append(wanted - (after - speed) / 1e-6)
        theirs.append(wanted)
    return largest(np.array(ours), np.array(theirs))


def ripple_count(part: str, segments: int, poles: int) -> float:
    """Strongest line of a current at 20 kS/s over 0.8 s against segments and turns."""
    current, turns = motor.ripple_record(part)
    size = np.abs(np.fft.rfft((current - current.mean()) * np.hanning(len(current)), 8 * len(current)))
    peak_hz = (np.argmax(size[640:]) + 640) / 6.4
    return abs(100 * (peak_hz / (ripples_per_turn(segments, poles) * turns / 0.8) - 1))


def chopped() -> float:
    wave = ripple.shape_a(np.arange(0, 50e-6, 5e-9), 12.0, 0.3, 1.5, 1.5e-3, 20e3)
    return abs(100 * (np.ptp(wave) / steady_state(12.0, 0.0, 0.0, 1.5, 1.5e-3, 0.3, 20e3).peak_to_peak_a - 1))


TIGHT = "scipy `solve_ivp`, 1e-9"
ANALOGUE = "ngspice, electro-mechanical deck"
PAPER = "LuGre, Canudas de Wit et al. 1995"
ROWS = (
    Row("motor: speed after a step (CTMS example)", "python-control", "largest", speed_step),
    Row("pump start: current", TIGHT, "largest", lambda: largest(started_pump()[0], pump_by_scipy()[0])),
    Row("pump start: speed", TIGHT, "largest", lambda: largest(started_pump()[1], pump_by_scipy()[1])),
    Row("pump start: current", ANALOGUE, "largest",
        lambda: largest(started_pump()[0], pump_by_ngspice()[0]), quick=False),
    Row("pump start: speed", ANALOGUE, "largest",
        lambda: largest(started_pump()[1], pump_by_ngspice()[1]), quick=False),
    Row("coil, plunger held: current", "ngspice, R and L", "largest", stuck_coil, quick=False),
    Row("coil, plunger moves: current", TIGHT, "largest", coil_by_scipy),
    Row("coil, plunger moves: current", ANALOGUE, "largest", coil_by_ngspice, quick=False),
    Row("throttle step: angle", "scipy `solve_ivp`, 1e-8", "largest", lambda: throttle_step()[0]),
    Row("throttle step: current", "scipy `solve_ivp`, 1e-8", "largest", lambda: throttle_step()[1]),
    Row("sliding friction over speed", PAPER + ", steady curve", "largest", stribeck_curve),
    Row("stick-slip: highest pull of the spring", PAPER + ", 1.508 N", "value", stick_slip_peak),
    Row("stick-slip: period", PAPER + ", 6.36 s", "value", stick_slip_period, quick=False),
    Row("stick-slip: place over 12 s", PAPER + ", by scipy", "largest", stick_slip_way, quick=False),
    Row("ripple count, fuel pump", "lcm(8 segments, 2 poles)", "value",
        lambda: ripple_count("fuel-pump", 8, 2)),
    Row("ripple count, fan", "lcm(10, 4)", "value", lambda: ripple_count("cooling-fan", 10, 4), quick=False),
    Row("ripple count, water pump", "lcm(7, 2)", "value",
        lambda: ripple_count("water-pump", 7, 2), quick=False),
    Row("PWM ripple, peak to peak", "closed form (Mohan et al.)", "value", chopped),
)  # fmt: skip


def line(row: Row) -> str:
    """Return a row of the table."""
    return f"| {row.what} | {row.against} | {row.of} | {shown(row.work_out())} |"


def shown(percent: float) -> str:
    """Return a deviation with two digits; what is below 0.001 % says so."""
    return "below 0.001 %" if abs(percent) < 1e-3 else f"{percent:.2g} %"


def page_with_table(page: str) -> str:
    """Return ``page`` with the table renewed."""
    before, begin, rest = page.partition(BEGIN)
    _, end, after = rest.partition(END)
    assert begin and end, "the page lacks its marker lines"
    head = "| what | against | % of | deviation |\n| --- | --- | --- | --- |\n"
    return f"{before}{BEGIN}\n\n{head}" + "\n".join(map(line, ROWS)) + f"\n\n{END}{after}"


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(page_with_table(path.read_text(encoding="utf-8")), encoding="utf-8")
