"""Position against drive and current of a proportional solenoid valve: dead band, hysteresis, friction,
spring."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.coil.inductor import NOT_LINEAR_A
from strokebench.diagnose.coil.solenoid_valve import SolenoidValveCase
from strokebench.diagnose.moving.breakaway import LEAVE_PERCENT, leaving
from strokebench.diagnose.moving.spring import opening_fits
from strokebench.diagnose.moving.sweeps import GRID, level
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, repeats

OPENING = ("opening_current", "Dead band: current at which it opens", "A")
VOLTS = ("opening_voltage", "Dead band: coil voltage at 20 °C", "V")
HALF = ("half_open_current", "Current for half open, on the way up", "A")
WIDTH = ("hysteresis", "Hysteresis at equal current", "% of travel")
FRICTION = ("friction", "Friction (half the loop, current squared)", "A2")
PRELOAD = ("preload_open", "Spring preload (current squared)", "A2")
SLOPE = ("spring_slope", "Spring slope over full travel (current squared)", "A2")
ALL = (OPENING, VOLTS, HALF, WIDTH, FRICTION, PRELOAD, SLOPE)
SHAPE_U = 0.008
"""Relative: friction that sticks and slips, and is not the same all the way (from simulated parts)."""
TURNS_U = 0.02
"""Relative, of the loop's width and height and of its middle at the seat: presliding, side pull and a pull
that is not flat, which bend the loop near where it turns (from simulated parts of another build)."""
SCALE_U = 0.02
"""Relative: the travel that positions are counted in. An offset of the position cancels in a difference."""

QUESTION = Question(
    needs="sweeps",
    group="Friction and spring",
    keys=tuple(key for key, *_ in ALL),
    group_by_key=dict.fromkeys((OPENING[0], VOLTS[0], HALF[0]), "Travel and rest"),
)


def find(case: SolenoidValveCase) -> list[Finding]:
    """Return dead band, current for half open, hysteresis, friction and spring.

    Dead band: the current at which it leaves its seat, static friction included; it is seen a little open,
    and what the spring takes until there is taken off. All others are those of the slow sweeps: friction is
    half of the loop at their speed, so a viscous share of that speed belongs to it, and dry friction is that
    of a body that hardly moves. Preload: the
    middle of the loop at the seat, by a parabola; slope: the rise of a line through it. All squares are
    of the coil's current, with what its iron takes for itself.

    Friction and spring are read from the square of the current, which is what the pull goes with, so their
    relative uncertainty from the current's gain is twice the gain's. A good valve closes at zero because the
    preload exceeds the friction.
    """
    if case.position is None:
        return [case.missing(*quantity, case.why_no_position) for quantity in ALL]
    if case.sweeps.pairs < 3:
        return [
            case.missing(*quantity, f"only {case.sweeps.pairs} sweeps up and down, 3 are needed")
            for quantity in ALL
        ]
    return [*_dead_band(case), _half(case), _width(case), _friction(case), *_spring(case)]


def _dead_band(case: SolenoidValveCase) -> list[Finding]:
    from strokebench.diagnose.winding import find as winding

    found = [
        seat_left
        for mark in case.stretches(case.leaves_rest)
        if (seat_left := leaving(case, mark, 1)) is not None
    ]
    if len(found) < 3:
        why = f"the valve left its seat in only {len(found)} slow sweeps"
        return [case.missing(*quantity, why) for quantity in (OPENING, VOLTS)]
    shift = _spring_rise(case) * LEAVE_PERCENT / 100
    left = np.array([seat_left[0] - case.zero_a for seat_left in found])
    amps = repeats(np.sqrt(np.maximum(left**2 - shift, 0.0)))
    # by how much of its first percent it was really open when it was seen to be
    seen = shift / (2 * amps.value) / math.sqrt(3) if amps.value > 0 else 0.0
    amps = amps.widened(case.accuracy("current_a", "gain") * amps.value, seen, NOT_LINEAR_A)
    span_s = (found[0][3] - 0.05, found[0][3] + 0.05)
    evidence = {"drive": float(np.mean([seat_left[1] for seat_left in found])), "rate_per_s": found[0][2]}
    out = [case.finding(*OPENING[:2], amps, OPENING[2], low="weak_spring", high="sticky", span_s=span_s,
                        evidence=evidence)]  # fmt: skip
    cold = next(finding for finding in winding(case) if finding.key == "winding_resistance")
    if not cold.known:
        return [*out, case.missing(*VOLTS, "the coil's resistance is not known")]
    volts = amps.value * cold.value
    u = volts * math.hypot(amps.u / amps.value, cold.u / cold.value)
    return [*out, case.finding(*VOLTS[:2], Measured(volts, u), VOLTS[2], span_s=span_s)]


def _spring_rise(case: SolenoidValveCase) -> float:
    """Rise of the squared current over the travel, A2; 0 where no sweep shows it."""
    fits = opening_fits(case)
    return float(np.mean(fits[:, 1])) if len(fits) else 0.0


def _half(case: SolenoidValveCase) -> Finding:
    middle = int(np.argmin(np.abs(GRID - 50)))
    found = np.sqrt(case.sweeps.towards(1)[:, middle])
    found = found[np.isfinite(found)]
    if len(found) < 3:
        return case.missing(*HALF, f"the valve came half open slowly in only {len(found)} sweeps")
    amps = repeats(found)
    amps = amps.widened(
        math.hypot(case.accuracy("current_a", "gain"), SHAPE_U / 2) * amps.value, NOT_LINEAR_A
    )
    return case.finding(*HALF[:2], amps, HALF[2], low="weak_spring", high="sticky", span_s=case.sweeps.span_s)


def _width(case: SolenoidValveCase) -> Finding:
    count = case.sweeps.pairs
    pairs = zip(case.sweeps.towards(1)[:count], case.sweeps.towards(-1)[:count], strict=True)
    found = [width for up, down in pairs if (width := loop_width(np.sqrt(up), np.sqrt(down))) is not None]
    if len(found) < 3:
        return case.missing(*WIDTH, f"only {len(found)} sweeps can be compared up and down")
    measured = repeats(found)
    measured = measured.widened(0.1, math.hypot(SCALE_U, SHAPE_U, TURNS_U) * measured.value)
    return case.finding(*WIDTH[:2], measured, WIDTH[2], high="sticky", span_s=case.sweeps.span_s)


def loop_width(up_a: Floats, down_a: Floats) -> float | None:
    """Mean over 10 to 90 % of travel of how much further open the valve is on the way back at equal
    current."""
    known = np.isfinite(up_a) & np.isfinite(down_a)
    if known.sum() < 40:
        return None
    rising = np.maximum.accumulate(down_a[known])
    back = np.interp(up_a[known], rising, GRID[known], right=math.nan)
    inside = (GRID[known] > 10) & (GRID[known] < 90) & np.isfinite(back)
    return float(np.mean((back - GRID[known])[inside])) if inside.sum() > 20 else None


def _friction(case: SolenoidValveCase) -> Finding:
    half = level(case.sweeps.friction_a, case.side(opening=True))
    if len(half) < 3:
        return case.missing(*FRICTION, f"only {len(half)} sweeps cover the travel both ways")
    measured = repeats(half)
    gain = 2 * case.accuracy("current_a", "gain") * measured.value
    measured = measured.widened(gain, math.hypot(2 * SHAPE_U, TURNS_U) * measured.value)
    return case.finding(*FRICTION[:2], measured, FRICTION[2], high="sticky", span_s=case.sweeps.span_s)


def _spring(case: SolenoidValveCase) -> list[Finding]:
    fits = opening_fits(case)
    if len(fits) < 3:
        return [
            case.missing(*quantity, f"only {len(fits)} sweeps cover the travel both ways")
            for quantity in (PRELOAD, SLOPE)
        ]
    out = []
    for quantity, found in ((PRELOAD, _at_seat(case)), (SLOPE, fits[:, 1])):
        if len(found) < 3:
            out.append(case.missing(*quantity, f"only {len(found)} sweeps cover the travel both ways"))
            continue
        measured = repeats(found)
        bent = 2 * NOT_LINEAR_A * math.sqrt(max(float(np.nanmax(found)), 0.0))
        gain = 2 * case.accuracy("current_a", "gain") * measured.value
        shape = math.hypot(SHAPE_U, TURNS_U) if quantity is PRELOAD else SHAPE_U
        measured = measured.widened(gain, bent, shape * measured.value)
        out.append(
            case.finding(*quantity[:2], measured, quantity[2], low="weak_spring", span_s=case.sweeps.span_s)
        )
    return out


def _at_seat(case: SolenoidValveCase) -> Floats:
    """Middle of the loop at the seat, A2, a pair of sweeps each: a parabola, because a pull is never quite
    flat."""
    keep = case.side(opening=True)
    found = []
    for row in case.sweeps.spring_a:
        known = keep & np.isfinite(row)
        if known.sum() >= 40 and np.ptp(GRID[known]) >= 60:
            found.append(float(np.polynomial.polynomial.polyfit(GRID[known] / 100, row[known], 2)[0]))
    return np.array(found)
