"""A pump or fan that was just switched on, by its current alone: inrush, speed, commutator, brushes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Burst
from strokebench.diagnose.case import Case
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured, moving_mean
from strokebench.diagnose.switched.case import (
    NOT_STEADY,
    captured,
    covered,
    rate_hz,
    starts,
    steady,
    unlimited,
    zero_a,
)
from strokebench.diagnose.switched.case import running as running_current
from strokebench.diagnose.switched.rundown import read_rundown
from strokebench.diagnose.switched.speed import SpeedReading, motor_of, read_speed
from strokebench.diagnose.turning import inrush, running, turns
from strokebench.diagnose.turning.commutation import order_amplitude
from strokebench.diagnose.turning.mains import beside_mains
from strokebench.diagnose.turning.rotors import ROTORS

FLOWS = (running.FLOWS[0], "Running current")
SPEED = (running.SPEED[0], "Speed while it ran steadily", running.SPEED[2])
SHORTEST_S, LONGEST_S = 0.2, 2.0
"""So much of the steady stretch is needed, and enough, for the speed and all that repeats with it."""
NOISE_S = 0.6
NOISE_HZ, START_HZ = 5000.0, 450.0
"""Slowest rows for the brushes' noise (what lies above half their rate folds into the band looked at), and
for the peak of a start."""
STANDS_RATIO = 1.3
TURNS_RATIO = 1.6
"""Start over running current: beyond this a rotor turns, whatever its brushes do."""
STANDS = ", and it fell little after the start, as that of a rotor that stands"
MAINS = (
    "it turns so fast that a charger's ripple on the supply, at twice the mains' frequency, looks the same"
)
ROUGH_U = 0.05

QUESTION = Question(
    needs="current",
    group="Turning",
    keys=(
        FLOWS[0],
        SPEED[0],
        inrush.PEAK[0],
        inrush.RATIO[0],
        inrush.TIME[0],
        turns.SEGMENT[0],
        turns.ONCE[0],
        turns.NOISE[0],
    ),
    group_by_key={key: turns.QUESTION.group_of(key) for key in turns.QUESTION.keys},
)


def find(case: Case) -> list[Finding]:
    """Return running current, inrush, speed, what repeats with the turn, and the random part."""
    start = _start(case) or _no_start(case)
    burst, reading = steady_reading(case, start[0].value)
    if reading.rate is None and start[1].known and start[1].value < STANDS_RATIO:
        reading = replace(reading, why=reading.why + STANDS)
    turns_anyhow = start[1].known and start[1].value > TURNS_RATIO
    noise = brush_noise(case, burst, reading, reading.rate is not None or turns_anyhow)
    found = [_speed(case, burst, reading), *_orders(case, burst, reading), noise]
    if reading.rate is not None and not reading.sure:
        found = [
            unlimited(finding).with_(reason=reading.why) if finding.known else finding for finding in found
        ]
    return [running_current(case, *FLOWS), *start, *found]


def steady_reading(case: Case, peak_a: float | None = None) -> tuple[Burst | None, SpeedReading]:
    """Return the current of the steady stretch as captured, and the turn rate in it; ``peak_a`` of the start
    where it is known already."""
    mark = steady(case)
    if mark is None or mark.end_s - mark.start_s < SHORTEST_S:
        return None, SpeedReading(None, NOT_STEADY, False)
    burst = _latest(captured(case, mark.start_s, mark.end_s))
    if burst is None:
        return None, SpeedReading(None, NOT_STEADY, False)
    if peak_a is None:
        peak_a = (_start(case) or _no_start(case))[0].value
    down = read_rundown(case)
    emf_v = math.nan if isinstance(down, str) or not down.falls else down.emf_v
    return burst, read_speed(case, burst, mark, peak_a, emf_v)


def _latest(burst: Burst | None) -> Burst | None:
    """The last LONGEST_S of a piece."""
    first = 0 if burst is None else max(0, len(burst.values) - int(LONGEST_S * burst.rate_hz))
    return burst if burst is None else replace(
        burst, start_s=burst.start_s + first / burst.rate_hz, values=burst.values[first:]
    )  # fmt: skip


def _no_start(case: Case) -> list[Finding]:
    why = "rows are missing in the start, or it had not settled when the recording ended"
    if not starts(case):
        why = "the recording begins with the part already on"
    elif rate_hz(case) < START_HZ:
        why = f"at {rate_hz(case):.0f} rows a second the peak of a start can be missed"
    return [case.missing(*quantity, why) for quantity in (inrush.PEAK, inrush.RATIO, inrush.TIME)]


def _start(case: Case) -> list[Finding]:
    """Peak, ratio and settling time of the start before the steady stretch, nothing if not readable."""
    mark = steady(case)
    begun = [
        start for start in starts(case) if mark is not None and start.start_s <= mark.start_s < start.end_s
    ]
    if mark is None or not begun or rate_hz(case) < START_HZ:
        return []
    start_s = begun[0].start_s
    if not covered(captured(case, start_s, mark.start_s), start_s, mark.start_s):
        return []
    zero, rows = zero_a(case), case.between(start_s, mark.end_s)
    amps = np.asarray(rows["current_a"], float) - zero
    end_a = float(np.median(case.of(mark)["current_a"])) - zero
    amps, end_a = (amps, end_a) if end_a > 0 else (-amps, -end_a)
    peak_a, period_s = float(amps.max()), 1 / min(rate_hz(case), 1000.0)
    width = 2 * round(0.0205 / period_s) + 1
    smooth = moving_mean(amps, width)
    last_a = float(np.median(smooth[-len(smooth) // 5 :]))  # of dips deep and narrow a median sees nothing
    away = np.flatnonzero(np.abs(smooth - last_a) > inrush.SETTLED * last_a)
    took_s = float(rows["time_s"][min(int(away[-1]) + 1, len(rows) - 1)]) - start_s if len(away) else 0.0
    gain, offset = case.accuracy("current_a", "gain"), case.accuracy("current_a", "offset")
    u_peak = math.hypot(offset, gain * peak_a, ROUGH_U * peak_a if period_s > 1.5e-3 else 0.0)
    u_ratio = peak_a / end_a * math.hypot(offset / peak_a, offset / end_a, 0.01)
    when = (start_s, mark.start_s)
    measured = (
        (inrush.PEAK, Measured(peak_a, u_peak)),
        (inrush.RATIO, Measured(peak_a / end_a, u_ratio)),
        (inrush.TIME, Measured(1e3 * took_s, 1e3 * math.hypot(0.002, period_s))),
    )
    return [unlimited(case.finding(*name[:2], value, name[2], span_s=when)) for name, value in measured]


def _speed(case: Case, burst: Burst | None, reading: SpeedReading) -> Finding:
    rate = reading.rate
    if rate is None or burst is None:
        return case.missing(*SPEED, reading.why)
    rpm = Measured(60 * rate.hz, 60 * rate.u_hz).widened(60 * rate.hz * 0.001)
    evidence = {"ripple_hz": rate.hz * motor_of(case).ripples, "repeats": rate.repeats}
    return unlimited(case.finding(*SPEED[:2], rpm, SPEED[2], span_s=_span(burst), evidence=evidence))


def _span(burst: Burst) -> tuple[float, float]:
    return burst.start_s, burst.start_s + len(burst.values) / burst.rate_hz


def _orders(case: Case, burst: Burst | None, reading: SpeedReading) -> list[Finding]:
    """As :func:`strokebench.diagnose.turning.turns.find`, from the steady stretch."""
    rate, motor = reading.rate, motor_of(case)
    if rate is None or burst is None:
        return [case.missing(*quantity, reading.why) for quantity in (turns.SEGMENT, turns.ONCE)]
    values, mean_a = burst.values, float(burst.values.mean())
    place = np.arange(len(values))
    drift = np.polynomial.polynomial.polyfit(place, values, 2)
    values = values - np.polynomial.polynomial.polyval(place, drift)
    span_s = len(values) / burst.rate_hz

    def share(quantity: tuple[str, str, str], orders: list[int], fault: str) -> Finding:
        sizes = [order_amplitude(values, burst.rate_hz, order * rate.hz) for order in orders]
        size, noise = (math.hypot(*(pair[place] for pair in sizes)) for place in (0, 1))
        found = turns.percent(size, noise, mean_a)
        found = found.widened(found.value * case.accuracy("current_a", "offset") / mean_a)
        return case.finding(
            *quantity[:2], found, quantity[2], high=fault, span_s=_span(burst), evidence={"turn_hz": rate.hz}
        )

    def without_mains_lines(quantity: tuple[str, str, str], orders: list[int], fault: str) -> Finding:
        apart = [order for order in orders if not beside_mains(order * rate.hz, span_s)]
        found = share(quantity, orders, fault)
        if not out(found) or len(apart) == len(orders):
            return found
        sure = share(quantity, apart, fault) if apart else found
        return sure if apart and out(sure) else unlimited(found).with_(reason=MAINS)

    passes = list(range(motor.poles, motor.ripples, motor.poles))
    return [
        without_mains_lines(turns.SEGMENT, passes, "bad_segment"),
        without_mains_lines(turns.ONCE, [1], ROTORS[case.profile.kind].once),
    ]


def out(finding: Finding) -> bool:
    return finding.upper is not None and finding.value > finding.upper


def brush_noise(case: Case, burst: Burst | None, reading: SpeedReading, turns_surely: bool) -> Finding:
    """As :func:`strokebench.diagnose.turning.turns.find`; the noise at rest is the digitizer's.

    It needs a rotor that turns, but not its speed: brushes that flicker may hide all ripple."""
    if burst is None or not turns_surely:
        return case.missing(*turns.NOISE, reading.why)
    if burst.rate_hz < NOISE_HZ:
        low = f"at {burst.rate_hz:.0f} rows a second faster noise folds into what is looked at"
        return case.missing(*turns.NOISE, low if reading.rate is not None else reading.why)
    block = round(burst.rate_hz / 1000)
    rows_a = burst.values[: len(burst.values) // block * block].reshape(-1, block).mean(axis=1)
    period_s = block / burst.rate_hz
    rows_a = rows_a[-round(NOISE_S / period_s) :]
    sigma_a, count = turns.random_part(rows_a, period_s)
    if not math.isfinite(sigma_a):
        return case.missing(*turns.NOISE, "the steady stretch is too short")
    own_a, mean_a = case.accuracy("current_a", "noise"), float(rows_a.mean())
    value = 100 * math.sqrt(max(sigma_a**2 - own_a**2, 0.0)) / mean_a
    u = math.hypot(100 * sigma_a / mean_a / math.sqrt(count), 100 * own_a / mean_a)
    end_s = _span(burst)[1]
    when = (end_s - len(rows_a) * period_s, end_s)
    return case.finding(*turns.NOISE[:2], Measured(value, u), turns.NOISE[2], high="worn_brush", span_s=when)
