"""Does it move at all? The sensor reads something sensible, current flows, and nothing follows."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured

MOVES = ("movement", "Movement while driven", "% of travel")
SHUT_PERCENT = 15.0
HARD, LONG_S = 2.0, 0.1
"""Where the profile has no breakaway current: so many times the least current of a good part's stall; and
for so long it has to flow (judgement)."""

QUESTION = Question(needs="sensor", group="Travel and rest", keys=(MOVES[0],), anyhow=(MOVES[0],))


def pushed_hard(case: MovingCase) -> bool:
    """True when somebody else's recording shows it move, or more current than breaks any good part loose."""
    if any(track.alive for track in case.tracks.values()):
        return True
    upper = case.limits("breakaway_open")[1] or HARD * (case.limits("stall_current")[0] or math.inf)
    current_a = np.abs(np.asarray(case.run.samples["current_a"], float) - case.zero_a)
    return int((current_a > upper).sum()) * case.period_s > LONG_S


def find(case: MovingCase) -> list[Finding]:
    """Return how far the position sensor moved in the whole run, % of nominal travel.

    A track at ground or at the feed says nothing about the part; one that reads a place within the travel and
    stays there, while current flows, says that the part is stuck.
    """
    live = [track for track in case.tracks.values() if not track.rail]
    if not case.drives_current:
        return [case.missing(*MOVES, "no current flowed, so nothing can have moved")]
    if not live:
        return [case.missing(*MOVES, "no track reads a place within the travel")]
    if not case.pushed_open:
        return [case.missing(*MOVES, case.WHY_NOT_OPEN)]
    if case.by_samples and not pushed_hard(case):
        return [case.missing(*MOVES, "the recording does not show it pushed hard enough to move any part")]
    best = max(live, key=lambda track: track.swing)
    where = (float(np.median(best.volts)) - best.layout.closed_v) / best.nominal_span_v * 100
    gain = case.accuracy(f"sensor_{best.name}_v", "gain")
    u = math.hypot(gain * best.swing, best.noise_v / abs(best.nominal_span_v)) * 100
    fault = "stuck_shut" if where < SHUT_PERCENT else "stuck_open"
    return [
        case.finding(
            *MOVES[:2], Measured(best.swing * 100, u), MOVES[2], low=fault,
            evidence={"track": best.name},
        )
    ]  # fmt: skip
