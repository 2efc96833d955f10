"""One run together with the profile it is judged by: what every finder is handed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from strokebench.bench.budget import Budget, budget_of
from strokebench.data.findings import Finding, unknown
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.expects import PartProfile
from strokebench.diagnose.stats import Floats, Measured

JOIN_S = 0.005
"""What follows a ramp under the same label and within this time belongs to it."""


@dataclass(frozen=True)
class Case:
    """A run and the profile it is judged by. ``stretches`` and ``samples`` are how finders reach the
    recording."""

    derived: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    """What such a case works out, and the channels that it takes."""

    holds_title: ClassVar[str] = "Stall current at the hardest drive"

    run: RunData
    profile: PartProfile

    @property
    def wrong_way(self) -> str:
        """What is wired the wrong way round, empty when nothing is or it cannot be seen."""
        return ""

    @cached_property
    def by_samples(self) -> bool:
        """True for somebody else's recording that followed no procedure: its stretches, if it has any, were
        found in the samples."""
        return not followed_procedure(self.run)

    @property
    def fewest(self) -> int:
        """How often something has to be seen: 3 times in a procedure, which repeats it; else once, with the
        uncertainty that once allows."""
        return 1 if self.by_samples else 3

    @cached_property
    def period_s(self) -> float:
        """Time from row to row, seconds, without the last digits' noise; NaN without rows."""
        return round(float(np.median(np.diff(self.time_s))), 7) if len(self.time_s) > 1 else math.nan

    @cached_property
    def time_s(self) -> Floats:
        """Time of all samples, contiguous: searching a column of the samples would copy it each time."""
        return np.ascontiguousarray(self.run.samples["time_s"])

    def window(self, start_s: float, end_s: float) -> slice:
        """Return where the samples with ``start_s <= time_s < end_s`` are."""
        low, high = np.searchsorted(self.time_s, (start_s, end_s))
        return slice(int(low), int(high))

    def between(self, start_s: float, end_s: float) -> Samples:
        """Return the samples with ``start_s <= time_s < end_s`` (a view)."""
        return self.run.samples[self.window(start_s, end_s)]

    def of(self, mark: Mark) -> Samples:
        """Return the samples of one mark (a view)."""
        return self.between(mark.start_s, mark.end_s)

    def stretches(self, label: str) -> list[Mark]:
        """Return the stretches called ``label`` in order of time; a ramp and what follows it directly are
        one. One whose rows are all lost is left out."""
        joined: list[Mark] = []
        for mark in self.run.labelled(label):
            if joined and mark.start_s - joined[-1].end_s < JOIN_S and joined[-1].kind == "ramp":
                joined[-1] = Mark(label, joined[-1].start_s, mark.end_s, joined[-1].index, mark.kind)
            else:
                joined.append(mark)
        return [mark for mark in joined if len(self.of(mark))]

    def samples(self, label: str) -> Iterator[Samples]:
        """Yield the samples of each stretch called ``label`` that has at least 10 of them."""
        for mark in self.stretches(label):
            rows = self.of(mark)
            if len(rows) >= 10:
                yield rows

    @cached_property
    def zero_a(self) -> float:
        """What the current reads while the bridge is off, amperes; 0 without a rest."""
        resting = [rows["current_a"] for rows in self.samples(labels.REST)]
        return float(np.median(np.concatenate(resting))) if resting else 0.0

    @property
    def u_zero_a(self) -> float:
        """What is left of the current's offset with its zero taken off, amperes: the range's curvature."""
        offset_a = self.accuracy("current_a", "offset")
        known = any(True for _ in self.samples(labels.REST))
        return min(self.budget.channel_of("current_a", 0.0).linearity, offset_a) if known else offset_a

    @property
    def budget(self) -> Budget:
        """What the run's bench is good for without a calibration."""
        return budget_of(self.run.info)

    def accuracy(self, channel: str, what: str) -> float:
        """Return one standard uncertainty (``offset``, ``gain`` or ``noise``) of a sample column.

        The run's own where it brings them; else those of its bench, uncalibrated
        (:mod:`strokebench.bench.budget`), linearity counted with the offset. Current is taken as measured in
        the fine range.
        """
        own = self.run.accuracy.get(channel, {})
        if what in own:
            return float(own[what])
        default = self.budget.channel_of(channel, 0.0)
        if what == "offset":
            return math.hypot(default.offset, default.linearity)
        return default.gain if what == "gain" else default.noise

    def finding(
        self, key: str, title: str, measured: Measured, unit: str, low: str = "", high: str = "", **more: Any
    ) -> Finding:
        """Return a finding with the profile's limits for ``key``.

        ``low`` and ``high`` name the defect that a value below or above the limits means.
        """
        lower, upper = self.limits(key)
        if not math.isfinite(measured.value):
            return self.missing(key, title, unit, "no value could be worked out from the recording", **more)
        fault = low if _nearer_low(measured.value, lower, upper) else high
        return Finding(key, title, measured.value, measured.u, unit, lower, upper, fault=fault, **more)

    def missing(self, key: str, title: str, unit: str, reason: str, **more: Any) -> Finding:
        """Return a finding without a value, with its limits and the reason."""
        lower, upper = self.limits(key)
        return unknown(key, title, unit, reason, lower=lower, upper=upper, **more)

    def limits(self, key: str) -> tuple[float | None, float | None]:
        """Return the profile's lower and upper limit of a finding, None where there is none."""
        limit = self.profile.findings.get(key)
        return (None, None) if limit is None else (limit.lower, limit.upper)


def followed_procedure(run: RunData) -> bool:
    """Return True when the recording's stretches are those of a procedure, or when it is the bench's own."""
    ours = {labels.SWITCHED_ON, labels.STEADY, labels.SWITCHED_OFF, labels.REST}
    found = (labels.FOUND, labels.FOUND_SHORT)
    stretches = (mark for mark in run.marks if mark.label not in ours and mark.kind not in found)
    return any(stretches) or run.info.get("engine") != "import"


def _nearer_low(value: float, lower: float | None, upper: float | None) -> bool:
    if lower is None or upper is None:
        return lower is not None
    return value < (lower + upper) / 2


def load_voltage(rows: Samples) -> Floats:
    """Return the mean voltage across the part's terminals at the bench, volts, positive opens."""
    return np.asarray(rows["output_a_v"] - rows["output_b_v"], float)


def span_of(*pieces: Samples) -> tuple[float, float] | None:
    """Return start and end in seconds of several pieces of a recording, None without samples."""
    filled = [rows for rows in pieces if len(rows)]
    if not filled:
        return None
    return (
        float(min(rows["time_s"][0] for rows in filled)),
        float(max(rows["time_s"][-1] for rows in filled)),
    )
