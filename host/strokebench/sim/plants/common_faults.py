"""Defects that most plants know, declared once; what they do to a specimen stands with each plant."""

from __future__ import annotations

from strokebench.sim.faults import FaultKind

OPEN_WINDING = FaultKind("open_winding", "no current can flow", "no matter", 1, 1)
WEAK_BATTERY = FaultKind(
    "weak_battery",
    "a flat, worn battery",
    "1: at most 11.85 V, 0.18 ohm more; 2: 11.2 V, 0.36 ohm",
    1.0,
    2.0,
    largest=8.0,
)
