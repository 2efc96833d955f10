"""The second family's coil and motor against ngspice, driven by the same volts; its waveforms read by ours.

The decks are the equations of the models' sources (rings of eddy currents, brushes, LuGre, commutated coils)
as behavioural sources, written apart from the plants; ngspice integrates them by its own method and steps.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.data.run import RunData
from strokebench.diagnose import diagnose
from strokebench.diagnose.turning.commutation import Motor, turn_rate
from strokebench.parts import load_part
from strokebench.sim.plants.base import Conditions
from strokebench.sim.second.magnet import GIVES, LOSES, Coil, Magnet
from strokebench.sim.second.rotor import Spun, Turner
from strokebench.sim.second.solenoid_onoff import specimen
from strokebench.sim.second.supply import Charger

from hardware.spice import runner
from tests.helpers.spice_run import transient

pytestmark = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
STIFF = Conditions(12.0, 0.0, 0.05, 25.0)


def pwl(volts: np.ndarray) -> str:
    """Volts constant over each millisecond, as points of a PWL source."""
    points = [f"{n * 1e-3 + edge} {v:.6g}" for n, v in enumerate(volts) for edge in (1e-7, 1e-3 - 1e-9)]
    return " ".join(["0 0", *points])


def coil_deck(coil: Coil, ohm: float, volts: np.ndarray) -> str:
    """V(x) in mm, V(v) in mm/s, V(z) in um, V(f..) flux in mWb, V(q) in mA s."""
    y = f"({coil.stroke_m}-min(max(V(x)*1e-3,0),{coil.stroke_m}))"
    reach = f"({coil.gap_m}+{y}/(1+{coil.fringe_per_m}*{y}))"
    rest_h = coil.rest_h - coil.air_h
    widens = f"({coil.gap_m}*(1+{coil.fringe_per_m}*{y})+{y})"
    henry, slope = f"({coil.strength_hm}/{reach})", f"({coil.strength_hm}/({widens}*{widens}))"
    lines = [
        "* coil with rings of eddy currents", f"V1 a 0 PWL({pwl(volts)})", f"R1 a b {ohm}",
        f"L1 b r0 {coil.air_h}",
    ]  # fmt: skip
    real = [(w, t) for w, t in zip(coil.iron.weights, coil.iron.times_s, strict=True) if w > 1e-5]
    pulls = []
    for n, (weight, time_s) in enumerate(real):
        own = f"(V(f{n})*1e-3/{weight})"
        need = f"({own}/{henry}+{coil.bend}*{own}*{own}*{own})"
        ohms = f"({weight * rest_h / time_s}*({henry}/{rest_h})^{1 - coil.iron.grows})"
        to = f"r{n + 1}"
        lines += [f"Br{n} r{n} {to} V={ohms}*(I(Vs)-{need})", f"Bf{n} 0 f{n} I=1e3*{ohms}*(I(Vs)-{need})"]
        lines += [f"Cf{n} f{n} 0 1 ic=0"]
        pulls.append(f"{weight}*({own}/{henry})*({own}/{henry})")
    stiff = coil.coulomb_n / coil.presliding_m
    damps = 0.6 * math.sqrt(stiff * coil.mass_kg)
    speed = "(V(v)*1e-3)"
    dry = f"({coil.coulomb_n}+{coil.side}*V(p))"
    level = f"({dry}*(1+{coil.stiction - 1}*exp(-{speed}*{speed}/{coil.stribeck_m_s**2})))"
    rate = f"({speed}-{stiff}*abs({speed})/{level}*V(z)*1e-6)"
    deep, far = "max(-V(x)*1e-3,0)", f"max(V(x)*1e-3-{coil.stroke_m},0)"
    lines += [
        f"Vs r{len(real)} 0 0",
        f"Bp p 0 V=0.5*{slope}*({'+'.join(pulls)})",
        f"Bz 0 z I=1e6*{rate}", "Cz z 0 1 ic=0",
        f"Bg g 0 V=V(p)-{coil.preload_n}-{coil.rate_n_per_m}*V(x)*1e-3-{stiff}*V(z)*1e-6-{damps}*{rate}"
        f"-{coil.viscous_ns}*{speed}+{GIVES}*{deep}*max(1-{LOSES}*{speed},0)-{GIVES}*{far}*max(1+{LOSES}*{speed},0)",
        f"Bv 0 v I=1e3*V(g)/{coil.mass_kg}", "Cv v 0 1 ic=0", "Bx 0 x I=V(v)",
        f"Cx x 0 1 ic={-coil.preload_n / GIVES * 1e3}", "Bq 0 q I=1e3*I(Vs)", "Cq q 0 1 ic=0",
    ]  # fmt: skip
    return "\n".join(lines)


@pytest.mark.parametrize("seed", [3, 4])
def test_coil_and_plunger_pull_in_as_ngspice_says(seed: int) -> None:
    coil = specimen(np.random.default_rng((seed, 11)))
    plant = Magnet(STIFF, coil, Charger())
    plant.source_v, plant.bus_v, plant._pumped = 12.0, 12.0, False
    volts = np.r_[np.zeros(2), np.full(28, 12.0)]
    amps, places = [], []
    for v in volts:
        plant.advance(v / 12.0, True, 2)
        amps.append(plant.current_a)
        places.append(plant.position)
    edges = np.arange(len(volts) + 1) * 1e-3
    found = transient(coil_deck(coil, plant._loop_ohm, volts), {"q": "v(q)", "x": "v(x)"}, 1e-5, edges, "uic")
    theirs = np.diff(found["q"])
    assert np.array(amps) == pytest.approx(theirs, abs=0.012 * theirs.max())
    assert np.array(places) == pytest.approx(found["x"][1:] * 1e-3 / coil.stroke_m, abs=0.02)
    seated = [
        int(np.argmax(place > 0.98)) for place in (np.array(places), found["x"][1:] * 1e-3 / coil.stroke_m)
    ]
    assert seated[0] == seated[1] > 5


def test_inductance_and_leak_of_an_ngspice_coil_with_an_eddy_ring_driven_by_the_bench() -> None:
    """The bench's run supplies volts and marks, ngspice the current.

    The coil is the measured one of test_coil_data, plunger at rest: 64.5 mH, a ring of 0.27 ms, 4 mH of air.
    """
    profile = load_part("solenoid")
    with open_bench(sim=SimSpec("solenoid", 5, ("stuck_open",))) as bench:
        bench.set_limits(profile.limits)
        bench.arm()
        stroked, chunks = bench.run(profile.procedure), []
        for chunk in stroked:
            chunks.append(chunk)
            if chunk["time_s"][-1] > chunks[0]["time_s"][0] + 2.6:  # steps and levels are over
                break
        run = stroked.data(np.concatenate(chunks))
    rows = run.samples
    volts = np.asarray(rows["output_a_v"] - rows["output_b_v"], float)
    volts[np.abs(volts) < 0.05] = 0.0
    deck = f"""* one ring
