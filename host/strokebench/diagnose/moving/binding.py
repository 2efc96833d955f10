"""Binding: a place where it takes more current to pass than on either side of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.friction import friction_level
from strokebench.diagnose.moving.sweeps import GRID, Sweep
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, robust_line, running_median, spread

BINDING = ("binding", "Binding: excess at one place", "% of friction")
WINDOW = 15.0
"""Width in % of travel of the running median that stands for the ordinary friction around a place."""
SAME_PLACE = 1.5
"""Excesses within this many % of travel are at the same place."""
NEAR_CELLS = 10
SEEN_SHARE = 0.3
"""A direction counts when it shows at least this share of the excess."""
ONCE = 3.0
"""Times the uncertainty of a single pass (judgement: the largest of 200 noisy places is 3 sigma high)."""
NARROW_U = 0.05
"""Relative: a narrow spot is partly carried over by the plate's own inertia (judgement)."""

QUESTION = Question(needs="sweeps", group="Friction and spring", keys=(BINDING[0],), anyhow=(BINDING[0],))


@dataclass(frozen=True)
class Spot:
    """A place in % of travel, the excess there in amperes as it recurs, and in which directions (+1, -1)."""

    place: float
    excess_a: float
    directions: tuple[int, ...]


def find(case: MovingCase) -> list[Finding]:
    """Return the largest excess of current over its surroundings that recurs at one place, in % of the
    friction.

    Per sweep: excess = current against motion less a line (the spring) and the running median over 15 %,
    separately on either side of rest, where the spring changes sign. The second largest excess over all
    sweeps within +-1.5 % of travel counts, so it must recur in two sweeps at least. A sweep that ends before
    the stop adds what was pushed there. Noise: the robust spread of all excesses.
    """
    if case.position is None:
        return [case.missing(*BINDING, case.why_no_position)]
    passes = case.sweeps.passes
    least = case.fewest + 1 if case.fewest > 1 else 1
    if len(passes) < least:
        return [case.missing(*BINDING, f"only {len(passes)} slow sweeps, at least {least} needed")]
    table = np.array([excess(case, sweep) for sweep in passes])
    if not np.isfinite(table).any():
        return [case.missing(*BINDING, "the part did not move during the slow sweeps")]
    friction = friction_level(case)
    if friction is None:
        return [case.missing(*BINDING, "the friction beside it is not known")]
    spot = recurring(case, table)
    noise_a = spread(table[np.isfinite(table)])
    percent = 100 / friction.value
    u = math.hypot(noise_a * percent, spot.excess_a * percent * NARROW_U)
    if len(passes) == 1:
        u *= ONCE  # nothing shows that it recurs
    evidence = {"excess_a": spot.excess_a, "directions": list(spot.directions), "place_u": _place_u(case)}
    return [
        case.finding(
            *BINDING[:2], Measured(spot.excess_a * percent, u), BINDING[2], high="binding", place=spot.place,
            span_s=when_passed(case, spot.place), evidence=evidence,
        )
    ]  # fmt: skip


def excess(case: MovingCase, sweep: Sweep) -> Floats:
    """Current against the motion above its surroundings on GRID, amperes, NaN where not passed."""
    against = sweep.current_a * sweep.direction
    out = np.full(len(GRID), math.nan)
    for keep in (case.side(True, margin=1.5, stop=3.0), case.side(False, margin=1.5, stop=3.0)):
        if np.isfinite(against[keep]).sum() >= 5:
            out[keep] = _above_surroundings(against[keep])
    stuck = sweep.reach if sweep.direction > 0 else 100 - sweep.reach
    if stuck < case.sweep_reach(sweep.direction):
        _add_stuck(out, against, sweep)
    return out


def _above_surroundings(against: Floats) -> Floats:
    """Rest over a robust line (the spring), then over the running median of what the line leaves."""
    known = np.isfinite(against)
    places = np.arange(len(against), dtype=float)
    fitted = robust_line(places[known], against[known])
    left = against - fitted.slope * places - fitted.offset
    return left - running_median(left, int(WINDOW / (GRID[1] - GRID[0])))


def _add_stuck(out: Floats, against: Floats, sweep: Sweep) -> None:
    """Where a sweep ends before the stop, the whole push at its end is there and nothing moves."""
    at = int(np.argmin(np.abs(GRID - sweep.reach)))
    usual = float(np.nanmedian(against)) if np.isfinite(against).any() else 0.0
    out[at] = sweep.push_a * sweep.direction - usual


def recurring(case: MovingCase, table: Floats) -> Spot:
    """The place with the largest second-largest excess, shape of ``table`` (sweeps, len(GRID))."""
    reach = round(SAME_PLACE / (GRID[1] - GRID[0]))
    wide = np.array([_local_max(np.nan_to_num(row, nan=-np.inf), reach) for row in table])
    second = np.sort(wide, axis=0)[-min(2, len(wide))]
    best = float(second.max())
    at = int(np.median(np.flatnonzero(second >= best - 1e-12)))
    turns = np.array([sweep.direction for sweep in case.sweeps.passes])
    peaks = {turn: _peak(table[turns == turn], at) for turn in (1, -1) if (turns == turn).any()}
    seen = {turn: place for turn, (place, high) in peaks.items() if high >= SEEN_SHARE * best}
    place = float(np.mean(list(seen.values()))) if seen else float(GRID[at])
    return Spot(place, best, tuple(seen))


def _peak(rows: Floats, at: int) -> tuple[float, float]:
    """Place and height of the excess near GRID[at] in sweeps of one direction: centre of its upper half.

    Each direction alone shows it late, by the plate's inertia; the mean of both is where it is.
    """
    near = slice(max(0, at - NEAR_CELLS), at + NEAR_CELLS + 1)
    curve = np.median(np.nan_to_num(rows[:, near]), axis=0)
    high = float(curve.max())
    weight = np.clip(curve - 0.5 * high, 0, None)
    if high <= 0 or weight.sum() <= 0:
        return float(GRID[at]), 0.0
    return float(weight @ GRID[near] / weight.sum()), high


def _local_max(row: Floats, reach: int) -> Floats:
    padded = np.pad(row, reach, constant_values=-np.inf)
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(axis=1))


def _place_u(case: MovingCase) -> float:
    """Standard uncertainty of the place: grid step (rectangular) and position."""
    assert case.position is not None  # asked for only with a position
    return math.hypot((GRID[1] - GRID[0]) / math.sqrt(12), case.position.u_percent)


def when_passed(case: MovingCase, place: float) -> tuple[float, float] | None:
    """The stretch of the first sweep within +-2 % of travel around ``place``."""
    passes = case.sweeps.passes
    if case.position is None or not passes:
        return None
    time_s = case.run.samples["time_s"]
    near = (
        (np.abs(case.position.percent - place) < 2)
        & (time_s >= passes[0].start_s)
        & (time_s < passes[0].end_s)
    )
    hits = time_s[near]
    return (float(hits[0]), float(hits[-1])) if len(hits) else (passes[0].start_s, passes[0].end_s)
