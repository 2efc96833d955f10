"""What the motor has to turn: dry friction, and the load that comes with speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning import rundown
from strokebench.diagnose.turning.case import RAD_TO_RPM, Level, TurningCase
from strokebench.diagnose.turning.circuit import fit_circuit, speed_by_volts
from strokebench.diagnose.turning.ranges import BENT_A
from strokebench.diagnose.turning.running import motor_constant

DRAG = ("drag", "Torque that stays towards zero speed", "mN m")
LOAD = ("load_torque", "Torque at rated speed", "mN m")
RISE = ("load_rise", "Torque gained from half to rated speed", "mN m")
LOW_SPEED = ("low_speed_loss", "Load missing at low speed", "% of torque")
LEAST_RANGE = 0.15
LINEAR, LINEAR_U = 0.015, 0.015
"""Torque that grows with the speed itself (grease, eddy currents in the armature's iron) and its standard
width, as shares of the torque at rated speed, in kinds whose own law has no such term: between nothing and a
few per cent (judgement)."""
SQUARE, POWER_U = 2.0, 0.15
"""Power of the speed that a flow's torque goes with, and its standard width in the same kinds: the affinity
laws say 2, friction in the flow makes it less, what opens with pressure more (judgement)."""
STEPS = 6
"""Of Gauss and Newton towards the power; three are enough."""
FIXED = 1e-9
"""Prior width of a power that is known."""
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


def columns(share: Floats, power: float, flow: float) -> Floats:
    """What dry, linear and flow's terms are multiplied by, and how the torque changes with the power."""
    some = np.maximum(share, 1e-9)
    return np.column_stack((np.ones(len(some)), share, some**power, flow * some**power * np.log(some)))


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
    free = 1 not in powers
    coast = rundown.pieces(case, k.value, rated)
    terms, power, covariance = _solve(free, speed / rated, torque, u, common, coast)
    gain = math.hypot(case.accuracy("current_a", "gain"), k.u / k.value)
    covariance = covariance + np.outer(whole := np.append(terms, 0.0), whole) * gain**2
    return LoadFit(terms, power, covariance, speed, torque, rated)


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


def _solve(
    free: bool, share: Floats, torque: Floats, u: Floats, common: Floats, coast: rundown.Pieces | None
) -> tuple[Floats, float, Floats]:
    """Terms, power and covariance of both; ``free``: the power is fitted, the linear term is near nothing.

    ``common``: errors that the levels have together, a row each: of the coarse current range, of the zero.
    Unknowns: the three terms, the power, and the moment of inertia over what ``coast`` is in.
    """
    prior, weight = np.zeros(5), np.zeros(5)
    prior[3] = SQUARE
    weight[3] = (POWER_U if free else FIXED) ** -2.0
    if free:
        most = float(torque.max())
        prior[1], weight[1] = LINEAR * most, (LINEAR_U * most) ** -2.0
    weight[4] = FIXED if coast is not None else 1.0
    known = np.linalg.inv(np.diag(u**2) + common.T @ common)
    answer = np.array([0.3, 0.0, 0.7, 0.0, 0.0]) * float(torque.max())
    answer[3] = SQUARE
    for _ in range(STEPS):
        terms, power = answer[:3], float(answer[3])
        design = np.column_stack((columns(share, power, float(terms[2])), np.zeros(len(share))))
        rows = _coasting(coast, power, terms) if coast is not None else np.zeros((0, 5))
        left = torque - design[:, :3] @ terms, -rows[:, :3] @ terms - rows[:, 4] * answer[4]
        normal = design.T @ known @ design + rows.T @ rows + np.diag(weight)
        covariance: Floats = np.asarray(np.linalg.inv(normal), float)
        answer = answer + covariance @ (
            design.T @ known @ left[0] + rows.T @ left[1] + weight * (prior - answer)
        )
    freedom = len(torque) + len(rows) - (4 if coast is not None else 3)
    chi = float(left[0] @ known @ left[0] + left[1] @ left[1]) / freedom if freedom > 0 else 1.0
    return answer[:3], float(answer[3]), covariance[:4, :4] * max(1.0, chi)


def _coasting(coast: rundown.Pieces, power: float, terms: Floats) -> Floats:
    """Rows of 0 = torque + inertia x slope, each over its own uncertainty."""
    s = coast.mean(power)
    rows = np.column_stack(
        (np.ones(len(s)), coast.mean(1.0), s, terms[2] * coast.mean_log(power), coast.slope)
    )
    size = np.maximum(rows[:, :3] @ terms, 0.02 * float(np.abs(terms).sum()))
    return np.asarray(rows / (coast.u * size)[:, None], float)