V1 a 0 PWL({pwl(volts)})
R1 a b 20
L1 b c 4.12m
L2 c d 60.4m
R2 c d {60.4e-3 / 0.27e-3}
Vs d 0 0
Bq 0 q I=1e3*I(Vs)
Cq q 0 1 ic=0"""
    edges = np.arange(len(rows) + 1) * 1e-3
    charge = transient(deck, {"q": "v(q)"}, 1e-4, edges, "uic")["q"]
    rows = rows.copy()
    rows["current_a"] = np.diff(charge) + np.random.default_rng(3).normal(0, 6e-4, len(rows))
    marks = [mark for mark in run.marks if mark.end_s <= rows["time_s"][-1]]
    found = {f.key: f for f in diagnose(RunData(rows, marks, info=run.info), profile)}
    ohm = found["winding_resistance"]
    assert ohm.value + 0.05 == pytest.approx(20.0, abs=max(2 * ohm.u, 0.02 * 20))
    henry, leak = found["inductance"], found["leak"]
    assert henry.value == pytest.approx(64.5, abs=2 * henry.u)
    assert henry.u < 0.06 * 64.5
    assert leak.value == pytest.approx(0.0, abs=2 * leak.u)


MOTOR = Turner(
    0.45, 0.25e-3, 0.0138, 1.2e-5, 0.05, 0.8e-5, 0.02, 630.0, 8, 1, power=2.0, drop_v=0.6, knee_a=0.5,
    ring_share=0.25, ring_s=60e-6, stiction=1.2, presliding_rad=0.01, once_a_turn=0.0, pulse=0.0, bounce=1e-9,
    shorting=0.0, unlike=0.0, flat=2.0,
)  # fmt: skip


def motor_deck(motor: Turner, ohm: float, volts: np.ndarray, angle: float) -> str:
    """V(w) in rad/s, V(th) in rad, V(z) in mrad."""
    coils = [
        f"abs(tanh({motor.flat}*sin({motor.pole_pairs}*(V(th)+{2 * math.pi * n / motor.segments}))))"
        for n in range(motor.segments)
    ]
    turn = np.linspace(0, 2 * np.pi, 20_001)[:-1]
    phases = turn[:, None] + np.arange(motor.segments) * 2 * np.pi / motor.segments
    mean = float(np.abs(np.tanh(motor.flat * np.sin(motor.pole_pairs * phases))).sum(axis=1).mean())
    stiff = motor.dry_nm / motor.presliding_rad
    damps = 0.7 * math.sqrt(stiff * motor.inertia_kgm2)
    level = f"({motor.dry_nm}*(1+{motor.stiction - 1}*exp(-V(w)*V(w))))"
    rate = f"(V(w)-{stiff}*abs(V(w))/{level}*V(z)*1e-3)"
    ring_h = motor.ring_share * motor.inductance_h
    flow = f"{motor.flow_nm / motor.rated_rad_s**2}*V(w)*abs(V(w))"
    return f"""* brushed motor
