"""What repeats or flickers in the current while it turns: bad segments, uneven turns, bad brushes."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.turning.case import Level, TurningCase
from strokebench.diagnose.turning.commutation import order_amplitude

SEGMENT = ("segment_passes", "Ripple as a segment passes the brushes", "% of current")
ONCE = ("once_a_turn", "Current that repeats once a turn", "% of current")
NOISE = ("brush_noise", "Current that flickers at random", "% of current")
BAND_HZ = (25.0, 420.0)
CLEAR_SIGMAS = 3.0
MUCH = 0.005
"""Share of the current from which on what a supply's ripple drives speaks for another level."""

QUESTION = Question(needs="current volts", group="Commutator and turn", keys=(SEGMENT[0], ONCE[0], NOISE[0]))


def find(case: TurningCase) -> list[Finding]:
    """Return the amplitudes at the orders of brush passes and of the turn, and the random part.

    Orders from the burst at the highest drive, each by a transform at exactly its frequency; orders that
    belong to the ordinary ripple are left out. A bar, riser or coil in trouble modulates with the turn
    times the number of brush positions (trade literature on commutation faults); uneven load modulates once
    a turn. A ripple of the supply at one of these frequencies does so too: a level without is looked for, and
    where there is none the ripple stands in the uncertainty.
    """
    return [*_orders(case), _noise(case)]


def _orders(case: TurningCase) -> list[Finding]:
    level = worst_level(case)
    if level is None or level.rate is None or level.burst is None:
        why = "the turn rate is not known"
        return [case.missing(*quantity, why) for quantity in (SEGMENT, ONCE)]
    values, rate_hz, mean_a = level.burst.values, level.burst.rate_hz, level.current_a
    when = (level.burst.start_s, level.burst.start_s + len(values) / rate_hz)
    poles, ripples = case.motor.poles, case.motor.ripples
    orders = [
        order_amplitude(values, rate_hz, order * level.rate.hz)
        for order in range(poles, ripples, poles)
    ]  # fmt: skip
    once = order_amplitude(values, rate_hz, level.rate.hz)
    segment, noise = math.hypot(*(a for a, _ in orders)), math.hypot(*(n for _, n in orders))
    by_segment = math.hypot(*(by_supply_a(case, level, order) for order in range(poles, ripples, poles)))
    by_once = by_supply_a(case, level, 1)
    evidence = {"turn_hz": level.rate.hz, "turns": len(values) / rate_hz * level.rate.hz}
    return [
        case.finding(
            *SEGMENT[:2], percent(segment, noise, mean_a).widened(100 * by_segment / mean_a), SEGMENT[2],
            high="bad_segment", span_s=when,
            evidence={**evidence, "orders_a": [round(a, 4) for a, _ in orders]},
        ),
        case.finding(
            *ONCE[:2], percent(*once, mean_a).widened(100 * by_once / mean_a), ONCE[2],
            high=case.names.once, span_s=when, evidence=evidence,
        ),
    ]  # fmt: skip


def percent(amplitude: float, noise: float, mean_a: float) -> Measured:
    """In % of the mean; noise adds to an amplitude in quadrature and is taken off again."""
    value = math.sqrt(max(amplitude**2 - noise**2, 0.0))
    return Measured(100 * value / mean_a, 100 * noise / mean_a / math.sqrt(2))


def _noise(case: TurningCase) -> Finding:
    """Standard deviation of the current between 25 and 420 Hz without what repeats, in % of its mean.

    From the samples (means over 1 ms) at the highest drive: the median of the spectrum's power, which lines
    do not move, times the width of the band (the median of exponentially distributed powers is ln 2 of the
    mean).
    """
    level = case.top
    if level is None or not level.turns:
        return case.missing(*NOISE, "it does not turn")
    rows = case.run.between(level.span_s[1] - 0.6, level.span_s[1])
    sigma_a, count = random_part(np.asarray(rows["current_a"], float), period_s(rows["time_s"]))
    if not math.isfinite(sigma_a):
        return case.missing(*NOISE, "the level is too short or too slowly sampled")
    percent = 100 * sigma_a / level.current_a
    own = 100 * case.accuracy("current_a", "noise") * 3 / level.current_a
    measured = Measured(percent, math.hypot(percent / math.sqrt(count), own))
    return case.finding(*NOISE[:2], measured, NOISE[2], high="worn_brush", span_s=level.span_s)


def period_s(time_s: Floats) -> float:
    """Median sample period, NaN without two samples."""
    return float(np.median(np.diff(time_s))) if len(time_s) > 1 else math.nan


def random_part(values: Floats, sample_s: float) -> tuple[float, int]:
    """Standard deviation within BAND_HZ of what is no line, and the number of spectrum bins behind it."""
    if len(values) < 200 or not sample_s <= 1.05e-3:
        return math.nan, 0
    trend = np.polynomial.polynomial.polyfit(np.arange(len(values)), values, 2)
    left = values - np.polynomial.polynomial.polyval(np.arange(len(values)), trend)
    window = np.hanning(len(left))
    power = np.abs(np.fft.rfft(left * window)) ** 2 / np.sum(window**2)
    hz = np.fft.rfftfreq(len(left), sample_s)
    inside = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    mean_power = float(np.median(power[inside])) / math.log(2)
    variance = mean_power * 2 * float(inside.sum()) / len(left)
    return math.sqrt(variance), int(inside.sum())


def worst_level(case: TurningCase) -> Level | None:
    """The level whose burst the turn's findings are read from: the highest with both speed and burst at which
    a ripple of the supply does not look as the turn does; if there is none, that with the least of it."""
    known = [level for level in case.running if level.rate is not None and level.burst is not None]
    known.sort(key=lambda level: (level.drive, level.span_s), reverse=True)
    shares = [
        max(by_supply_a(case, level, order) for order in (1, case.motor.poles)) / level.current_a
        for level in known
    ]
    clear = [level for level, share in zip(known, shares, strict=True) if share < MUCH]
    return clear[0] if clear else known[int(np.argmin(shares))] if known else None


def by_supply_a(case: TurningCase, level: Level, order: int) -> float:
    """Current in A at a multiple of the turn that the supply's ripple there drives at the most: through the
    resistance alone. 0 where it does not stand out of the noise, or is too quick for the samples."""
    assert level.rate is not None and level.burst is not None  # asked for with both only
    end_s = level.burst.start_s + len(level.burst.values) / level.burst.rate_hz
    rows, hz = case.run.between(level.burst.start_s, end_s), order * level.rate.hz
    ohm = case.carrying[0]
    sample_s = period_s(rows["time_s"])
    if len(rows) < 100 or not hz * sample_s < 0.45 or not ohm > 0:
        return 0.0
    size_v, noise_v = order_amplitude(np.asarray(rows["supply_v"], float), 1 / sample_s, hz)
    return level.drive * size_v / ohm if size_v > CLEAR_SIGMAS * noise_v else 0.0
