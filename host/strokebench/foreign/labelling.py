"""Stretches of a recording that has none: those of the procedure that it followed, else what its samples
show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from strokebench.data.run import Mark, RunData
from strokebench.foreign.moved import mark_by_motion
from strokebench.foreign.strokes import mark_by_strokes
from strokebench.foreign.switched import mark_by_current
from strokebench.parts.procedure import Planned, Procedure
from strokebench.parts.profile import Profile

MOVED = 0.005
"""Drive above this counts as driven."""
ALIKE = 0.05
"""Largest mean difference of drive between recording and plan that still counts as the same procedure."""


def find_stretches(run: RunData, profile: Profile) -> RunData:
    """Return ``run`` with the stretches by which it can be judged, found in this order: its own or those of
    the part's procedure; how a part was moved; where it was switched on and off."""
    found = label_by_procedure(run, profile.procedure)
    if not found.marks:
        return mark_by_current(mark_by_strokes(mark_by_motion(found, profile), profile))
    known = found.samples[["drive", "output_a_v"]]
    if any(known[name][0] != known[name][0] for name in known.dtype.names or ()):
        return mark_by_current(found)
    return found


def label_by_procedure(run: RunData, procedure: Procedure) -> RunData:
    """Return ``run`` with marks when its drive follows ``procedure``; unchanged if it has some or does not.

    The two are aligned where the drive first leaves zero, so the recording may begin earlier or later.
    """
    driven = np.flatnonzero(np.abs(run.samples["drive"]) > MOVED)
    if run.marks or not len(driven):
        return run
    plan = procedure.plan()
    times, drives = _outline(plan)
    first = np.flatnonzero(np.abs(drives) > MOVED)
    if not len(first):
        return run
    start_s = _crossing(times, drives, int(first[0]))
    shift_s = float(run.samples["time_s"][driven[0]]) - start_s
    expected = np.interp(run.samples["time_s"] - shift_s, times, drives)
    if float(np.mean(np.abs(expected - run.samples["drive"]))) > ALIKE:
        return run
    return replace(run, marks=_marks(plan, shift_s))


def _outline(plan: list[Planned]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return times and drives of the plan's corners."""
    times, drives, now_s, drive = [0.0], [0.0], 0.0, 0.0
    for segment in plan:
        if segment.kind != "ramp":
            times.append(now_s + 1e-6)
            drives.append(segment.target)
        now_s += segment.duration_s
        drive = segment.drive_after
        times.append(now_s)
        drives.append(drive)
    return np.array(times), np.array(drives)


def _crossing(times: NDArray[np.float64], drives: NDArray[np.float64], corner: int) -> float:
    """Return when the outline passes MOVED on its way to ``corner``."""
    if corner == 0:
        return float(times[0])
    before, after = abs(drives[corner - 1]), abs(drives[corner])
    part = (MOVED - before) / (after - before) if after > before else 0.0
    return float(times[corner - 1] + part * (times[corner] - times[corner - 1]))


def _marks(plan: list[Planned], start_s: float) -> list[Mark]:
    marks = []
    for index, segment in enumerate(plan):
        end_s = start_s + segment.duration_s
        marks.append(Mark(segment.label, start_s, end_s, index, segment.kind))
        start_s = end_s
    return marks
