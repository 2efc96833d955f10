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

QUESTION = Question(
    needs="current",
    group="Wiring",
    keys=(FLOWS[0], TOTAL[0]),
    needs_by_key={TOTAL[0]: "current volts"},
)


def find(case: Case) -> list[Finding]:
    """Return the current of the hardest hold, and voltage over current there."""
    marks = [mark for label in (labels.FULL_LOAD, labels.LOAD) for mark in case.run.labelled(label)]
    rows = case.run.of(marks[0])[30:] if marks else None
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
