"""Estimators on ngspice transients: an armature ring under its brushes, a wired load, a plunger's coil.

The decks are written from the textbook equations, apart from the simulated parts: armature ring with coils,
segments and brushes as in Fitzgerald, Kingsley, Umans, "Electric Machinery", chapter 7 (from memory);
plunger of tests/helpers/solved_solenoid.py; wire of the table in ohm/1000 ft (16 AWG: 4.016) of the
reference sheet.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from strokebench.data.findings import Finding
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty
from strokebench.diagnose import diagnose
from strokebench.diagnose.turning.commutation import Motor, order_amplitude, turn_rate
from strokebench.parts import load_part
from strokebench.verdict import judge

from hardware.spice import runner
from tests.helpers import solved_solenoid as plunger
from tests.helpers.spice_run import transient

pytestmark = pytest.mark.skipif(not runner.available(), reason="ngspice is not installed")
RATE_HZ = 20_000.0
TURN_HZ = 73.0


def ring(segments: int, bad_ohm: float) -> str:
    """An armature: ``segments`` coils in a ring, each with its EMF, and two brushes that pass over the
    segments; the first segment's contact has ``bad_ohm`` more."""
    half = 0.85 * math.pi / segments  # half a brush: always on one segment, now and then on two
    w = 2 * math.pi * TURN_HZ
    lines = ["* armature ring", "V1 p0 0 12", "R1 p0 p 0.05"]
    for k in range(segments):
        at = 2 * math.pi * k / segments
        nxt = (k + 1) % segments
        lines += [
            f"R{k}c n{k} a{k} {1.6 / segments}",
            f"L{k}c a{k} b{k} {0.4e-3 / segments}",
            f"B{k}e b{k} n{nxt} V={28 / segments}*sin({w}*time+{at + math.pi / segments})",
        ]
        contact = 0.02 + (bad_ohm if k == 0 else 0.0)
        for brush, node, side in (("p", "p", 0.0), ("m", "0", math.pi)):
            on = f"0.5*(1+tanh((cos({w}*time+{at - side})-{math.cos(half)})*400))"
            above = f"-V(n{k})" if node == "0" else f"V({node})-V(n{k})"
            lines.append(f"B{k}{brush} {node} n{k} I=({above})*({on}/{contact}+1e-5)")
    return "\n".join(lines)


@cache
def armature(segments: int, bad_ohm: float = 0.0) -> np.ndarray:
    """Current in A at 20 kS/s over 0.15 s, once the ring has settled."""
    time_s = np.arange(0.01, 0.16, 1 / RATE_HZ)
    return transient(ring(segments, bad_ohm), {"amps": "-i(V1)"}, 10e-6, time_s)["amps"]


@pytest.mark.parametrize("segments", [8, 7])
def test_speed_from_the_ripple_of_a_commutated_ring(segments: int) -> None:
    values = armature(segments) + np.random.default_rng(1).normal(0, 0.01, len(armature(segments)))
    motor = Motor(segments, 2)
    for wrong_by in (0.85, 1.15):
        found = turn_rate(values, RATE_HZ, motor, wrong_by * TURN_HZ)
        assert found is not None and found.hz == pytest.approx(TURN_HZ, rel=0.005)
    spectrum = np.abs(np.fft.rfft((values - values.mean()) * np.hanning(len(values))))
    strongest_hz = (np.argmax(spectrum[30:]) + 30) * RATE_HZ / len(values)
    assert strongest_hz == pytest.approx(motor.ripples * TURN_HZ, rel=0.02), "lcm(segments, poles) a turn"


def test_a_bad_segment_shows_twice_a_turn_and_a_good_ring_does_not() -> None:
    """Both brushes pass it: order 2, not 1 (two poles)."""
    good, bad = (order_amplitude(armature(8, ohm), RATE_HZ, 2 * TURN_HZ)[0] for ohm in (0.0, 0.3))
    once = order_amplitude(armature(8, 0.3), RATE_HZ, TURN_HZ)[0]
    mean_a = float(armature(8, 0.3).mean())
    assert bad > 0.02 * mean_a
    assert good < 0.1 * bad
    assert once < 0.2 * bad
    found = turn_rate(armature(8, 0.3), RATE_HZ, Motor(8, 2), 1.1 * TURN_HZ)
    assert found is not None and found.hz == pytest.approx(TURN_HZ, rel=0.005)


FEET_M = 0.3048
WIRE_OHM = 1.03 * 4.016 / (1000 * FEET_M) * 2.5
"""2.5 m of 16 AWG by the table, stranded."""


