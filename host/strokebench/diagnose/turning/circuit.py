"""What a turning part's recording holds for its balance of volts: standstill, levels, releases, starts."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.stats import Floats, line
from strokebench.diagnose.turning.case import STANDS_V, Level, TurningCase
from strokebench.diagnose.turning.ranges import BENT_A
from strokebench.diagnose.turning.volts import CONSTANT, Balance, Rows, balance, coasting, driven, slowing

STILL_V, LEVEL_V = 0.003, 0.004
"""Standard uncertainty of a voltage against another: the converter's curvature, a share of a code."""
STILL_A = 0.003
STEPS_U = 0.002
"""Relative: what the steps of the chip's converter do to a current, beyond what they do to all of that
range."""
PAST_STEP_A, PAST_STEP_U = 19.5, 0.02
"""Beyond this current is the coarse range's next step; relative there."""
CLOCK_U = 2e-4
"""Relative, of a speed: the chip's crystal, and the speed's change while it was measured."""
LEAST_SPREAD_A = 0.2
BINS, LEAST_PER_BIN = 8, 3
AFTER_PEAK = 2
RUNNING_UP = 1.15
"""A start is looked at until its current has come within this of its end."""
LOAD_U = 0.05
"""Relative: what the load takes on the way up, from a law through the levels."""
SLOPE_U = 0.05
"""Relative: how fast the back-EMF falls right after a release, by a line through ten rows."""


def fit_circuit(case: TurningCase) -> Balance | str:
    """Return the balance over the whole run, or the reason in one sentence why there is none."""
    still, levels = case.still, [level for level in case.running if level.rate is not None]
    points = len(still) + len(levels)
    if points < 3:
        return f"only {points} holds at standstill or levels with a known speed, at least 3 are needed"
    amps = [hold[0] for hold in still] + [level.current_a for level in levels]
    if float(np.ptp(amps)) < LEAST_SPREAD_A:
        return "the current hardly differs between the levels"
    ohm = _rough_ohm(case, levels)
    heat = _heat(case)
    pieces = [_still(case, heat, ohm)] if still else []
    if levels:
        pieces += [
            _levels(case, levels, heat, ohm),
            *_releases(case, levels),
            *_start(case, levels, heat, ohm),
        ]
    return balance(pieces, ohm, case.coarse.u, case.u_zero_v, case.accuracy("output_a_v", "gain"))


def speed_by_volts(case: TurningCase, found: Balance, level: Level) -> tuple[float, float]:
    """Return the speed in rad/s of a level whose ripple did not tell it, and its u: what the balance leaves
    of its volts, over the motor constant."""
    amps, volts = np.array([level.current_a]), np.array([level.volts - case.zero_v])
    coarse = level.current.share * (amps - case.coarse.pivot_a)
    row = driven(amps, volts, np.ones(1), np.interp([level.span_s[1]], *_heat(case)), coarse).design[0]
    k_si = found.one(CONSTANT)[0]
    row[CONSTANT] = (float(volts[0]) - found.of(row)[0]) / k_si
    return float(row[CONSTANT]), math.hypot(found.of(row)[1], LEVEL_V) / k_si


def _rough_ohm(case: TurningCase, levels: list[Level]) -> float:
    """Slope of volts less back-EMF over current, as a first guess for weights."""
    amps = [hold[0] for hold in case.still] + [level.current_a for level in levels]
    volts = [hold[1] for hold in case.still] + [level.volts - level.emf_v for level in levels]
    rough = line(amps, volts).slope
    return max(rough, 0.01)


def _heat(case: TurningCase) -> tuple[Floats, Floats]:
    """Time and the A2 s put in until then."""
    square = np.nan_to_num(case.run.samples["current_a"]) ** 2
    return case.time_s, np.cumsum(square * np.gradient(case.time_s))


def _still(case: TurningCase, heat: tuple[Floats, Floats], ohm: float) -> Rows:
    amps = np.array([hold[0] for hold in case.still])
    volts = np.array([hold[1] for hold in case.still]) - case.zero_v
    when = [float(np.mean(hold[2]["time_s"])) for hold in case.still]
    u = np.full(len(amps), math.hypot(STILL_V, STILL_A * ohm))
    coarse = np.array([case.ranges.share(hold[0]) for hold in case.still])
    return driven(amps, volts, u, np.interp(when, *heat), coarse * (amps - case.coarse.pivot_a))


