"""Winding and lead resistance, and whether any current flows at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage, span_of
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, moving_mean
from strokebench.physics.copper import COPPER_K_C, resistance_ratio

REFERENCE_C = 20.0
STILL_SHARE = 0.03
"""A hold counts from where the current stays within this share of its end: then nothing moves (no
back-EMF)."""
SHORTEST = 80
"""Settled samples a hold must have."""
MEMORY = 10
"""Neighbouring samples share converter steps; the fit's own uncertainty is widened by the root of this."""
CONTINUITY = "stall_current"
HELD = (labels.STALL_CLOSE, labels.STALL_OPEN, labels.COIL_LEVEL)
HARD_ENOUGH, LONG_ENOUGH_S = 1.3, 0.1
"""Volts that would drive so many times the least current through the highest good resistance, for so long."""
ONCE_A, BRUSHES_V, BRUSHES_U_V = 0.5, 0.5, 0.25
"""A single hold: least current as a share of a good part's least, and what a small motor's brushes take
with its uncertainty (common practice)."""
NO_HOLD = "the procedure has no hold in which nothing moves"
RESISTANCE = ("winding_resistance", "Winding resistance at 20 °C", "ohm")

QUESTION = Question(
    needs="current",
    group="Supply and winding",
    keys=(CONTINUITY, RESISTANCE[0]),
    needs_by_key={RESISTANCE[0]: "current volts"},
    anyhow=(CONTINUITY, RESISTANCE[0]),
)


@dataclass(frozen=True)
class Loop:
    """Fit over all stalls: resistance of winding and leads at the start, its u, brush drop, temperature
    there."""

    ohm: float
    u_ohm: float
    brush_v: float
    per_a2s: float
    start_c: float
    u_start_c: float
    levels: int


def find(case: Case) -> list[Finding]:
    """Return the current at the hardest stall, and the winding's resistance referred to 20 C.

    **Resistance**: the cold winding's, with what leads and contacts have beyond the leads that the profile
    states; the slope of volts over current, so a contact drop that does not grow with the current is left
    out.

    Of a motor that tells where it stands: from the balance of volts over the whole run
    (:mod:`strokebench.diagnose.moving.fit.electric`). Else the slope of leg voltage difference against
    current over all holds and both polarities, with a constant drop that changes sign with the current
    (brushes) and a rise with the A2s put in so far (self-heating), so the value is that of the cold winding.
    Ordinary least squares will do: the noise of the current (milliamperes) is so small against its spread
    (amperes) that total least squares gives the same slope. Copper by IEC 60228 practice (k = 234.5), leads
    taken off.
    """
    holds = stalls(case)
    when = span_of(*holds)
    hardest = [float(np.median(np.abs(hold["current_a"]))) for hold in holds]
    if case.by_samples:
        out = [_flows(case)]
    elif hardest:
        flowing = Measured(max(hardest), _u_current(case, max(hardest)))
        out = [case.finding(CONTINUITY, case.holds_title, flowing, "A", low="open_winding", span_s=when)]
    else:
        out = [case.missing(CONTINUITY, case.holds_title, "A", NO_HOLD)]
    loop = loop_of(case)
    if isinstance(loop, str):
        return [*out, case.missing(*RESISTANCE, loop)]
    lead_ohm = case.profile.nominal.get("lead_ohm", 0.0)
    ratio = resistance_ratio(loop.start_c, REFERENCE_C)
    winding = (loop.ohm - lead_ohm) * ratio
    u_temperature = winding * loop.u_start_c / (COPPER_K_C + loop.start_c)
    measured = Measured(winding, loop.u_ohm * ratio, loop.levels).widened(u_temperature)
    finding = case.finding(
        *RESISTANCE[:2], measured, RESISTANCE[2], low="shorted_turns", high="lead_resistance", span_s=when,
        evidence={"loop_ohm": loop.ohm, "at_c": loop.start_c, "brush_v": loop.brush_v, "levels": loop.levels},
    )  # fmt: skip
    return [*out, finding]


def _flows(case: Case) -> Finding:
    """The most current in somebody else's recording, judged where its volts would drive enough through any
    good part."""
    least, most_ohm = case.limits(CONTINUITY)[0], case.limits(RESISTANCE[0])[1]
    amps = np.abs(np.asarray(case.run.samples["current_a"], float) - case.zero_a)
    volts = np.abs(load_voltage(case.run.samples))
    if least is None or most_ohm is None or not np.isfinite(volts).any():
        return case.missing(CONTINUITY, case.holds_title, "A", NO_HOLD)
    driven = volts > HARD_ENOUGH * least * most_ohm
    if int(driven.sum()) * case.period_s < LONG_ENOUGH_S:
        return case.missing(CONTINUITY, case.holds_title, "A", "its volts never drove it hard enough")
    flows = float(np.percentile(amps[driven], 95))
    measured = Measured(flows, _u_current(case, flows))
    return case.finding(CONTINUITY, case.holds_title, measured, "A", low="open_winding")


def _u_current(case: Case, current_a: float) -> float:
    """Standard uncertainty of a current at the terminals, amperes; beyond the fine range the coarse one's."""
    u = math.hypot(case.accuracy("current_a", "offset"), case.accuracy("current_a", "gain") * current_a)
    coarse = case.budget.channel_of("current_a", current_a)
    return u if current_a <= case.budget.fine_limit_a else math.hypot(u, coarse.linearity, coarse.offset)


class Looped(Protocol):
    """A case whose kind has its own way to the resistance."""

    @property
    def loop(self) -> Loop | str: ...