V1 a 0 PWL({pwl(volts)})
R1 a b {ohm}
L1 b c {motor.inductance_h - ring_h}
L2 c d {ring_h}
R2 c d {ring_h / motor.ring_s}
Bsh sh 0 V=({"+".join(coils)})/{mean}
Bb d e V={motor.drop_v}*tanh(I(Vs)/{motor.knee_a})
Be e s V={motor.k_si}*V(sh)*V(w)
Vs s 0 0
Bz 0 z I=1e3*{rate}
Cz z 0 1 ic=0
Bd dmp 0 V=abs(V(w))<20 ? {damps}*{rate} : 0
Bw 0 w I={motor.k_si}*V(sh)*I(Vs)-{stiff}*V(z)*1e-3-V(dmp)-{flow}-{motor.viscous_nms}*V(w)
Cw w 0 {motor.inertia_kgm2} ic=0
Bt 0 th I=V(w)
Ct th 0 1 ic={angle}"""


def spun(ticks: int) -> tuple[Spun, np.ndarray, np.ndarray]:
    """The plant at 12 V: itself at the start, current and speed after each millisecond."""
    plant = Spun(STIFF, MOTOR, Charger(), np.random.default_rng(8))
    plant.source_v, plant.bus_v, plant._pumped, plant.fine = 12.0, 12.0, False, True
    amps, speeds = [], []
    for _ in range(ticks):
        plant.advance(1.0, True, 2)
        amps.append(plant.current_a)
        speeds.append(plant.speed_rad_s)
    return plant, np.array(amps), np.array(speeds)


def test_motor_with_commutator_runs_up_as_ngspice_says_and_its_ripple_gives_the_speed() -> None:
    start = Spun(STIFF, MOTOR, Charger(), np.random.default_rng(8))
    ticks = 200
    _, amps, speeds = spun(ticks)
    fine_s = np.arange(0.11, 0.2, 1 / 50_000)
    at_s = np.unique(np.r_[np.arange(1, ticks + 1) * 1e-3, fine_s])
    deck = motor_deck(MOTOR, start._loop_ohm, np.full(ticks + 1, 12.0), start.angle_rad)
    found = transient(deck, {"amps": "i(Vs)", "w": "v(w)", "th": "v(th)"}, 2e-5, at_s, "uic")
    edges = np.searchsorted(at_s, np.arange(1, ticks + 1) * 1e-3 - 1e-9)
    assert speeds == pytest.approx(found["w"][edges], abs=0.01 * speeds.max())
    theirs = float(np.mean(np.interp(fine_s, at_s, found["amps"])))
    assert amps[111:].mean() == pytest.approx(theirs, rel=0.01)
    true_hz = (np.interp(fine_s[-1], at_s, found["th"]) - np.interp(fine_s[0], at_s, found["th"])) / (
        2 * np.pi * (fine_s[-1] - fine_s[0])
    )
    values = np.interp(fine_s, at_s, found["amps"]) + np.random.default_rng(1).normal(0, 0.02, len(fine_s))
    rate = turn_rate(values, 50_000.0, Motor(8, 2), 1.15 * true_hz)
    assert rate is not None and rate.hz == pytest.approx(true_hz, rel=0.003)


def test_a_stuck_rotor_takes_what_brush_law_and_resistance_leave() -> None:
    """Static: V = R i + drop tanh(i / knee), solved by bisection."""
    plant = Spun(STIFF, replace(MOTOR, dry_nm=10.0), Charger(), np.random.default_rng(8))
    plant.source_v, plant.bus_v, plant._pumped = 12.0, 12.0, False
    for drive in (0.03, 0.06, 0.2):
        for _ in range(60):
            plant.advance(drive, True, 2)
        low, high = 0.0, 30.0
        for _ in range(60):
            middle = (low + high) / 2
            drops = plant._loop_ohm * middle + MOTOR.drop_v * math.tanh(middle / MOTOR.knee_a)
            low, high = (middle, high) if drops < drive * 12 else (low, middle)
        assert plant.current_a == pytest.approx(low, rel=2e-3)
