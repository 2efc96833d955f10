"""A recording that lacks channels, or followed no procedure: which questions that leaves open, and why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import RunData
from strokebench.data.samples import empty
from strokebench.diagnose.case import Case
from strokebench.diagnose.question import CHANNELS, Question

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
    found = {name for name, columns in there.items() if not all(_known(run, column) for column in columns)}
    if not any(_known(run, column) for column in ("sensor_a_v", "sensor_b_v")):
        found.add("sensor")
    return frozenset(found)


def _known(run: RunData, column: str) -> bool:
    return bool(np.isfinite(run.samples[column]).any())


def why_not(needs: str, case: Case, lacks: frozenset[str]) -> str:
    """Return in one sentence what of ``needs`` is lacking, empty if all is there."""
    needed = [
        channel for need in needs.split() for channel in ((need,) if need in CHANNELS else case.derived[need])
    ]
    missing = [CHANNELS[channel] for channel in needed if channel in lacks]
    if not missing:
        return ""
    first = ", no ".join(missing[:-1])
    return f"the recording holds no {first + ' and no ' if first else ''}{missing[-1]}"


def blank(run: RunData) -> RunData:
    """Return the run without anything recorded: a question asked of it names its findings and knows none."""
    return replace(run, samples=empty(), marks=[], bursts=[], events=[])


def explained(found: list[Finding], question: Question, case: Case, lacks: frozenset[str]) -> list[Finding]:
    """Return the findings; those without a value say which channel they lack."""
    out = []
    for finding in found:
        why = "" if finding.known else why_not(question.needs_of(finding.key), case, lacks)
        out.append(finding.without_value(why) if why else finding)
    return out


def doubtful(finding: Finding) -> Finding:
    """Return a finding out of its limits without them: nothing is judged by it; see :data:`UNLABELLED`."""
    below = finding.lower is not None and finding.value < finding.lower
    above = finding.upper is not None and finding.value > finding.upper
    if not (below or above):
        return finding
    return finding.with_(lower=None, upper=None, fault="", reason=UNLABELLED)
