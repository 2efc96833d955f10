"""What the motor has to turn: dry friction, and the load that comes with speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning.case import RAD_TO_RPM, TurningCase
from strokebench.diagnose.turning.running import motor_constant

DRAG = ("drag", "Torque that stays towards zero speed", "mN m")
LOAD = ("load_torque", "Torque at rated speed", "mN m")
RISE = ("load_rise", "Torque gained from half to rated speed", "mN m")
LOW_SPEED = ("low_speed_loss", "Load missing at low speed", "% of torque")
LEAST_RANGE = 0.15
MODEL_U = 0.01
"""Relative uncertainty of the load's law (judgement)."""

QUESTION = Question(needs="current volts", group="Load", keys=(DRAG[0], LOAD[0], RISE[0], LOW_SPEED[0]))


@dataclass(frozen=True)
class LoadFit:
    """Torque = sum of terms x (speed / rated speed)^power, N m, with covariance; the points it was made
    from."""

    powers: tuple[int, ...]
    terms: Floats
    covariance: Floats
    speed_rad_s: Floats
    torque_nm: Floats
    rated_rad_s: float

    def at(self, speed_rad_s: Floats) -> Floats:
        """Torque of the fitted law, N m."""
        share = np.asarray(speed_rad_s, float) / self.rated_rad_s
        return np.asarray(sum(t * share**p for t, p in zip(self.terms, self.powers, strict=True)), float)

    def of(self, *weights: float) -> Measured:
        """A weighted sum of the terms in mN m with its uncertainty."""
        w = np.array(weights)
        value = float(w @ self.terms)
        u = math.sqrt(max(float(w @ self.covariance @ w), 0.0))
        return Measured(1e3 * value, 1e3 * math.hypot(u, MODEL_U * value), len(self.torque_nm))


def find(case: TurningCase) -> list[Finding]:
    """Return drag, torque at rated speed, its gain from half of that on, and what is missing at low speed.

    Torque = motor constant x current, both measured here, at every level; against speed a law with the
    powers of the part's kind is fitted (dry 0, leakage 1, flow 2). Rated speed: ``nominal.rated_rpm``.
    """
    names, fit = case.names, fit_load(case)
    wanted = [DRAG, LOAD, RISE] + ([LOW_SPEED] if names.low_speed else [])
    if isinstance(fit, str):
        return [case.missing(*quantity, fit) for quantity in wanted]
    when = (case.running[0].span_s[0], case.running[-1].span_s[1])
    first = [1.0] + [0.0] * (len(fit.powers) - 1)
    gained = [1.0 - 0.5**power for power in fit.powers]
    total = fit.of(*[1.0] * len(fit.powers))
    rpm = {"rated_rpm": fit.rated_rad_s * RAD_TO_RPM, "terms_mnm": (1e3 * fit.terms).tolist()}
    found = [
        case.finding(*DRAG[:2], fit.of(*first), DRAG[2], high="dragging", span_s=when, evidence=rpm),
        case.finding(*LOAD[:2], total, LOAD[2], low=names.light, high=names.heavy, span_s=when),
        case.finding(*RISE[:2], fit.of(*gained), RISE[2], high=names.heavy, span_s=when),
    ]
    if names.low_speed:
        linear = fit.of(0.0, 1.0, 0.0)
        share = Measured(100 * linear.value / total.value, 100 * linear.u / total.value)
        found.append(case.finding(*LOW_SPEED[:2], share, LOW_SPEED[2], high=names.low_speed, span_s=when))
    return found


def fit_load(case: TurningCase) -> LoadFit | str:
    """Return the fit, or the reason in one sentence why there is none."""
    known = [level for level in case.running if level.rate is not None]
    powers = case.names.powers
    if len({round(level.drive, 2) for level in known}) < len(powers):
        return f"speed is known at {len(known)} levels only, at least {len(powers)} are needed"
    rated = case.profile.nominal.get("rated_rpm", math.nan) / RAD_TO_RPM
    if not math.isfinite(rated):
        return "the profile does not say the rated speed"
    k = motor_constant(case, known)
    speed = np.array([level.speed_rad_s for level in known])
    torque = k.value * np.array([level.current_a for level in known])
    u = k.value * np.array([math.hypot(level.u_current_a, 0.001 * level.current_a) for level in known])
    design = np.column_stack([(speed / rated) ** p for p in powers])
    if float(np.ptp(speed)) < LEAST_RANGE * rated:
        return "the levels lie too close together in speed"
    weighted = design / u[:, None]
    covariance = np.linalg.inv(weighted.T @ weighted)
    terms = covariance @ weighted.T @ (torque / u)
    left = (torque - design @ terms) / u
    covariance = covariance * max(1.0, float(left @ left) / max(len(u) - len(powers), 1))
    gain = math.hypot(case.accuracy("current_a", "gain"), k.u / k.value)
    covariance = covariance + np.outer(terms, terms) * gain**2
    covariance[0, 0] += (k.value * case.accuracy("current_a", "offset")) ** 2
    return LoadFit(powers, terms, covariance, speed, torque, rated)
