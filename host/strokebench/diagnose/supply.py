"""The supply: voltage at rest, lowest voltage, and the resistance of battery and supply leads."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, span_of
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Line, Measured, moving_mean, robust_line

REST = ("supply_rest", "Supply without load", "V")
LOWEST = ("supply_lowest", "Lowest supply under load", "V")
SOURCE = ("source_resistance", "Source resistance (battery, leads)", "mohm")
MEMORY = 10
CODE_V = 0.0004
"""Standard uncertainty of a small change of voltage: what is left of the converter's steps in a mean over
noise (a tenth of its code, judgement)."""
SHORT = 5
"""Samples of a mean where stretches of steady load are short."""
RIPPLE_S = 0.05
"""A mean over so long holds whole periods of 100 and 120 Hz, a charger's ripple."""
FEWEST = 50
LEAST_A = 0.3
"""A part that loads the supply less than this says nothing about it."""
STEPS_V = (3.16, 9.49, 15.81)
"""Bus volts at which the Pico's converter has a jump within the range of use (RP2040 datasheet, erratum
E11: codes 512, 1536, 2560; 25.3 V full scale). A small change of voltage across one of them cannot be
trusted."""
SLOPE_SHARE = 0.01
"""Relative error of a small change away from the jumps: ten codes over the 1024 between two of them."""

QUESTION = Question(
    needs="supply",
    group="Supply and winding",
    keys=(REST[0], LOWEST[0], SOURCE[0]),
    needs_by_key={SOURCE[0]: "supply drive current"},
    not_of_part=(REST[0], LOWEST[0], SOURCE[0]),
)


def find(case: Case) -> list[Finding]:
    """Return rest voltage, lowest voltage (10 ms mean), and source resistance.

    The bridge takes drive x current from the supply (mean over PWM periods), so the slope of supply voltage
    against that product is the resistance before the bridge. The part's own leads lie behind the bridge and
    do not enter: a weak battery and a bad lead to the part are told apart.
    """
    samples = case.run.samples
    if len(samples) < 200 or not np.isfinite(samples["supply_v"]).any():
        return [
            case.missing(*quantity, "the recording holds no supply voltage")
            for quantity in (REST, LOWEST, SOURCE)
        ]
    offset, gain = case.accuracy("supply_v", "offset"), case.accuracy("supply_v", "gain")
    resting = list(case.samples(labels.REST))
    out = []
    if resting:
        rest_v = float(np.median(resting[0]["supply_v"]))
        measured = Measured(rest_v, math.hypot(offset, gain * rest_v))
        out.append(case.finding(*REST[:2], measured, REST[2], low="weak_battery", span_s=span_of(resting[0])))
    else:
        out.append(case.missing(*REST, "the procedure has no rest before the first drive"))
    smooth = moving_mean(np.asarray(samples["supply_v"], float), 11)
    at = int(np.nanargmin(smooth))
    time_s = float(samples["time_s"][at])
    lowest = Measured(float(smooth[at]), math.hypot(offset, gain * float(smooth[at])))
    out.append(
        case.finding(
            *LOWEST[:2], lowest, LOWEST[2], low="weak_battery", span_s=(time_s - 0.05, time_s + 0.05)
        )
    )
    return [*out, _source(case)]


def _loading(case: Case, window: int) -> tuple[Floats, Floats, NDArray[np.intp]]:
    """Current from the supply and its volts, means over ``window`` samples, and the rows in whose whole
    window the part loads it steadily."""
    samples = case.run.samples
    taken_a = np.asarray(samples["drive"] * samples["current_a"], float)
    supply_v = moving_mean(np.asarray(samples["supply_v"], float), window)
    short_a = moving_mean(taken_a, SHORT)
    steady = (np.abs(np.gradient(short_a)) < 0.05) & (short_a > 0.1) & np.isfinite(supply_v)
    if window > SHORT:
        steady = moving_mean(steady.astype(float), window) > 1 - 0.5 / window
    return moving_mean(taken_a, window), supply_v, np.flatnonzero(steady)[:: max(window // 5, SHORT)]


def _source(case: Case) -> Finding:
    """Slope of the supply's volts over the current taken from it: by means over whole periods of a charger's
    ripple, or over less where the part loads the supply too briefly for that; whichever is less uncertain."""
    whole = max(SHORT, round(RIPPLE_S / float(np.median(np.diff(case.run.samples["time_s"])))))
    tried = [fit for window in (SHORT, whole) if (fit := _fitted(case, window)) is not None]
    if not tried:
        return case.missing(*SOURCE, "the part took too little current to load the supply")
    found, u, when = min(tried, key=lambda fit: fit[1])
    return case.finding(
        *SOURCE[:2], Measured(-1e3 * found.slope, 1e3 * u), SOURCE[2], high="weak_battery",
        span_s=when, evidence={"open_circuit_v": found.offset},
    )  # fmt: skip


def _fitted(case: Case, window: int) -> tuple[Line, float, tuple[float, float]] | None:
    """The line through means over ``window`` samples, the slope's u in ohm, and its stretch of the recording;
    None where the supply was hardly loaded."""
    input_a, supply_v, keep = _loading(case, window)
    reach_a = float(np.ptp(input_a[keep])) if len(keep) else 0.0
    if len(keep) < FEWEST or reach_a < LEAST_A:
        return None
    found = robust_line(input_a[keep], supply_v[keep])
    gain = math.hypot(case.accuracy("supply_v", "gain"), case.accuracy("current_a", "gain"))
    low_v, high_v = np.percentile(supply_v[keep], (0.5, 99.5))
    jumps = any(low_v < step_v < high_v for step_v in STEPS_V)
    jump_v = case.budget.channel_of("supply_v", 0.0).linearity if jumps else 0.0
    curve = math.hypot(SLOPE_SHARE * found.slope, math.hypot(jump_v, CODE_V) / reach_a)
    u = math.hypot(found.u_slope * math.sqrt(MEMORY), gain * found.slope, curve)
    times = case.run.samples["time_s"][keep]
    return found, u, (float(times[0]), float(times[-1]))
