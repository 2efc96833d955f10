"""Resistance of a turning motor and its leads: what is left of the voltage when the back-EMF is taken off."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.case import span_of
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning.case import Level, TurningCase
from strokebench.diagnose.winding import temperature
from strokebench.physics.copper import COPPER_K_C, resistance_ratio

RESISTANCE = ("loop_resistance", "Resistance of motor and leads at 20 C", "ohm")
BRUSH = ("brush_drop", "Brush drop", "V")
REFERENCE_C = 20.0
WARMED_K = 2.0
"""The winding may be this much warmer than the part's sensor by the last level (judgement, rectangular)."""
LEAST_SPREAD_A = 0.2

QUESTION = Question(needs="current volts", group="Turning", keys=(RESISTANCE[0], BRUSH[0]))


@dataclass(frozen=True)
class Drop:
    """Line V - E = ohm i + brush_v through all points; NaN uncertainty with two points."""

    ohm: float
    u_ohm: float
    brush_v: float
    u_brush_v: float
    current_a: Floats
    volts: Floats


def find(case: TurningCase) -> list[Finding]:
    """Return the loop's resistance referred to 20 C and the drop at the brushes.

    Points: holds at which the rotor stood (E = 0), and levels of running with the back-EMF E as it stood
    between the open outputs right after release. The slope over all of them is the resistance; the share of
    the winding (all but ``nominal.lead_ohm``) is referred to 20 C as copper.
    """
    drop = fit_drop(case)
    if isinstance(drop, str):
        return [case.missing(*RESISTANCE, drop), case.missing(*BRUSH, drop)]
    rows = [hold[2] for hold in case.still] + [level.rows for level in _known_emf(case)]
    when = span_of(*rows)
    assert when is not None  # a fit has points, points have rows
    part_c, u_part_c = temperature(case, when[0])
    lead_ohm = case.profile.nominal.get("lead_ohm", 0.0)
    ratio = resistance_ratio(part_c, REFERENCE_C)
    winding = (drop.ohm - lead_ohm) * ratio
    u_warm = winding * math.hypot(u_part_c, WARMED_K / math.sqrt(3)) / (COPPER_K_C + part_c)
    measured = Measured(winding + lead_ohm, drop.u_ohm, len(rows)).widened(
        u_warm, 0.4 * lead_ohm * abs(1 - ratio)
    )
    brush = Measured(drop.brush_v, drop.u_brush_v)
    return [
        case.finding(
            *RESISTANCE[:2], measured, RESISTANCE[2], low="shorted_turns", high="lead_resistance",
            span_s=when,
            evidence={"loop_ohm": drop.ohm, "at_c": part_c, "points": len(rows)},
        ),
        case.finding(*BRUSH[:2], brush, BRUSH[2], high="worn_brush", span_s=when),
    ]  # fmt: skip


def _known_emf(case: TurningCase) -> list[Level]:
    """Levels whose back-EMF is known otherwise than from a resistance."""
    return [level for level in case.running if level.source != "leave"]


def fit_drop(case: TurningCase) -> Drop | str:
    """Return the fit, or the reason in one sentence why there is none."""
    current_a = np.array([hold[0] for hold in case.still] + [level.current_a for level in _known_emf(case)])
    dropped = [hold[1] for hold in case.still] + [level.volts - level.emf_v for level in _known_emf(case)]
    volts = np.array(dropped) - case.zero_v
    if len(current_a) < 3:
        return f"only {len(current_a)} holds at standstill or levels with a back-EMF, at least 3 are needed"
    if float(np.ptp(current_a)) < LEAST_SPREAD_A:
        return "the current hardly differs between the levels"
    u_volts = np.array(
        [0.003] * len(case.still) + [math.hypot(level.u_emf_v, 0.003) for level in _known_emf(case)]
    )
    u_amps = np.array([0.003] * len(case.still) + [level.u_current_a for level in _known_emf(case)])
    ohm = float(np.ptp(volts) / np.ptp(current_a))
    weight = 1 / np.hypot(u_volts, ohm * u_amps)
    design = np.column_stack((current_a, np.ones(len(current_a)))) * weight[:, None]
    covariance = np.linalg.inv(design.T @ design)
    answer = covariance @ design.T @ (volts * weight)
    left = volts * weight - design @ answer
    widen = max(1.0, math.sqrt(float(left @ left) / max(len(left) - 2, 1)))
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    u_ohm, u_brush = (widen * math.sqrt(covariance[i, i]) for i in (0, 1))
    return Drop(
        float(answer[0]), math.hypot(u_ohm, gain * float(answer[0])), float(answer[1]),
        math.hypot(u_brush, case.accuracy("output_a_v", "offset")), current_a, volts,
    )  # fmt: skip
