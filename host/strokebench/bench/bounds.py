"""How much a run can come to at most. Whatever sends more is not the bench that this program knows."""

from __future__ import annotations

from dataclasses import dataclass

from strokefw import state

from strokebench.data.samples import TICK_S
from strokebench.errors import LinkError

MARGIN_S = 10.0
"""Beyond the plan: the way down, what streams after it, a computer that comes late."""
STOP_S = 6.0
"""A bench told to stop has ended the run by then: its ramp takes 2 s at most, the rest is the computer's."""
MORE_EVENTS = 500
EVENTS_A_SEGMENT = 8
"""Begin, watch, capture, warnings that come and go."""


@dataclass
class Bounds:
    """Counts what a run has brought; ``planned_s`` and ``segments`` are of its procedure.

    Each method raises :class:`LinkError` when it has become too much.
    """

    planned_s: float
    segments: int
    rows: int = 0
    events: int = 0
    bursts: int = 0

    @property
    def longest_s(self) -> float:
        """When it must have ended, on the bench's clock and on ours."""
        return self.planned_s * 1.02 + MARGIN_S

    def add_rows(self, count: int, last_s: float, lost: int) -> None:
        """Count rows that reach to ``last_s``, with ``lost`` rows missed so far."""
        self.rows += count
        if self.rows + lost > self.longest_s / TICK_S or not -1.0 <= last_s <= self.longest_s:
            raise _too_much("samples than its procedure is long")

    def add_event(self) -> None:
        """Count an event."""
        self.events += 1
        if self.events > self.segments * EVENTS_A_SEGMENT + MORE_EVENTS:
            raise _too_much("events than such a run can have")

    def add_burst(self) -> None:
        """Count a fast capture that begins."""
        self.bursts += 1
        if self.bursts > self.segments + 1:
            raise _too_much("fast captures than its procedure has segments")

    def look_at_clock(self, run_s: float, stopping_s: float) -> None:
        """Give up when the run lasts for ``run_s``, or its stop for ``stopping_s`` (0: none is asked for)."""
        if run_s > self.longest_s:
            raise LinkError(
                f"The run has not ended {MARGIN_S:.0f} s after its time.",
                "The part was stopped. Unplug the bench, plug it in again; check it with the self-test.",
            )
        if stopping_s > STOP_S:
            raise LinkError(
                f"The bench did not end the run within {STOP_S:.0f} s of the command to stop.",
                "Use the stop button, or take the supply off.",
            )


def _too_much(what: str) -> LinkError:
    return LinkError(
        f"The bench sent more {what}.", "The part was stopped. Use firmware and program of the same release."
    )


def behind(expected: int, first: int) -> bool:
    """Tell whether a running number is one that was passed already, across the counter's wrap."""
    passed = (expected - first) & state.TICK_MASK
    return bool(0 < passed <= state.TICK_MASK // 2)