def loop_of(case: Case | Looped) -> Loop | str:
    """Return resistance of winding and leads in the way of the case's kind, or why it is not known."""
    return case.loop if hasattr(case, "loop") else fit_loop(case)


def stalls(case: Case) -> list[Samples]:
    """Return the settled part of every hold against a stop, or of a coil, in order of time."""
    found = []
    for label in HELD:
        for mark in case.stretches(label):
            rows = settled(case.of(mark))
            if len(rows) >= SHORTEST:
                found.append(rows)
    return sorted(found, key=lambda rows: float(rows["time_s"][0]))


def settled(rows: Samples) -> Samples:
    """Return the tail of a hold in which the current has come to its end value (a view)."""
    if len(rows) < SHORTEST:
        return rows
    current_a = moving_mean(np.asarray(rows["current_a"], float), 5)
    end_a = float(np.median(current_a[-30:]))
    moving = np.abs(current_a - end_a) > max(STILL_SHARE * abs(end_a), 0.02)
    return rows[int(np.flatnonzero(moving)[-1]) + 1 :] if moving.any() else rows


def fit_loop(case: Case) -> Loop | str:
    """Return the fit, or the reason in one sentence why there is none."""
    holds = stalls(case)
    if not holds:
        return NO_HOLD
    if case.by_samples:
        return once(case, holds, BRUSHES_V, BRUSHES_U_V)
    if len({_level(hold) for hold in holds}) < 3:
        return f"{len(holds)} stalls at too few different drives, 3 levels at least are needed"
    current_a = np.concatenate([hold["current_a"] for hold in holds]) - case.zero_a
    volts = np.concatenate([load_voltage(hold) for hold in holds])
    if not np.isfinite(volts).all():
        return "the recording holds no output volts"
    noise_a = max(0.1, 8 * case.accuracy("current_a", "offset"))
    if np.median(np.abs(current_a)) < noise_a or np.ptp(np.abs(current_a)) < noise_a:
        return "no current flows that a resistance could be worked out from"
    start_s = float(holds[0]["time_s"][0])
    heat = np.interp(np.concatenate([hold["time_s"] for hold in holds]), *_heat(case, start_s))
    return _solve(case, current_a, volts, heat, start_s, len(holds))


def once(case: Case, holds: list[Samples], drop_v: float, u_drop_v: float) -> Loop | str:
    """Resistance from the hardest hold of somebody else's recording; ``drop_v``: what its brushes take."""
    hold = max(holds, key=lambda rows: float(np.median(np.abs(rows["current_a"]))))
    amps = abs(float(np.median(hold["current_a"])) - case.zero_a)
    volts = abs(float(np.median(load_voltage(hold))))
    if not math.isfinite(volts):
        return "the recording holds no output volts"
    if amps < ONCE_A * (case.limits(CONTINUITY)[0] or 1.0):
        return "no current flows that a resistance could be worked out from"
    ohm = (volts - drop_v) / amps
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    start_c, u_c = temperature(case, float(hold["time_s"][0]))
    return Loop(ohm, math.hypot(u_drop_v / amps, gain * ohm), drop_v, 0.0, start_c, u_c, 1)


def _level(rows: Samples) -> float:
    """Drive of a hold; where it is not known, its volts tell the levels apart (in steps of 0.1 V)."""
    drive = float(np.median(rows["drive"]))
    return round(drive if math.isfinite(drive) else float(np.median(load_voltage(rows))) / 10, 2)


def _heat(case: Case, start_s: float) -> tuple[Floats, Floats]:
    """Time and the A2s put in since ``start_s``."""
    samples = case.run.samples
    time_s = np.asarray(samples["time_s"], float)
    square = np.cumsum(np.nan_to_num(samples["current_a"]) ** 2 * np.gradient(time_s))
    return time_s, square - float(np.interp(start_s, time_s, square))


def _solve(case: Case, current_a: Floats, volts: Floats, heat: Floats, start_s: float, levels: int) -> Loop:
    both = np.ptp(np.sign(current_a)) > 0
    columns = [current_a, current_a * heat] + ([np.sign(current_a)] if both else [np.ones(len(current_a))])
    design = np.column_stack(columns)
    answer = np.linalg.lstsq(design, volts, rcond=None)[0]
    left = volts - design @ answer
    spread = float(np.sqrt(left @ left / max(len(volts) - 3, 1)))
    u_fit = spread * math.sqrt(np.linalg.inv(design.T @ design)[0, 0] * MEMORY)
    ohm, rise, brush_v = (float(term) for term in answer)
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    per_a2s = max(rise / ohm, 0.0)
    start_c, u_c = temperature(case, start_s)
    warmed = per_a2s * (COPPER_K_C + start_c) * -float(_heat(case, start_s)[1][0])
    u_start_c = math.hypot(u_c, warmed / math.sqrt(3))
    return Loop(ohm, math.hypot(u_fit, gain * ohm), brush_v, per_a2s, start_c, u_start_c, levels)


def temperature(case: Case, time_s: float) -> tuple[float, float]:
    """Temperature of the part at ``time_s`` and its u: its own sensor, else what the run notes as ambient."""
    part_c = case.between(time_s - 0.2, time_s + 0.2)["part_c"]
    if len(part_c) and np.isfinite(part_c).any() and -45 < np.nanmedian(part_c) < 200:
        return float(np.nanmedian(part_c)), case.accuracy("part_c", "offset")
    ambient = case.run.info.get("ambient_c")
    if isinstance(ambient, (int, float)):
        return float(ambient), 2.0
    return 23.0, 6.0
