"""Why rows of docs/coverage.md fall short: a reason by finding, and the section that leaves no row out."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Protocol

RIGHT, SURE = 2.0, 2.0
"""Median of 2 u over the rms error that is aimed at, and by how many standard deviations of the rms error a
row is beyond it before it is listed. That of n normal errors is uncertain by 1/sqrt(2 n) of itself."""
REASONS = {
    "breakaway_open": "nobody knows how much of the static friction is present when the part begins to move "
    "(creeping, play)",
    "brush_drop": "only priors separate it from resistance, and they cover the worst contact",
    "drag": "only a prior says how much of the torque is proportional to the speed, above all in fans",
    "drop_out_current": "curvature of the current's converter at a small current, for any bench",
    "drop_out_ratio": "curvature of the current's converter at a small current, for any bench",
    "friction": "presliding and side pull bend the loop; the term for it is of the worst specimens",
    "ground_side": "it is a difference of two converters at small currents, for any bench",
    "half_open_current": "the gain of the current's channel, for any bench",
    "hysteresis": "a gear that rubs more under load, which the first family does not have",
    "inductance": "the converter's steps within the ripple and its gain, for any bench",
    "inductance_pulled": "iron with eddy currents, which the first family does not have",
    "leak": "in small steps eddy currents look like a leak, and the first family has none",
    "load_rise": "a power or a linear term is fitted, but the family has none",
    "load_torque": "the reason of the torque's rise",
    "loop_resistance": "the prior of the drop's slow part covers contacts with a knee at 2 A",
    "low_speed_loss": "only the shape of the law separates it from dry torque and flow",
    "motor_constant": "the gain of the outputs, for any bench",
    "opening_current": "curvature of the current's converter at a small current, for any bench",
    "opening_voltage": "the reason of the opening current",
    "plunger_moves": "the reasons of both inductances",
    "preload_close": "presliding and friction that differs with the place, of the worst specimens",
    "preload_open": "presliding and friction that differs with the place, of the worst specimens",
    "pull_in_current": "the gain of the current's channel, for any bench",
    "pull_in_time": "the bench's slew limit turns the step into a ramp, which is corrected by a law",
    "pump_resistance": "the reason of the loop's resistance, and the harness",
    "rest_position": "a bend of the sensor between the stops, for which only an allowance is known",
    "rest_spread": "a sensor's hysteresis, which plain tracks do not have; the truth of the first family is "
    "near 0",
    "seat_sticking": "the reason of breakaway; with play, motor and valve break loose one after the other",
    "shut_position": "zero and gain of the sensor's channel, for any bench",
    "source_resistance": "gains, for any bench; with a part that takes little, the converter's steps",
    "speed": "the tolerance of the chip's crystal, of which simulated specimens use only a part",
    "spring_slope": "detents and presliding that look like a slope, and which the first family hardly has",
    "stop_closed": "a sensor's hysteresis may tilt the line that is extended back to the touch",
    "stop_open": "nothing presses against this stop, and the sensor depends on the direction of approach",
    "supply_rest": "the gain of the supply's channel, for any bench",
    "supply_side": "it is a difference of two converters at small currents, for any bench",
    "travel": "the reasons of both stops; a valve that is too weak to reach its stop reads as short",
    "winding_resistance": "gains of current and outputs and the part's temperature, for any bench",
    "wire_load": "the gain of the current's channel, for any bench",
}
"""Finding -> why its uncertainty is wide, or not wide enough in some specimens."""


class Short(Protocol):
    """What is asked of a row of the coverage table."""

    @property
    def part(self) -> str: ...
    @property
    def finding(self) -> str: ...
    @property
    def family(self) -> str: ...
    @property
    def mark(self) -> str: ...
    @property
    def ratio(self) -> float: ...
    @property
    def count(self) -> int: ...


def too_wide(row: Short) -> bool:
    """True where U/rms is beyond the aim by more than so few specimens may do by chance."""
    return row.ratio > RIGHT * (1 + SURE / math.sqrt(2 * row.count))


def section(table: Iterable[Short]) -> list[str]:
    """Return a line for each finding of which a row is low or too wide: where, and why."""
    where: dict[str, list[str]] = {}
    for row in table:
        said = [row.mark] if row.mark == "low" else []
        said += [f"{row.ratio:.1f}"] if too_wide(row) else []
        if said:
            text = f"{row.part} {row.family} ({', '.join(said)})"
            where.setdefault(row.finding, []).append(text)
    lines = [
        f"- `{finding}`: {REASONS.get(finding, 'no reason is known')}. {'; '.join(places)}."
        for finding, places in sorted(where.items())
    ]
    return lines or ["None."]