def _levels(case: TurningCase, levels: list[Level], heat: tuple[Floats, Floats], ohm: float) -> Rows:
    amps = np.array([level.current_a for level in levels])
    volts = np.array([level.volts for level in levels]) - case.zero_v
    speed = np.array([level.speed_rad_s for level in levels])
    coarse = np.array([level.current.share for level in levels])
    u_range_a = np.hypot(coarse * case.coarse.u_pivot_a, [level.current.u_share_a for level in levels])
    u_amps = np.sqrt(BENT_A**2 + (STEPS_U * coarse * amps) ** 2 + u_range_a**2)
    u = np.sqrt(LEVEL_V**2 + (ohm * u_amps) ** 2 + (CLOCK_U * volts) ** 2)
    return driven(
        amps,
        volts,
        u,
        np.interp([level.span_s[1] for level in levels], *heat),
        coarse * (amps - case.coarse.pivot_a),
        speed=speed,
    )


def _releases(case: TurningCase, levels: list[Level]) -> list[Rows]:
    """Back-EMF at the moment of release, and how fast it falls under the load that was on it."""
    found = []
    for level in levels:
        coasts = case.coasting(level.span_s[1] + 1e-3)
        if level.source != "release" or coasts is None:
            continue
        u_emf = math.hypot(level.u_emf_v, CLOCK_U * level.emf_v)
        found.append(coasting(np.array([level.speed_rad_s]), np.array([level.emf_v]), np.array([u_emf])))
        falls = -case.emf_slope(coasts)
        if falls > 0:
            found.append(slowing(level.current_a, falls, SLOPE_U * falls))
    return found


def _start(case: TurningCase, levels: list[Level], heat: tuple[Floats, Floats], ohm: float) -> list[Rows]:
    """Means over pieces of a start from standstill, from its peak until the current has nearly settled."""
    mark = next(case.run.labelled(labels.STEP_START), None)
    rows = case.run.of(mark) if mark is not None else None
    if mark is None or rows is None or len(rows) < 100 or not _stood_before(case, mark.start_s):
        return []
    amps = np.asarray(rows["current_a"], float)
    amps = amps - case.coarse.beyond_a - case.coarse.gain * (amps - case.coarse.pivot_a) - case.zero_a
    volts = load_voltage(rows) - case.zero_v
    beyond = _beyond_load(case, levels, amps, volts, ohm)
    first = int(np.argmax(amps)) + AFTER_PEAK
    settled = np.flatnonzero(amps[first:] < RUNNING_UP * float(np.median(amps[-len(amps) // 5 :])))
    last = first + (int(settled[0]) if len(settled) else 0)
    steady = np.abs(rows["drive"][first:last] - rows["drive"][-1]) < 0.01
    if beyond is None or last - first < BINS * LEAST_PER_BIN or not steady.all():
        return []
    way, load = beyond
    rate = np.gradient(amps) / float(np.median(np.diff(rows["time_s"])))
    warm = np.interp(rows["time_s"], *heat)
    means = [
        np.array([float(piece.mean()) for piece in np.array_split(values[first:last], BINS)])
        for values in (amps, volts, way, load, rate, warm)
    ]
    amps, volts, way, load, rate, warm = means
    emf_v = np.maximum(volts - ohm * amps, 0.0)
    lost_v = LOAD_U * emf_v * load / np.maximum(way, 1e-9)
    steps = np.where(amps > PAST_STEP_A, PAST_STEP_U, STEPS_U)
    u = np.sqrt(LEVEL_V**2 + (steps * ohm * amps) ** 2 + lost_v**2)
    return [driven(amps, volts, u, warm, amps - case.coarse.pivot_a, way=way, rate=rate)]


def _stood_before(case: TurningCase, start_s: float) -> bool:
    before: Samples = case.run.between(start_s - 0.02, start_s)
    return len(before) > 5 and float(np.max(np.abs(load_voltage(before) - case.zero_v))) < 2 * STANDS_V


def _beyond_load(
    case: TurningCase, levels: list[Level], amps: Floats, volts: Floats, ohm: float
) -> tuple[Floats, Floats] | None:
    """Integrals in A s, at the middle of each row, of the current beyond what the load takes, and of the
    load's.

    What the load takes goes as a + b x (back-EMF)^2 through the levels.
    """
    if len(levels) < 2:
        return None
    law = (
        line([level.emf_v**2 for level in levels], [level.current_a for level in levels])
        if len(levels) > 2
        else None
    )
    mean_a = float(np.mean([level.current_a for level in levels]))
    emf_v = np.clip(volts - ohm * amps, 0.0, None)
    takes = np.full(len(amps), mean_a) if law is None else np.maximum(law.offset + law.slope * emf_v**2, 0.0)
    tick_s = float(np.median(np.diff(case.time_s)))
    return _until_middle(amps - takes, tick_s), _until_middle(takes, tick_s)


def _until_middle(values: Floats, tick_s: float) -> Floats:
    return np.asarray((np.cumsum(values) - values / 2) * tick_s, float)
