"""Travel of a motor without a sensor: from stop to stop by its back-EMF, its time, and whether it repeats."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.friction import friction_level
from strokebench.diagnose.moving.sensorless import SensorlessCase, Stroke
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured, repeats, repeats_or_once

TRAVEL = ("travel", "Travel between the stops", "% of nominal")
REPEAT = ("travel_spread", "Travel, from stroke to stroke", "% of travel")
TIME = ("travel_time", "Time from stop to stop", "ms")
FRICTION = ("friction", "Dry friction", "A")
JAMMED_PERCENT = 10.0
INDUCTIVE_U = 0.004
"""Relative: L times the rise of the current over a stroke, where no burst told L (8 mH, 0.6 A, of 1.2
V s)."""
DROP_U = 0.002
"""Relative: brush drop and resistance over a stroke, whose current is a tenth to a third of that at the stop
(judgement: 4 mV of 2 V at the slowest)."""
ONCE_U = 2.0
"""Standard uncertainty of the travel of a stroke or two, % of nominal (judgement)."""
FOUND_U = 0.1
"""Relative, of half the loop between two slow strokes: its viscous share, and what gathering speed takes
(judgement)."""

QUESTION = Question(
    needs="current volts",
    group="Travel and rest",
    keys=(TRAVEL[0], REPEAT[0], TIME[0], FRICTION[0]),
    anyhow=(TRAVEL[0], REPEAT[0], FRICTION[0]),
    group_by_key={TIME[0]: "Times", FRICTION[0]: "Friction and spring"},
)


def find(case: SensorlessCase) -> list[Finding]:
    """Return travel, its repeatability, the time it takes, and the friction.

    **Travel**: the motor's way from stop to stop, pressed against both with the stroke's full push, over the
    nominal one; so play of the gear, and what gear and stops give, belong to it. The way in V s over the
    nominal motor constant gives an angle, so a motor constant off its nominal value shows as travel; the
    profile's limits hold the spread of both. **Friction**: Coulomb friction over the motor constant, without
    the viscous share, mean from 6 to 97 % of the travel, from the balance of torques over quick and slow
    strokes (:mod:`strokebench.diagnose.moving.fit.torque`)."""
    return [*_travel(case), _friction(case)]


def _travel(case: SensorlessCase) -> list[Finding]:
    k_si, travel_deg = (case.profile.nominal.get(name) for name in ("motor_constant", "travel_deg"))
    if k_si is None or travel_deg is None:
        why = "the profile gives no nominal motor constant and travel"
        return [case.missing(*quantity, why) for quantity in (TRAVEL, REPEAT, TIME)]
    full_vs = k_si * math.radians(travel_deg)
    strokes = case.quick or (case.slow if case.by_samples else [])
    if len(strokes) < case.fewest:
        return _cut_short(case, full_vs)
    ways = np.array([stroke.total_vs for stroke in strokes])
    gain = math.hypot(case.accuracy("output_a_v", "gain"), DROP_U, 0.0 if case.henry else INDUCTIVE_U)
    shares = ways / full_vs * 100
    share = repeats(shares) if len(ways) > 2 else repeats_or_once(shares, ONCE_U)
    drop_vs = case.u_brush_v * float(np.mean([stroke.time_s for stroke in strokes]))
    share = share.widened(gain * share.value, 100 * drop_vs / full_vs)
    span_s = (strokes[0].mark.start_s, strokes[-1].mark.end_s)
    low = "jammed" if share.value < JAMMED_PERCENT else "short_travel"
    evidence = {"strokes": len(strokes), "way_vs": ways.tolist(), "degrees": share.value * travel_deg / 100}
    out = [
        case.finding(
            *TRAVEL[:2], share, TRAVEL[2], low=low, high="travel_long", span_s=span_s, evidence=evidence
        )
    ]
    if share.value < JAMMED_PERCENT:
        return [*out, *(case.missing(*quantity, "it does not move") for quantity in (REPEAT, TIME))]
    if len(ways) < 2:
        alone = case.missing(*REPEAT, "a single stroke from stop to stop")
        return [*out, alone, _time(case, strokes, span_s)]
    apart = 100 * float(np.ptp(ways)) / float(ways.mean())
    return [
        *out,
        case.finding(*REPEAT[:2], Measured(apart, 0.3), REPEAT[2], high="uneven_travel", span_s=span_s),
        _time(case, strokes, span_s),
    ]


def _time(case: SensorlessCase, strokes: list[Stroke], span_s: tuple[float, float]) -> Finding:
    measured = repeats([1e3 * stroke.time_s for stroke in strokes]).widened(1.0)
    return case.finding(*TIME[:2], measured, TIME[2], high="slow", span_s=span_s)


def _cut_short(case: SensorlessCase, full_vs: float) -> list[Finding]:
    """The run ended after the first push: what it moved in that is a finding when it is next to nothing."""
    lost = [
        case.missing(*quantity, f"only {len(case.quick)} strokes, {case.fewest} needed")
        for quantity in (REPEAT, TIME)
    ]
    if not case.probe or case.run.info.get("outcome") != "watch":
        return [case.missing(*TRAVEL, f"only {len(case.quick)} strokes, {case.fewest} needed"), *lost]
    probe = case.probe[0]
    share = 100 * probe.total_vs / full_vs
    if share > 5 * JAMMED_PERCENT:
        return [case.missing(*TRAVEL, "the first push was cut short while it moved"), *lost]
    low = "jammed" if share < JAMMED_PERCENT else "short_travel"
    span_s = (probe.mark.start_s, probe.mark.end_s)
    return [case.finding(*TRAVEL[:2], Measured(share, 2.0), TRAVEL[2], low=low, span_s=span_s), *lost]


def _friction(case: SensorlessCase) -> Finding:
    level = friction_level(case) if case.sweeps.pairs >= case.fewest else None
    if level is None:
        return case.missing(*FRICTION, "too few slow strokes in which the motor turned")
    if case.by_samples:
        level = level.widened(FOUND_U * level.value)
    evidence = {"inertia_a_s_per_v": case.inertia}
    return case.finding(
        *FRICTION[:2], level, FRICTION[2], high="sticky", span_s=case.sweeps.span_s, evidence=evidence
    )
