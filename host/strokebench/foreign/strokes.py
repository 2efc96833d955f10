"""Strokes of a motor without a sensor in somebody else's recording: volts one way until it stands.

Such a part tells by its volts and its current alone what it did: while it turns it takes little, at its stop
the volts over the winding's resistance.  The marks carry the labels of a procedure, as in
:mod:`strokebench.foreign.moved`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from strokebench.data.run import Mark, RunData
from strokebench.diagnose import labels
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.expects import PartProfile
from strokebench.diagnose.stats import Floats, moving_mean
from strokebench.diagnose.winding import RESISTANCE
from strokebench.foreign.moved import spans
from strokebench.foreign.switched import VOLTS

KIND = "idle_actuator"
DRIVEN_V, STROKE_S = 1.0, 0.05
"""Volts, and for how long, that are a stroke."""
STANDS_OHM = 1.8
"""Volts over current below so many times the highest good resistance: it stands. Turning, they are twice
that at least; behind a bad lead they are less than that."""
SAME, STANDS_S = 0.06, 0.05
"""It stands while volts over current stay within this share of their end, for so long at least."""
QUICK_S, UP = 0.06, 0.9
"""Volts that have come up to this share of their highest within so long are switched on, else turned up."""
SMOOTH = 5


def mark_by_strokes(run: RunData, profile: PartProfile) -> RunData:
    """Return ``run`` with marks where volts and current show strokes of a motor without a sensor; else
    unchanged."""
    rows = run.samples
    volts, amps = load_voltage(rows), np.asarray(rows["current_a"], float)
    most = profile.findings.get(RESISTANCE[0])
    if profile.kind != KIND or most is None or most.upper is None or len(rows) < 100:
        return run
    if not (np.isfinite(volts).all() and np.isfinite(amps).all()):
        return run
    period_s = float(np.median(np.diff(rows["time_s"])))
    ends_s = np.append(rows["time_s"], float(rows["time_s"][-1]) + period_s) - period_s / 2
    found = list(_strokes(volts, amps, period_s, STANDS_OHM * most.upper))
    marks = [
        Mark(label, float(ends_s[start]), float(ends_s[end]), len(run.marks) + n, labels.FOUND)
        for n, (label, start, end) in enumerate(sorted(found, key=lambda mark: mark[1]))
    ]
    return replace(run, marks=[*run.marks, *marks], accuracy={**VOLTS, **run.accuracy})


def _strokes(
    volts: Floats, amps: Floats, period_s: float, stands_ohm: float
) -> Iterator[tuple[str, int, int]]:
    """Yield label, first and last + 1 index of the rest, of each stroke from one stop to the other, and of
    each stand at a stop."""
    driven = [
        (start, end, way)
        for way in (1, -1)
        for start, end in spans(way * moving_mean(volts, SMOOTH) > DRIVEN_V)
        if (end - start) * period_s >= STROKE_S
    ]
    stood_at = 0
    first = min((start for start, _, _ in driven), default=0)
    if first * period_s >= STROKE_S:
        yield labels.REST, 0, first - SMOOTH
    for start, end, way in sorted(driven):
        stand = start + _stand(way * volts[start:end], way * amps[start:end], stands_ohm)
        stands = (end - stand) * period_s >= STANDS_S
        if stands and stood_at == -way:
            up = np.flatnonzero(way * volts[start:end] >= UP * float(np.max(way * volts[start:end])))
            quick = int(up[0]) * period_s < QUICK_S
            yield (_quick(way) if quick else _slow(way)), max(start - SMOOTH // 2, 0), end - SMOOTH
        if stands:
            yield (labels.STALL_OPEN if way > 0 else labels.STALL_CLOSE), stand, end - SMOOTH
        stood_at = way if stands else 0


def _quick(way: int) -> str:
    return labels.STROKE_OPEN if way > 0 else labels.STROKE_CLOSE


def _slow(way: int) -> str:
    return labels.SWEEP_OPEN if way > 0 else labels.SWEEP_RETURN


def _stand(volts: Floats, amps: Floats, stands_ohm: float) -> int:
    """From which index of a stroke on it stands until its end; its length when it does not."""
    ohm = moving_mean(volts, SMOOTH) / np.maximum(moving_mean(amps, SMOOTH), 1e-3)
    within = ohm[: -2 * SMOOTH]
    last = float(np.median(within[-8 * SMOOTH :]))
    if last > stands_ohm:
        return len(ohm)
    away = np.flatnonzero(np.abs(within - last) > SAME * last)
    return int(away[-1]) + 1 if len(away) else 0
