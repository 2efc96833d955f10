"""A pump or fan that was just switched on, by its current alone: inrush, speed, commutator, brushes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from strokebench.diagnose import inrush, running, turns
from strokebench.diagnose.case import Case, load_voltage
from strokebench.diagnose.commutation import Motor, Rate, order_amplitude
from strokebench.diagnose.octaves import turn_rates
from strokebench.diagnose.rotors import ROTORS
from strokebench.diagnose.stats import Measured, moving_mean
from strokebench.diagnose.switched import (
    NOT_STEADY,
    captured,
    centre,
    covered,
    rate_hz,
    starts,
    steady,
    unlimited,
    zero_a,
)
from strokebench.diagnose.switched import running as running_current
from strokebench.findings import Finding
from strokebench.run_data import Burst, Mark

FLOWS = (running.FLOWS[0], "Running current")
SPEED = (running.SPEED[0], "Speed while it ran steadily", running.SPEED[2])
SUPPLIES_V = (10.5, 12.6, 14.8)
"""Volts a 12 V part may have been switched on to: flat, full, engine running (common practice)."""
BRUSHES_V = 0.8
RIPPLES = 4.0
"""Rows a ripple must have: with fewer it may fold to a frequency that means another speed."""
NO_EXPECTATION = "the profile tells neither motor constant nor rated speed, or no motor turns at this current"
SHORTEST_S, LONGEST_S = 0.2, 2.0
"""So much of the steady stretch is needed, and enough, for the speed and all that repeats with it."""
NOISE_S = 0.6
NOISE_HZ, START_HZ = 5000.0, 450.0
"""Slowest rows for the brushes' noise (what lies above half their rate folds into the band looked at), and
for the peak of a start."""
STANDS_RATIO = 1.3
ROUGH_U = 0.05


def find(case: Case) -> list[Finding]:
    """Return running current, inrush, speed, what repeats with the turn, and the random part."""
    start = _start(case) or _no_start(case)
    mark, motor = steady(case), _motor(case)
    if mark is not None and mark.end_s - mark.start_s < SHORTEST_S:
        mark = None
    burst = None if mark is None else _latest(captured(case, mark.start_s, mark.end_s))
    why, rate = NOT_STEADY, None
    if mark is not None and burst is not None:
        rate, why = _rate(case, burst, motor, mark)
        if rate is None and start[1].known and start[1].value < STANDS_RATIO:
            why += ", and it fell little after the start, as that of a rotor that stands"
    return [
        running_current(case, *FLOWS),
        *start,
        _speed(case, burst, rate, why),
        *_orders(case, burst, rate, why, motor),
        _noise(case, burst, rate, why),
    ]  # fmt: skip


def _latest(burst: Burst | None) -> Burst | None:
    """The last LONGEST_S of a piece."""
    first = 0 if burst is None else max(0, len(burst.values) - int(LONGEST_S * burst.rate_hz))
    return burst if burst is None else replace(
        burst, start_s=burst.start_s + first / burst.rate_hz, values=burst.values[first:]
    )  # fmt: skip


def _motor(case: Case) -> Motor:
    nominal = case.profile.nominal
    return Motor(int(nominal.get("segments", 8)), int(nominal.get("poles", 2)))


def _no_start(case: Case) -> list[Finding]:
    why = "rows are missing in the start, or it had not settled when the recording ended"
    if not starts(case):
        why = "the recording begins with the part already on"
    elif rate_hz(case) < START_HZ:
        why = f"at {rate_hz(case):.0f} rows a second the peak of a start can be missed"
    return [case.missing(*one, why) for one in (inrush.PEAK, inrush.RATIO, inrush.TIME)]


def _start(case: Case) -> list[Finding]:
    """Peak, ratio and settling time of the start before the steady stretch, nothing if not readable."""
    mark = steady(case)
    begun = [one for one in starts(case) if mark is not None and one.start_s <= mark.start_s < one.end_s]
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
    return [unlimited(case.finding(*name[:2], one, name[2], span_s=when)) for name, one in measured]


def _expected(case: Case, mark: Mark) -> list[float]:
    """Turns per second that the nominal motor would make at this current, from low to high supply."""
    nominal, rows = case.profile.nominal, case.of(mark)
    k_si, ohm = nominal.get("k_v_s_per_rad", math.nan), centre(case.profile, "loop_resistance")
    amps = abs(float(np.median(rows["current_a"])) - zero_a(case))
    known_v = abs(float(np.median(load_voltage(rows))))
    drop_v = BRUSHES_V + (ohm * amps if math.isfinite(ohm) else 0.15 * SUPPLIES_V[1])
    if math.isfinite(k_si):
        supplies = (known_v,) if math.isfinite(known_v) else SUPPLIES_V
        found = [(one - drop_v) / k_si / (2 * math.pi) for one in supplies]
        return [one for one in found if one > 0]
    rated_hz = nominal.get("rated_rpm", math.nan) / 60
    return [share * rated_hz for share in (0.8, 1.0, 1.2)] if math.isfinite(rated_hz) else []


def _rate(case: Case, burst: Burst, motor: Motor, mark: Mark) -> tuple[Rate | None, str]:
    """The turn rate, or why it is not known; told only when it is the same whatever the supply was."""
    expected = _expected(case, mark)
    if not expected:
        return None, NO_EXPECTATION
    ripple_hz = motor.ripples * max(expected)
    if burst.rate_hz < RIPPLES * ripple_hz:
        return None, (
            f"at {burst.rate_hz:.0f} rows a second the ripple, expected near {ripple_hz:.0f} Hz,"
            " cannot be followed"
        )
    found = turn_rates(burst.values, burst.rate_hz, motor, expected)
    if not found:
        return None, "no ripple that repeats was found in the current"
    if len(found) > 1:
        rpm = [f"{60 * one.hz:.0f}" for one in found]
        return None, f"without the volts its ripple may mean {' or '.join(rpm)} rpm"
    return found[0], ""


def _speed(case: Case, burst: Burst | None, rate: Rate | None, why: str) -> Finding:
    if rate is None or burst is None:
        return case.missing(*SPEED, why)
    rpm = Measured(60 * rate.hz, 60 * rate.u_hz).widened(60 * rate.hz * 0.001)
    evidence = {"ripple_hz": rate.hz * _motor(case).ripples, "repeats": rate.repeats}
    return unlimited(case.finding(*SPEED[:2], rpm, SPEED[2], span_s=_span(burst), evidence=evidence))


def _span(burst: Burst) -> tuple[float, float]:
    return burst.start_s, burst.start_s + len(burst.values) / burst.rate_hz


def _orders(case: Case, burst: Burst | None, rate: Rate | None, why: str, motor: Motor) -> list[Finding]:
    """As :func:`strokebench.diagnose.turns.find`, from the steady stretch."""
    if rate is None or burst is None:
        return [case.missing(*one, why) for one in (turns.SEGMENT, turns.ONCE)]
    values, mean_a = burst.values, float(burst.values.mean())
    place = np.arange(len(values))
    drift = np.polynomial.polynomial.polyfit(place, values, 2)
    values = values - np.polynomial.polynomial.polyval(place, drift)
    passes = range(motor.poles, motor.ripples, motor.poles)
    parts = [order_amplitude(values, burst.rate_hz, order * rate.hz) for order in passes]
    once = order_amplitude(values, burst.rate_hz, rate.hz)
    segment = math.hypot(*(size for size, _ in parts)), math.hypot(*(noise for _, noise in parts))
    named = ((turns.SEGMENT, segment, "bad_segment"), (turns.ONCE, once, ROTORS[case.profile.kind].once))
    zero_u = case.accuracy("current_a", "offset") / mean_a
    return [
        case.finding(
            *name[:2], (share := turns.percent(*size, mean_a)).widened(share.value * zero_u), name[2],
            high=fault, span_s=_span(burst), evidence={"turn_hz": rate.hz},
        )
        for name, size, fault in named
    ]  # fmt: skip


def _noise(case: Case, burst: Burst | None, rate: Rate | None, why: str) -> Finding:
    """As in :mod:`strokebench.diagnose.turns`; the rest's noise is the digitizer's and the clamp's own."""
    if burst is None or rate is None:
        return case.missing(*turns.NOISE, why)
    if burst.rate_hz < NOISE_HZ:
        low = f"at {burst.rate_hz:.0f} rows a second faster noise folds into what is looked at"
        return case.missing(*turns.NOISE, low)
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
