"""Does the circuit carry current at all?"""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured

FLOWS = ("wire_current", "Current at the hardest load", "A")
TOTAL = ("wire_load", "Load and wiring together", "ohm")

FED_V, ARRIVES, LONG_S, CLAMP_ZERO_A = 9.0, 0.5, 0.1, 0.05
"""A wire is broken when so many volts are at its near end, and less than this share across its far ends, for
so long; standard uncertainty of the zero of a clamp that shows nothing but zero (judgement)."""

QUESTION = Question(
    needs="current",
    group="Wiring",
    keys=(FLOWS[0], TOTAL[0]),
    needs_by_key={TOTAL[0]: "current volts"},
    anyhow=(FLOWS[0],),
)


def find(case: Case) -> list[Finding]:
    """Return the current of the hardest hold, and voltage over current there."""
    marks = [mark for label in (labels.FULL_LOAD, labels.LOAD) for mark in case.run.labelled(label)]
    marks = marks or list(case.run.labelled(labels.STEADY))
    rows = case.run.of(marks[0])[30:] if marks else None
    if rows is None and case.by_samples and (found := _open(case)) is not None:
        return [found, case.missing(*TOTAL, "no current flowed")]
    if rows is None or len(rows) < 40:
        return [case.missing(*quantity, "the circuit was never loaded") for quantity in (FLOWS, TOTAL)]
    amps = float(np.median(rows["current_a"]))
    when = (float(rows["time_s"][0]), float(rows["time_s"][-1]))
    u = math.hypot(case.accuracy("current_a", "offset"), 0.01 * amps)
    if amps > case.budget.fine_limit_a:
        u = case.budget.channel_of("current_a", amps).u(amps, len(rows))
    found = case.finding(*FLOWS[:2], Measured(amps, u), FLOWS[2], low="open_wire", span_s=when)
    if amps < 0.1:
        return [found, case.missing(*TOTAL, "no current flowed")]
    ohm = float(np.median(load_voltage(rows))) / amps
    return [found, case.finding(*TOTAL[:2], Measured(ohm, ohm * u / amps), TOTAL[2], span_s=when)]


def _open(case: Case) -> Finding | None:
    """A broken wire in somebody else's recording: volts at the near end, none across the far ends, no
    current. With the far ends alive the load may just be off."""
    rows = case.run.samples
    fed_v = np.abs(load_voltage(rows))
    fed_v = np.abs(rows["output_a_v"]) if not np.isfinite(fed_v).any() else fed_v
    arrives_v = np.abs(rows["sensor_a_v"] - rows["sensor_b_v"])
    dead = (fed_v > FED_V) & (arrives_v < ARRIVES * fed_v)
    if int(dead.sum()) * case.period_s < LONG_S:
        return None
    amps = float(np.percentile(np.abs(rows["current_a"][dead]), 95))
    u = case.accuracy("current_a", "offset") + CLAMP_ZERO_A
    return case.finding(*FLOWS[:2], Measured(amps, u), FLOWS[2], low="open_wire")
