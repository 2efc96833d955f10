"""What the motor has to turn: dry friction, and the load that comes with speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning import law, rundown
from strokebench.diagnose.turning.case import RAD_TO_RPM, Level, TurningCase
from strokebench.diagnose.turning.circuit import fit_circuit, speed_by_volts
from strokebench.diagnose.turning.law import Law, columns
from strokebench.diagnose.turning.ranges import BENT_A
from strokebench.diagnose.turning.running import motor_constant

DRAG = ("drag", "Torque left at zero speed", "mN m")
LOAD = ("load_torque", "Torque at rated speed", "mN m")
RISE = ("load_rise", "Torque gained from half to rated speed", "mN m")
LOW_SPEED = ("low_speed_loss", "Load missing at low speed", "% of torque")
LEAST_RANGE = 0.15
LAW_U = 0.003
"""Relative, of each level's torque: pulsation and turns that are no whole number in what was averaged."""

QUESTION = Question(needs="current volts", group="Load", keys=(DRAG[0], LOAD[0], RISE[0], LOW_SPEED[0]))


@dataclass(frozen=True)
class LoadFit:
    """Torque = dry + linear x share + flow x share^power, ``share`` being speed over rated speed. ``terms``
    are these three in N m, ``covariance`` that of the terms and the power; the points it was made from."""

    terms: Floats
    power: float
    covariance: Floats
    speed_rad_s: Floats
    torque_nm: Floats
    rated_rad_s: float

    @classmethod
    def scaled(cls, found: Law, gain: float, speed_rad_s: Floats, torque_nm: Floats, rated: float) -> LoadFit:
        """Return a law whose torques have a relative standard uncertainty in common."""
        whole = np.append(found.terms, 0.0)
        covariance = found.covariance + np.outer(whole, whole) * gain**2
        return cls(found.terms, found.power, covariance, speed_rad_s, torque_nm, rated)

    def at(self, speed_rad_s: Floats) -> Floats:
        """Torque of the fitted law, N m."""
        share = np.asarray(speed_rad_s, float) / self.rated_rad_s
        return np.asarray(columns(share, self.power, 0.0)[:, :3] @ self.terms, float)

    def of(self, share: float, less: float | None = None) -> Measured:
        """Torque at a share of the rated speed, less that at another, in mN m with its uncertainty."""
        flow = float(self.terms[2])
        w = columns(np.array([share]), self.power, flow)[0]
        if less is not None:
            w = w - columns(np.array([less]), self.power, flow)[0]
        u = math.sqrt(max(float(w @ self.covariance @ w), 0.0))
        return Measured(1e3 * float(w[:3] @ self.terms), 1e3 * u, len(self.torque_nm))


def find(case: TurningCase) -> list[Finding]:
    """Return drag, torque at rated speed, its gain from half of that on, and what is missing at low speed.

    Torque: that of the motor's current, motor constant x current, so all that brakes the rotor belongs to it:
    the load, bearings, brushes, losses in iron. It is measured at every level; against speed a law with the
    powers of the part's kind is fitted (dry 0, leakage 1, flow 2). Where the flow is all that comes with
    speed, its power is fitted too. The run-down after the levels shows the law in between and below
    (:mod:`strokebench.diagnose.turning.rundown`). Drag is that law at standstill (the dry torque of a rotor
    that turns slowly, without what it takes to break away), load torque the law at ``nominal.rated_rpm``.
    """
    names, fit = case.names, fit_load(case)
    wanted = [DRAG, LOAD, RISE] + ([LOW_SPEED] if names.low_speed else [])
    if isinstance(fit, str):
        return [case.missing(*quantity, fit) for quantity in wanted]
    return findings_of(case, fit, (case.running[0].span_s[0], case.running[-1].span_s[1]))


def findings_of(case: TurningCase, fit: LoadFit, when: tuple[float, float]) -> list[Finding]:
    """Return the findings that a fitted law gives, from a stretch of the recording; see :func:`find`."""
    names = case.names
    total = fit.of(1.0)
    rpm = {
        "rated_rpm": fit.rated_rad_s * RAD_TO_RPM,
        "terms_mnm": (1e3 * fit.terms).tolist(),
        "power": fit.power,
    }
    found = [
        case.finding(*DRAG[:2], fit.of(0.0), DRAG[2], high="dragging", span_s=when, evidence=rpm),
        case.finding(*LOAD[:2], total, LOAD[2], low=names.light, high=names.heavy, span_s=when),
        case.finding(*RISE[:2], fit.of(1.0, less=0.5), RISE[2], high=names.heavy, span_s=when),
    ]
    if names.low_speed:
        linear, u = 1e3 * float(fit.terms[1]), 1e3 * math.sqrt(float(fit.covariance[1, 1]))
        share = Measured(100 * linear / total.value, 100 * u / total.value)
        found.append(case.finding(*LOW_SPEED[:2], share, LOW_SPEED[2], high=names.low_speed, span_s=when))
    return found


def fit_load(case: TurningCase) -> LoadFit | str:
    """Return the fit, or the reason in one sentence why there is none."""
    known, speed, u_speed = _speeds(case)
    powers = case.names.powers
    if len({round(level.drive, 2) for level in known}) < len(powers):
        return f"speed is known at {len(known)} levels only, at least {len(powers)} are needed"
    rated = case.profile.nominal.get("rated_rpm", math.nan) / RAD_TO_RPM
    if not math.isfinite(rated):
        return "the profile does not say the rated speed"
    if float(np.ptp(speed)) < LEAST_RANGE * rated:
        return "the levels lie too close together in speed"
    k = motor_constant(case, [level for level in known if level.rate is not None])
    amps = np.array([level.current_a for level in known])
    shares = np.array([level.current.share for level in known])
    torque = k.value * amps
    steep = 2 * float(np.ptp(torque)) / float(np.ptp(speed))
    u_range_a = np.hypot(shares * case.coarse.u_pivot_a, [level.current.u_share_a for level in known])
    u = k.value * np.sqrt(BENT_A**2 + (LAW_U * amps) ** 2 + u_range_a**2)
    u = np.hypot(u, steep * u_speed)
    coarse = k.value * case.coarse.u * shares * (amps - case.coarse.pivot_a)
    common = np.array((coarse, np.full(len(amps), k.value * case.u_zero_a)))
    coast = rundown.released(case, k.value, rated)
    found = law.fit(powers, speed / rated, torque, u, common, coast)
    return LoadFit.scaled(
        found, math.hypot(case.accuracy("current_a", "gain"), k.u / k.value), speed, torque, rated
    )


def _speeds(case: TurningCase) -> tuple[list[Level], Floats, Floats]:
    """Levels at which it turns, their speeds in rad/s and u: by the ripple, and where that is too faint, by
    the volts if others showed the motor constant."""
    found = fit_circuit(case)
    seen = [level for level in case.running if level.rate is not None]
    by_volts = not isinstance(found, str) and len({round(level.drive, 2) for level in seen}) >= 2
    known, speeds = [], []
    for level in case.running:
        if level.rate is not None:
            speeds.append((level.speed_rad_s, 0.0))
        elif by_volts and not isinstance(found, str):
            speeds.append(speed_by_volts(case, found, level))
        else:
            continue
        known.append(level)
    speed, u = np.array(speeds).reshape(-1, 2).T
    return known, speed, u
