"""Does it turn at all, what does it take, how fast does it turn, and what does its motor give per ampere?"""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured
from strokebench.diagnose.turning.case import RAD_TO_RPM, Level, TurningCase, highest
from strokebench.diagnose.turning.circuit import CLOCK_U, fit_circuit
from strokebench.diagnose.turning.volts import CONSTANT as K

FLOWS = ("current_flows", "Current at the highest drive", "A")
TURNS = ("turning", "Back-EMF, share of the voltage", "%")
SPEED = ("speed", "Speed at the highest drive", "rpm")
CONSTANT = ("motor_constant", "Motor constant", "V s/rad")
BENDS_V = 0.1
"""Standard uncertainty of a contact's drop far beyond the currents at which it was seen (judgement)."""

QUESTION = Question(needs="current volts", group="Turning", keys=(FLOWS[0], TURNS[0], SPEED[0], CONSTANT[0]))


def find(case: TurningCase) -> list[Finding]:
    """Return running current, back-EMF share, speed and motor constant."""
    return [_flows(case), _turns(case), *_speed(case)]


def _flows(case: TurningCase) -> Finding:
    """Median current of the last 0.1 s at the highest drive before the first release or the end of the
    run."""
    hold = _hardest(case)
    if hold is None:
        return case.missing(*FLOWS, "the part was never driven")
    current_a = float(np.median(hold["current_a"]))
    u = math.hypot(case.accuracy("current_a", "offset"), 0.01 * current_a)
    when = (float(hold["time_s"][0]), float(hold["time_s"][-1]))
    return case.finding(*FLOWS[:2], Measured(current_a, u), FLOWS[2], low="open_winding", span_s=when)


def _hardest(case: TurningCase) -> Samples | None:
    """Rows of the highest level, else of the end of the soft start."""
    if case.top is not None:
        return case.top.rows
    marks = [mark for mark in case.run.marks if mark.label == labels.SOFT_START]
    if not marks:
        return None
    end_s = marks[-1].end_s
    rows = case.run.between(end_s - 0.1, end_s)
    return rows if len(rows) >= 20 else None


def _turns(case: TurningCase) -> Finding:
    """Share of the terminal voltage that is back-EMF.

    From the release after the highest level; when the run never came so far, from what resistance and
    brushes, as a line through the holds at standstill shows them, leave of the voltage at the end of the
    soft start.
    """
    top = case.top
    if top is not None:
        share = 100 * top.emf_v / top.volts
        measured = Measured(share, 100 * top.u_emf_v / top.volts)
        return case.finding(*TURNS[:2], measured, TURNS[2], low="blocked", span_s=top.span_s)
    rows, (ohm, u_ohm, brush_v) = _hardest(case), case.standing
    if rows is None or not math.isfinite(ohm):
        why = "the part was never driven" if rows is None else "there are fewer than 3 holds at standstill"
        return case.missing(*TURNS, why)
    amps, volts = float(np.mean(rows["current_a"])), float(np.mean(load_voltage(rows))) - case.zero_v
    if amps < 0.1:
        return case.missing(*TURNS, "no current flowed, so nothing turned")
    emf_v = volts - brush_v - ohm * amps
    reach_a = amps - float(np.mean([hold[0] for hold in case.still]))
    u_v = math.hypot(u_ohm * reach_a, BENDS_V, 0.02 * ohm * amps)
    when = (float(rows["time_s"][0]), float(rows["time_s"][-1]))
    measured = Measured(100 * emf_v / volts, 100 * u_v / volts)
    return case.finding(*TURNS[:2], measured, TURNS[2], low="blocked", span_s=when)


def _speed(case: TurningCase) -> list[Finding]:
    top = case.top
    if top is None or not top.turns:
        why = "it does not turn" if top is not None else "it was never run up to its levels"
        return [case.missing(*quantity, why) for quantity in (SPEED, CONSTANT)]
    known = [level for level in case.running if level.rate is not None]
    if not known:
        why = "no ripple that repeats was found in the current"
        return [case.missing(*quantity, why) for quantity in (SPEED, CONSTANT)]
    best = highest(known)
    assert best is not None and best.rate is not None  # by known
    rpm = Measured(60 * best.rate.hz, 60 * best.rate.u_hz).widened(60 * best.rate.hz * CLOCK_U)
    burst = {
        "ripple_hz": best.rate.hz * case.motor.ripples,
        "repeats": best.rate.repeats,
        "drive": best.drive,
    }
    measured = motor_constant(case, known)
    return [
        case.finding(*SPEED[:2], rpm, SPEED[2], low="slow", span_s=best.span_s, evidence=burst),
        case.finding(
            *CONSTANT[:2], measured, CONSTANT[2], low="weak_magnet", span_s=best.span_s,
            evidence={"levels": [round(level.speed_rad_s * RAD_TO_RPM) for level in known]},
        ),
    ]  # fmt: skip


def motor_constant(case: TurningCase, known: list[Level]) -> Measured:
    """K in V s/rad = N m/A: mean back-EMF over speed, with its standard uncertainty, from the balance of
    volts.

    Without one, from the levels that were released, or those whose back-EMF is what the resistance leaves."""
    found = fit_circuit(case)
    gain = case.accuracy("output_a_v", "gain")
    if not isinstance(found, str):
        value, u = found.one(K)
        return Measured(value, math.hypot(u, gain * value), len(known))
    known = [level for level in known if level.source == "release"] or known
    ratio = np.array([level.emf_v / level.speed_rad_s for level in known])
    u_each = np.array([level.u_emf_v / level.speed_rad_s for level in known])
    value = float(np.sum(ratio / u_each**2) / np.sum(1 / u_each**2))
    apart = float(np.sqrt(np.sum((ratio - value) ** 2 / u_each**2) / max(len(ratio) - 1, 1)))
    u_mean = float(1 / np.sqrt(np.sum(1 / u_each**2))) * max(1.0, apart)
    return Measured(value, math.hypot(u_mean, gain * value), len(known))
