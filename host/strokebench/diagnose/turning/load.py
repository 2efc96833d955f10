"""What the motor has to turn: dry friction, and the load that comes with speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning.case import BENT_A, RAD_TO_RPM, TurningCase
from strokebench.diagnose.turning.running import motor_constant

DRAG = ("drag", "Torque that stays towards zero speed", "mN m")
LOAD = ("load_torque", "Torque at rated speed", "mN m")
RISE = ("load_rise", "Torque gained from half to rated speed", "mN m")
LOW_SPEED = ("low_speed_loss", "Load missing at low speed", "% of torque")
LEAST_RANGE = 0.15
LINEAR_U = 0.03
"""Standard width of torque that grows with the speed itself (grease, eddy currents in the armature's iron,
a load that goes with a power between 1 and 2),
as a share of the torque at rated speed, in kinds whose own law has no such term (judgement)."""
BENDS_U = 0.007
"""Relative to the torque at rated speed: what a load that follows another power leaves between the levels, in
kinds whose law has no linear term; twice that of the torque gained (from simulated fans of another build)."""
LAW_U = 0.003
"""Relative, of each level's torque: pulsation and turns that are no whole number in what was averaged."""

QUESTION = Question(needs="current volts", group="Load", keys=(DRAG[0], LOAD[0], RISE[0], LOW_SPEED[0]))


@dataclass(frozen=True)
class LoadFit:
    """Torque = sum of terms x (speed / rated speed)^power, N m, with covariance; the points it was made
    from. ``powers`` always hold 1: what a kind's law does not, is kept near nothing by a prior."""

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
        return Measured(1e3 * value, 1e3 * u, len(self.torque_nm))


def find(case: TurningCase) -> list[Finding]:
    """Return drag, torque at rated speed, its gain from half of that on, and what is missing at low speed.

    Torque: that of the motor's current, motor constant x current, so all that brakes the rotor belongs to it:
    the load, bearings, brushes, losses in iron. It is measured at every level; against speed a law with the
    powers of the part's kind is fitted (dry 0, leakage 1, flow 2). Drag is that law at standstill (the dry
    torque of a rotor that turns slowly, without what it takes to break away), load torque the law at
    ``nominal.rated_rpm``.
    """
    names, fit = case.names, fit_load(case)
    wanted = [DRAG, LOAD, RISE] + ([LOW_SPEED] if names.low_speed else [])
    if isinstance(fit, str):
        return [case.missing(*quantity, fit) for quantity in wanted]
    return findings_of(case, fit, (case.running[0].span_s[0], case.running[-1].span_s[1]))


def findings_of(case: TurningCase, fit: LoadFit, when: tuple[float, float]) -> list[Finding]:
    """Return the findings that a fitted law gives, from a stretch of the recording; see :func:`find`."""
    names = case.names
    first = [1.0] + [0.0] * (len(fit.powers) - 1)
    gained = [1.0 - 0.5**power for power in fit.powers]
    total, rise = fit.of(*[1.0] * len(fit.powers)), fit.of(*gained)
    if 1 not in names.powers:
        bends = BENDS_U * total.value
        total, rise = total.widened(bends), rise.widened(2 * bends)
    rpm = {"rated_rpm": fit.rated_rad_s * RAD_TO_RPM, "terms_mnm": (1e3 * fit.terms).tolist()}
    found = [
        case.finding(*DRAG[:2], fit.of(*first), DRAG[2], high="dragging", span_s=when, evidence=rpm),
        case.finding(*LOAD[:2], total, LOAD[2], low=names.light, high=names.heavy, span_s=when),
        case.finding(*RISE[:2], rise, RISE[2], high=names.heavy, span_s=when),
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
    if float(np.ptp(speed)) < LEAST_RANGE * rated:
        return "the levels lie too close together in speed"
    amps = np.array([level.current_a for level in known])
    shares = np.array([case.coarse_share(level.rows) for level in known])
    torque = k.value * amps
    u_range_a = np.hypot(shares * case.coarse.u_pivot_a, [case.u_share_a(level.rows) for level in known])
    u = k.value * np.sqrt(BENT_A**2 + (LAW_U * amps) ** 2 + u_range_a**2)
    common = k.value * case.coarse.u * shares * (amps - case.coarse.pivot_a)
    terms, covariance = _solve(powers, speed / rated, torque, u, common)
    gain = math.hypot(case.accuracy("current_a", "gain"), k.u / k.value)
    covariance = covariance + np.outer(terms, terms) * gain**2
    covariance[0, 0] += (k.value * case.accuracy("current_a", "offset")) ** 2
    return LoadFit(tuple(sorted({1, *powers})), terms, covariance, speed, torque, rated)


def _solve(
    powers: tuple[int, ...], share: Floats, torque: Floats, u: Floats, common: Floats
) -> tuple[Floats, Floats]:
    """Terms and covariance; ``common``: error that the levels have together, of the coarse current range."""
    whole = tuple(sorted({1, *powers}))
    prior = np.zeros(len(whole))
    if 1 not in powers:
        prior[whole.index(1)] = (LINEAR_U * float(torque.max())) ** -2.0
    design = np.column_stack([share**p for p in whole])
    known = np.linalg.inv(np.diag(u**2) + np.outer(common, common))
    covariance: Floats = np.asarray(np.linalg.inv(design.T @ known @ design + np.diag(prior)), float)
    terms = covariance @ design.T @ known @ torque
    left = torque - design @ terms
    freedom = len(torque) - len(powers)
    chi = float(left @ known @ left) / freedom if freedom > 0 else 1.0
    return terms, covariance * max(1.0, chi)
