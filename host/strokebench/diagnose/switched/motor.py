"""A pump or fan that was switched on and off while the volts across it were recorded: its motor and its load.

Running steadily, being switched off, and starting are put into one balance of volts
(:mod:`strokebench.diagnose.turning.volts`); the load's law comes from how it runs down
(:mod:`strokebench.diagnose.switched.rundown`).  These are the quantities of the bench's own procedure, so the
same limits hold.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured
from strokebench.diagnose.switched.case import (
    NOT_STEADY,
    captured,
    covered,
    starts,
    steady,
    unlimited,
    zero_a,
)
from strokebench.diagnose.switched.rotor import brush_noise, out, steady_reading
from strokebench.diagnose.switched.rundown import (
    NO_VOLTS,
    NONE_COMMON,
    STEADY_U,
    Fall,
    Rundown,
    read_fall,
    read_rundown,
    running_v,
)
from strokebench.diagnose.turning import law, load, loop, running, volts
from strokebench.diagnose.turning.case import TurningCase
from strokebench.diagnose.winding import temperature
from strokebench.physics.copper import resistance_ratio

LEVEL_V = 0.01
"""Standard uncertainty of volts against others of the same recording."""
SLOPE_U = 0.03
"""Relative: how fast the back-EMF falls right after switching off, from the whole law."""
AFTER_PEAK_S, RUNNING_UP, PIECES, LEAST_ROWS = 0.002, 1.15, 8, 24
START_U, LOAD_U = 0.01, 0.1
"""Relative: of a start's current, a mean over a millisecond; of what the load takes meanwhile."""
STANDS_OHM = 1.3
"""Volts over current below so many times the highest good resistance: it stands, or all but stands."""
BOUNCES = "brushes that bounce add to it"
NEEDS_FALL = "it has to run down, to {:.0f} % of its speed at least, with the volts at its own plug recorded"

KEYS = (
    running.TURNS, running.CONSTANT, loop.RESISTANCE, load.DRAG, load.LOAD, load.RISE, load.LOW_SPEED,
)  # fmt: skip
QUESTION = Question(
    needs="current volts",
    group="Turning",
    keys=tuple(key for key, *_ in KEYS),
    group_by_key=dict.fromkeys(load.QUESTION.keys, "Load"),
)


@dataclass(frozen=True)
class Steady:
    """Steady running: stretch, volts, current, and rad/s (NaN when the ripple does not tell)."""

    mark: Mark
    volts: float
    current_a: float
    speed_rad_s: float


def find(case: TurningCase) -> list[Finding]:
    """Return back-EMF share, motor constant, loop resistance and load, as far as the recording shows them."""
    mark = steady(case)
    if mark is None or not math.isfinite(running_v(case)):
        why = NOT_STEADY if mark is None else NO_VOLTS
        return [case.missing(*quantity, why) for quantity in _wanted(case)]
    amps = abs(float(np.mean(case.of(mark)["current_a"])) - zero_a(case))
    burst, reading = steady_reading(case)
    rate = reading.rate
    ran = Steady(mark, running_v(case), amps, 2 * math.pi * rate.hz if rate is not None else math.nan)
    down = read_rundown(case, ran.speed_rad_s)
    fall = None if isinstance(down, str) else read_fall(case, down, ran.speed_rad_s)
    if isinstance(down, str) or fall is None:
        return _without_fall(case, ran, down)
    solved = _balance(case, ran, down, fall)
    found = [_turns(case, ran, down)]
    if math.isfinite(ran.speed_rad_s):
        found += _with_speed(case, ran, down, solved)
    else:
        known, why = (running.TURNS, loop.RESISTANCE), "the ripple does not show the speed"
        found += [case.missing(*quantity, why) for quantity in _wanted(case) if quantity not in known]
    resistance = _resistance(case, ran, solved)
    if out(brush_noise(case, burst, reading, turns_surely=True)) and out(resistance):
        resistance = unlimited(resistance).with_(reason=BOUNCES)
    return [*found, resistance]


def _wanted(case: TurningCase) -> list[tuple[str, str, str]]:
    return [quantity for quantity in KEYS if quantity is not load.LOW_SPEED or case.names.low_speed]


def _without_fall(case: TurningCase, ran: Steady, down: Rundown | str) -> list[Finding]:
    """Whether it turns, where volts over current or volts that end at once tell it; nothing else."""
    why = down if isinstance(down, str) else NEEDS_FALL.format(100 * (1 - 0.15))
    rest = [case.missing(*quantity, why) for quantity in _wanted(case) if quantity is not running.TURNS]
    most = case.limits(loop.RESISTANCE[0])[1]
    if most is None or ran.current_a < 0.1 or ran.volts / ran.current_a > STANDS_OHM * most:
        return [case.missing(*running.TURNS, why), *rest]
    left = 0.0 if isinstance(down, str) else down.emf_v
    measured = Measured(100 * left / ran.volts, 2.0)
    span_s = (ran.mark.start_s, ran.mark.end_s)
    return [case.finding(*running.TURNS[:2], measured, running.TURNS[2], low="blocked", span_s=span_s), *rest]


def _turns(case: TurningCase, ran: Steady, down: Rundown) -> Finding:
    share = Measured(100 * down.emf_v / ran.volts, 100 * down.u_emf_v / ran.volts)
    return case.finding(*running.TURNS[:2], share, running.TURNS[2], low="blocked", span_s=down.span_s)


