"""What the current alone tells of a part that somebody just switched on: drive and volts unknown.

Only what does not depend on the volts keeps its limits: shares of the current. The rest is told without
limits, which are made for the bench's own procedure at a known drive.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.question import Finder
from strokebench.diagnose.stats import Measured
from strokebench.diagnose.switched import rotor
from strokebench.diagnose.switched.held import HELD_TITLE
from strokebench.diagnose.turning.rotors import ROTORS
from strokebench.diagnose.winding import CONTINUITY

BATTERY_V, LONG_S = 9.0, 0.1
"""Volts across a part, and for how long, from which on current has to flow through any good one."""
CLAMP_ZERO_A = 0.05
"""Standard uncertainty of the zero of somebody's clamp that shows nothing but zero (judgement)."""
NO_SWITCH = "the current never rises out of its noise, so nothing was seen to be switched on"


def find_alone(case: Case, finders: Iterable[Finder]) -> list[Finding]:
    """Return what the current alone tells by ``finders``; little where the run has no such marks."""
    if not any(True for _ in case.run.labelled(labels.SWITCHED_ON)):
        return _nothing(case)
    return [finding for finder in finders for finding in finder.find(case)]


def _nothing(case: Case) -> list[Finding]:
    """Of a recording without any stretch: that nothing was switched on; nothing where it has others."""
    foreign = case.run.info.get("engine") == "import" and not case.run.marks
    if not foreign or not np.isfinite(case.run.samples["current_a"]).any():
        return []
    key, title = rotor.FLOWS if case.profile.kind in ROTORS else (CONTINUITY, HELD_TITLE)
    driven = np.abs(load_voltage(case.run.samples)) > BATTERY_V
    if case.profile.kind in ROTORS and int(driven.sum()) * case.period_s > LONG_S:
        amps = float(np.percentile(np.abs(case.run.samples["current_a"][driven]), 95))
        u = case.accuracy("current_a", "offset") + CLAMP_ZERO_A
        return [case.finding(key, title, Measured(amps, u), "A", low="open_winding")]
    return [case.missing(key, title, "A", NO_SWITCH)]
