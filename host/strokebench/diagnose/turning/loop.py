"""Resistance of a turning motor and its leads, and the drop at its brushes, from the balance of volts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.case import span_of
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning.case import Level, TurningCase
from strokebench.diagnose.turning.circuit import fit_circuit
from strokebench.diagnose.turning.volts import OHM, Balance
from strokebench.diagnose.winding import temperature
from strokebench.physics.copper import COPPER_K_C, resistance_ratio

RESISTANCE = ("loop_resistance", "Resistance of motor and leads at 20 °C", "ohm")
BRUSH = ("brush_drop", "Brush drop", "V")
REFERENCE_C = 20.0

QUESTION = Question(needs="current volts", group="Turning", keys=(RESISTANCE[0], BRUSH[0]))


@dataclass(frozen=True)
class Drop:
    """What is left of the volts without back-EMF at each point, and the law through them: ohm x i +
    drop(i)."""

    balance: Balance
    ohm: float
    u_ohm: float
    brush_v: float
    u_brush_v: float
    current_a: Floats
    volts: Floats

    def at(self, current_a: float) -> float:
        """Volts of the law at a current."""
        return self.ohm * current_a + self.balance.drop_v(current_a)[0]


def find(case: TurningCase) -> list[Finding]:
    """Return the loop's resistance referred to 20 C and the drop at the brushes.

    Resistance: of winding and leads without the brushes' contact drop, that part of the voltage which goes in
    proportion to the current, as cold as the part was at the start; the share of the winding (all but
    ``nominal.lead_ohm``) is referred to 20 C as copper. A resistance of the brushes that flickers belongs to
    it by its mean. Drop: what brushes and contacts take beyond that at the highest current that it ran with.
    """
    drop = fit_drop(case)
    if isinstance(drop, str):
        return [case.missing(*RESISTANCE, drop), case.missing(*BRUSH, drop)]
    rows = [hold[2] for hold in case.still] + [level.rows for level in _known(case)]
    when = span_of(*rows)
    assert when is not None  # a fit has points, points have rows
    part_c, u_part_c = temperature(case, when[0])
    lead_ohm = case.profile.nominal.get("lead_ohm", 0.0)
    ratio = resistance_ratio(part_c, REFERENCE_C)
    winding = (drop.ohm - lead_ohm) * ratio
    u_warm = winding * u_part_c / (COPPER_K_C + part_c)
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


def _known(case: TurningCase) -> list[Level]:
    """Levels whose speed is known."""
    return [level for level in case.running if level.rate is not None]


def fit_drop(case: TurningCase) -> Drop | str:
    """Return the fit, or the reason in one sentence why there is none."""
    found = fit_circuit(case)
    if isinstance(found, str):
        return found
    current_a = np.array([hold[0] for hold in case.still] + [level.current_a for level in _known(case)])
    dropped = [hold[1] for hold in case.still] + [level.volts - level.emf_v for level in _known(case)]
    ohm, u_ohm = found.one(OHM)
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    brush_v, u_brush_v = found.drop_v(float(current_a.max()))
    return Drop(
        found,
        ohm,
        math.hypot(u_ohm, gain * ohm),
        brush_v,
        u_brush_v,
        current_a,
        np.array(dropped) - case.zero_v,
    )
