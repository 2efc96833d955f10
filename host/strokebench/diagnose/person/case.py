"""A case in which a person's answers stand beside the measurement: each with its moment."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from strokebench.diagnose.case import Case
from strokebench.diagnose.stats import Measured
from strokebench.parts.guide import STALL_SHARE

WINDOW_S = 0.2
"""What was measured at an answer is the mean of so long before it."""


@dataclass(frozen=True)
class GuidedCase(Case):
    """Run and profile of a guided procedure."""

    @property
    def guide(self) -> Any:
        """The guided procedure as the profile carries it (:class:`strokebench.parts.guide.Guide`)."""
        return getattr(self.profile, "guided", None)

    @cached_property
    def answers(self) -> dict[str, dict[str, Any]]:
        """Answers by step, in order of time."""
        return {str(answer["step"]): answer for answer in self.run.info.get("answers") or []}

    def measured(self, what: str, step: str) -> Measured | None:
        """Return a quantity at the answer of a step, None where it cannot be known."""
        if what == "moved_percent":
            first = self.guide.steps[0].id
            here, there = self.measured("position_percent", step), self.measured("position_percent", first)
            if here is None or there is None:
                return None
            return Measured(here.value - there.value, math.hypot(here.u, there.u))
        if step not in self.answers:
            return None
        at_s = float(self.answers[step]["time_s"])
        rows = self.between(at_s - WINDOW_S, at_s + 0.001)
        if len(rows) < 20:
            return None
        if what == "push_percent":
            return self._push(rows)
        if what == "current_a":
            amps = float(np.mean(rows["current_a"]))
            return Measured(amps, self._u("current_a", amps))
        return self._position(rows["sensor_a_v"])

    def _push(self, rows: Any) -> Measured:
        """How hard the part was driven, % of what the test may; see ``guided.model``."""
        limits: Any = getattr(self.profile, "limits", None)
        drive, amps = float(np.mean(rows["drive"])), abs(float(np.mean(rows["current_a"])))
        shares = (abs(drive) / limits.drive_max, amps / (STALL_SHARE * limits.stall_a))
        return Measured(100 * max(shares), 100 * self._u("current_a", amps) / limits.stall_a)

    def _position(self, volts: Any) -> Measured | None:
        track = self.profile.tracks.get("a")
        if track is None or not np.isfinite(volts).all():
            return None
        span_v, mean_v = track.open_v - track.closed_v, float(np.mean(volts))
        u_v = math.hypot(self._u("sensor_a_v", mean_v), float(np.std(volts)) / math.sqrt(len(volts)))
        return Measured(100 * (mean_v - track.closed_v) / span_v, 100 * u_v / abs(span_v))

    def _u(self, channel: str, value: float) -> float:
        return math.hypot(self.accuracy(channel, "offset"), self.accuracy(channel, "gain") * value)

    def highest(self, what: str, steps: list[str]) -> Measured | None:
        """Return the highest of a quantity over the steps that were answered."""
        found = [measured for step in steps if (measured := self.measured(what, step)) is not None]
        return max(found, key=lambda measured: measured.value) if found else None