def _balance(case: TurningCase, ran: Steady, down: Rundown, fall: Fall) -> volts.Balance:
    """All of the recording in one balance of volts. Without a known speed its unit is the speed it ran at."""
    speed = ran.speed_rad_s if math.isfinite(ran.speed_rad_s) else 1.0
    ohm = max((ran.volts - down.emf_v) / max(ran.current_a, 0.1), 0.01)
    u_level = math.hypot(LEVEL_V, STEADY_U * ohm * ran.current_a)
    falls = float(fall.slope(np.ones(1))[0])
    row = np.array([ran.current_a]), np.array([ran.volts]), np.array([u_level]), np.zeros(1), np.zeros(1)
    pieces = [
        volts.driven(*row, speed=np.array([speed])),
        volts.coasting(np.array([speed]), np.array([down.emf_v]), np.array([down.u_emf_v])),
        volts.slowing(ran.current_a, falls, SLOPE_U * falls),
    ]
    begun = _start(case, ran, down, fall, ohm)
    gain = case.accuracy("output_a_v", "gain")
    return volts.balance(pieces + ([begun] if begun is not None else []), ohm, 0.001, LEVEL_V, gain)


def _start(case: TurningCase, ran: Steady, down: Rundown, fall: Fall, ohm: float) -> volts.Rows | None:
    """The start before the steady stretch, in means over pieces of it; None when it was not recorded."""
    begun = [mark for mark in starts(case) if mark.start_s <= ran.mark.start_s < mark.end_s]
    if not begun:
        return None
    start_s, end_s = begun[-1].start_s, ran.mark.start_s + 0.05
    if not covered(captured(case, start_s, end_s), start_s, end_s):
        return None
    rows = case.between(start_s, end_s)
    amps = np.abs(np.asarray(rows["current_a"], float) - zero_a(case))
    fed_v = np.abs(load_voltage(rows))
    tick_s = case.period_s
    first = int(np.argmax(amps)) + max(round(AFTER_PEAK_S / tick_s), 1)
    settled = np.flatnonzero(amps[first:] < RUNNING_UP * ran.current_a)
    last = first + int(settled[0]) if len(settled) else len(amps)
    if last - first < LEAST_ROWS:
        return None
    emf_v = np.clip(fed_v - ohm * amps, 0.0, None)
    takes = ran.current_a * fall.slope(emf_v / down.emf_v) / fall.slope(np.ones(1))
    way, taken = (np.cumsum(values) * tick_s - values * tick_s / 2 for values in (amps - takes, takes))
    heat = np.cumsum(amps**2) * tick_s
    values = (amps, fed_v, way, taken, np.gradient(amps, tick_s), heat)
    amps, fed_v, way, taken, rate, heat = (_means(each[first:last]) for each in values)
    lost_v = LOAD_U * np.maximum(fed_v - ohm * amps, 0.0) * taken / np.maximum(way, 1e-9)
    u = np.sqrt(LEVEL_V**2 + (START_U * ohm * amps) ** 2 + lost_v**2)
    return volts.driven(amps, fed_v, u, heat, np.zeros(len(amps)), way=way, rate=rate)


def _means(values: Floats) -> Floats:
    return np.array([float(piece.mean()) for piece in np.array_split(values, PIECES)])


def _with_speed(case: TurningCase, ran: Steady, down: Rundown, solved: volts.Balance) -> list[Finding]:
    value, u = solved.one(volts.CONSTANT)
    k = Measured(value, math.hypot(u, case.accuracy("output_a_v", "gain") * value))
    span_s = (ran.mark.start_s, down.span_s[1])
    constant = case.finding(*running.CONSTANT[:2], k, running.CONSTANT[2], low="weak_magnet", span_s=span_s)
    rated = case.profile.nominal.get("rated_rpm", math.nan) * math.pi / 30
    if not math.isfinite(rated):
        return [constant]
    return [constant, *load.findings_of(case, _law(case, ran, down, k, rated), down.span_s)]


def _law(case: TurningCase, ran: Steady, down: Rundown, k: Measured, rated: float) -> load.LoadFit:
    """The load's torque against speed: at the steady speed that of the current, elsewhere as it runs down."""
    speed, torque = np.array([ran.speed_rad_s]), np.array([k.value * ran.current_a])
    u = np.hypot(STEADY_U * torque, k.value * case.accuracy("current_a", "offset"))
    coast = down.pieces(ran.speed_rad_s, rated)
    found = law.fit(case.names.powers, speed / rated, torque, u, NONE_COMMON, coast)
    return load.LoadFit.scaled(
        found, math.hypot(case.accuracy("current_a", "gain"), k.u / k.value), speed, torque, rated
    )


def _resistance(case: TurningCase, ran: Steady, solved: volts.Balance) -> Finding:
    ohm, u_ohm = solved.one(volts.OHM)
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    part_c, u_part_c = temperature(case, ran.mark.start_s)
    lead_ohm = case.profile.nominal.get("lead_ohm", 0.0)
    ratio = resistance_ratio(part_c, loop.REFERENCE_C)
    winding = (ohm - lead_ohm) * ratio
    measured = Measured(winding + lead_ohm, math.hypot(u_ohm, gain * ohm, 0.004 * winding * u_part_c))
    return case.finding(
        *loop.RESISTANCE[:2], measured, loop.RESISTANCE[2], low="shorted_turns", high="lead_resistance",
        span_s=(ran.mark.start_s, ran.mark.end_s),
    )  # fmt: skip