def wired(supply_ohm: float, ground_ohm: float) -> RunData:
    """The wiring procedure's four levels through two wires into a warm lamp of 2 ohm with 20 uH of loop."""
    points, marks, now_s, seconds = ["0 0"], [], 0.0, 0.7
    for label, volts in (("rest", 0.0), ("load", 1.3), ("load", 2.6), ("load", 3.9), ("full_load", 12.0)):
        marks.append(Mark(label, now_s, now_s + seconds, len(marks), "hold"))
        points += [f"{now_s + 1e-4} {volts}", f"{now_s + seconds} {volts}"]
        now_s += seconds
    deck = f"""* load behind two wires
V1 a 0 PWL({" ".join(points)})
Rs a s1 {supply_ohm}
Ls s1 s 10u
Rl s g 2.0
Lg g g1 10u
Rg g1 b {ground_ohm}
Rb b 0 3.4m"""
    time_s = np.arange(0, now_s - 1e-3, 1e-3) + 5e-4
    names = {"amps": "-i(V1)", "a": "v(a)", "s": "v(s)", "g": "v(g)", "b": "v(b)"}
    found = transient(deck, names, 2e-4, time_s)
    rows, rng = empty(len(time_s)), np.random.default_rng(4)
    rows["time_s"], rows["current_a"], rows["supply_v"] = time_s, found["amps"], 12.5
    rows["output_a_v"], rows["output_b_v"] = found["a"], found["b"]
    rows["sensor_a_v"], rows["sensor_b_v"] = found["s"], found["g"]
    rows["drive"], rows["part_c"] = found["a"] / 12.5, 20.0
    for name in ("current_a", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v"):
        rows[name] += rng.normal(0, 0.002, len(rows))
    return RunData(rows, marks, info={"ambient_c": 20.0})


@pytest.mark.parametrize(("more_supply", "more_ground"), [(0.0, 0.0), (0.15, 0.0), (0.0, 0.08)])
def test_wires_of_known_resistance(more_supply: float, more_ground: float) -> None:
    run = wired(WIRE_OHM + 0.004 + more_supply, WIRE_OHM + 0.004 + more_ground)
    found = {finding.key: finding for finding in judge(diagnose(run, load_part("wiring")))}
    for name, more in (("supply", more_supply), ("ground", more_ground)):
        side, over = found[f"{name}_side"], found[f"{name}_excess"]
        assert side.value == pytest.approx(1e3 * (WIRE_OHM + 0.004 + more), abs=max(1.0, 2 * side.u))
        assert over.value == pytest.approx(1e3 * more, abs=2 * over.u)
        assert (over.verdict.value == "fail") == (more > 0)


def solenoid_deck(points: str) -> str:
    """The plunger of solved_solenoid as states on capacitors of 1 F: flux, place, speed, charge."""
    p = plunger
    gap = f"({p.GAP_M + p.STROKE_M}-min(max(V(x)*1e-3,0),{p.STROKE_M}))"
    return f"""* plunger coil; V(x) in mm, V(v) in mm/s, V(q) in As
V1 a 0 PWL({points})
Rbig a 0 1meg
Bl 0 lam I=V(a)-{p.OHM}*V(i)
Cl lam 0 1 ic=0
Bi i 0 V=V(lam)/({p.BASE_H}+{p.A_HM}/{gap})
Bx 0 x I=V(v)
Cx x 0 1 ic=0
Bf f 0 V=0.5*V(i)*V(i)*{p.A_HM}/({gap}*{gap})-{p.PRELOAD_N}-{p.RATE_N_PER_M}*V(x)*1e-3
Bo o 0 V=min(V(x),0)+max(V(x)-{p.STROKE_M * 1e3},0)
Bv 0 v I=1e3*(V(f)-{p.STOP_N_PER_M}*V(o)*1e-3-(V(o)*V(o)>0 ? {p.STOP_NS}*V(v)*1e-3 : 0))/{p.MASS_KG}
Cv v 0 1 ic=0
Bq 0 q I=V(i)
Cq q 0 1 ic=0"""


@cache
def solenoid() -> dict[str, Finding]:
    """Findings of the built-in solenoid's procedure, solved by ngspice."""
    from tests.external.test_estimators_solenoid import procedure

    pieces = [plunger.Piece("rest", 0.0, 0.5), *procedure()]
    points, marks, now_s, volts = ["0 0"], [], 0.0, 0.0
    applied = []
    for piece in pieces:
        begin = volts if piece.ramp else piece.volts
        count = round(piece.seconds * 1000)
        kind = "ramp" if piece.ramp else "step"
        marks.append(Mark(piece.label, now_s, now_s + piece.seconds, len(marks), kind))
        points += [f"{now_s + 1e-6:.7f} {begin:.6f}", f"{now_s + piece.seconds:.7f} {piece.volts:.6f}"]
        applied += [begin + (piece.volts - begin) * (n + 0.5) / count for n in range(count)]
        now_s, volts = now_s + piece.seconds, piece.volts
    edges = np.arange(len(applied) + 1) * 1e-3
    charge = transient(solenoid_deck(" ".join(points)), {"q": "v(q)"}, 2e-4, edges, "uic")["q"]
    rows, rng = empty(len(applied)), np.random.default_rng(2)
    rows["time_s"], rows["current_a"] = edges[:-1], np.diff(charge) * 1000 + rng.normal(0, 6e-4, len(rows))
    rows["output_a_v"] = np.array(applied) + rng.normal(0, 1.7e-3, len(rows))
    rows["output_b_v"], rows["supply_v"], rows["part_c"] = 0.0, 12.0, 20.0
    rows["drive"] = np.array(applied) / 12
    run = RunData(rows, marks, info={"ambient_c": 20.0})
    return {finding.key: finding for finding in judge(diagnose(run, load_part("solenoid")))}


def test_a_plunger_solved_by_ngspice() -> None:
    """Static pull-in 0.34641 A, drop-out 0.11456 A, seated after 8.07 ms: numbers of the reference sheet."""
    found = solenoid()
    assert found["winding_resistance"].value + 0.05 == pytest.approx(plunger.OHM, rel=0.005)
    assert found["inductance"].value == pytest.approx(40.0, rel=0.02)
    assert found["inductance_pulled"].value == pytest.approx(100.0, rel=0.02)
    assert 0.34641 < found["pull_in_current"].value < 1.05 * 0.34641
    assert 0.92 * 0.11456 < found["drop_out_current"].value < 1.01 * 0.11456
    assert found["pull_in_time"].value == pytest.approx(8.07, abs=2 * found["pull_in_time"].u)
