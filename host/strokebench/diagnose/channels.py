"""A recording that lacks channels, or followed no procedure: which questions that leaves open, and why."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.data.samples import empty
from strokebench.diagnose import switch_labels
from strokebench.diagnose.expects import PartProfile

NAMES = {
    "current": "current", "drive": "drive", "volts": "output volts", "supply": "supply voltage",
    "sensor": "position sensor", "far": "voltage at the far ends",
}  # fmt: skip
"""Channel -> its name in a sentence."""

_MOVES = "current drive sensor"
NEEDS = {
    "supply": "supply", "winding": "current", "ripple": "current volts supply drive",
    "inductor": "current volts", "motor": "current volts sensor", "stuck": "sensor", "travel": "sensor",
    "rest": "sensor", "response": "sensor", "breakaway": _MOVES, "friction": _MOVES, "spring": _MOVES,
    "binding": _MOVES,
    "seat": _MOVES, "duty_curve": _MOVES, "strokes": "current volts", "wiring": "current volts far",
    "flows": "current", "running": "current volts", "loop": "current volts", "load": "current volts",
    "turns": "current volts", "inrush": "current", "pump_alone": "current volts far",
    "pull": "current volts", "pull_time": "current volts",
}  # fmt: skip
"""Module of a question -> channels without which it can tell nothing."""
NEEDS_BY_KEY = {
    "source_resistance": "supply drive current", "winding_resistance": "current volts",
    "wire_load": "current volts",
}  # fmt: skip
"""Findings that need more than the rest of their module."""
BY_MOTOR_VOLTS = {("idle_actuator", "binding"): "current volts"}
"""Where the position is worked out from the volts."""

UNLABELLED = "out of its limits, but without a procedure the part may not have been driven as far as they ask"


def lacking(run: RunData) -> frozenset[str]:
    """Return the channels that a recording does not hold; none of an empty one."""
    rows = run.samples
    if not len(rows):
        return frozenset()
    there = {
        "current": ("current_a",), "drive": ("drive",), "volts": ("output_a_v", "output_b_v"),
        "supply": ("supply_v",), "far": ("sensor_a_v", "sensor_b_v"),
    }  # fmt: skip
    found = {name for name, columns in there.items() if not all(_known(run, one) for one in columns)}
    if not any(_known(run, one) for one in ("sensor_a_v", "sensor_b_v")):
        found.add("sensor")
    return frozenset(found)


def _known(run: RunData, column: str) -> bool:
    return bool(np.isfinite(run.samples[column]).any())


def why_not(profile: PartProfile, module: str, key: str, lacks: frozenset[str]) -> str:
    """Return in one sentence what a question lacks, empty if it has all; ``key`` empty: the whole module."""
    needed = BY_MOTOR_VOLTS.get((profile.kind, module), NEEDS.get(module, ""))
    if key:
        needed = NEEDS_BY_KEY.get(key, needed)
    missing = [NAMES[one] for one in needed.split() if one in lacks]
    if not missing:
        return ""
    first = ", no ".join(missing[:-1])
    return f"the recording holds no {first + ' and no ' if first else ''}{missing[-1]}"


def blank(run: RunData) -> RunData:
    """Return the run without anything recorded: a question asked of it names its findings and knows none."""
    return replace(run, samples=empty(), marks=[], bursts=[], events=[])


def explained(
    found: list[Finding], profile: PartProfile, module: str, lacks: frozenset[str]
) -> list[Finding]:
    """Return the findings; those without a value say which channel they lack."""
    out = []
    for one in found:
        why = "" if one.known else why_not(profile, module, one.key, lacks)
        out.append(one.with_(reason=why, value=math.nan, u=math.nan) if why else one)
    return out


def followed_procedure(run: RunData) -> bool:
    """Return True when the recording's stretches are those of a procedure, or when it is the bench's own."""
    ours = {switch_labels.SWITCHED_ON, switch_labels.STEADY, switch_labels.SWITCHED_OFF, switch_labels.REST}
    return any(mark.label not in ours for mark in run.marks) or run.info.get("engine") != "import"


def doubtful(finding: Finding) -> Finding:
    """Return a finding out of its limits as one that is not judged; see :data:`UNLABELLED`."""
    below = finding.lower is not None and finding.value < finding.lower
    above = finding.upper is not None and finding.value > finding.upper
    if not (below or above):
        return finding
    return finding.with_(lower=None, upper=None, fault="", reason=UNLABELLED)
