"""Why rows of docs/coverage.md fall short: a reason by finding, and the section that leaves no row out."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Protocol

RIGHT, SURE = 2.0, 2.0
"""Median of 2 u over the rms error that is aimed at, and by how many standard deviations of the rms error a
row is beyond it before it is listed. That of n normal errors is uncertain by 1/sqrt(2 n) of itself."""
REASONS = {
    "breakaway_open": "how much of the static friction is there when it leaves is not known (creeping, play)",
    "brush_drop": "told apart from resistance by priors only, which hold for the worst contact",
    "drag": "how much of the torque goes with the speed itself is known by its prior only, of fans above all",
    "drop_out_current": "curvature of the current's converter at a small current, for any bench",
    "drop_out_ratio": "curvature of the current's converter at a small current, for any bench",
    "friction": "presliding and side pull bend the loop; the term for it is of the worst specimens",
    "ground_side": "a difference of two converters at small currents, for any bench",
    "half_open_current": "the gain of the current's channel, for any bench",
    "hysteresis": "a gear that rubs more under load, which the first family does not have",
    "inductance": "the converter's steps within the ripple and its gain, for any bench",
    "inductance_pulled": "iron with eddy currents, which the first family does not have",
    "leak": "eddy currents look like a leak to small steps, and the first family has none",
    "load_rise": "a power, or a linear term, that is fitted though the family has none",
    "load_torque": "as with the torque's rise",
    "loop_resistance": "the prior of the drop's slow part holds for contacts with a knee at 2 A",
    "low_speed_loss": "told apart from dry torque and flow by the law's shape only",
    "motor_constant": "the gain of the outputs, for any bench",
    "opening_current": "curvature of the current's converter at a small current, for any bench",
    "opening_voltage": "as with the opening current",
    "plunger_moves": "both inductances together",
    "preload_close": "presliding and friction that differs with the place, of the worst specimens",
    "preload_open": "presliding and friction that differs with the place, of the worst specimens",
    "pull_in_current": "the gain of the current's channel, for any bench",
    "pull_in_time": "the bench's slew makes a ramp of the step, which is corrected by a law",
    "pump_resistance": "as with the loop's resistance, and the harness besides",
    "rest_position": "a bend of the sensor between the stops, of which only its allowance is known",
    "rest_spread": "a sensor's hysteresis, which plain tracks have not; the first family's truth is near 0",
    "seat_sticking": "as with breakaway; play lets motor and valve break loose apart",
    "shut_position": "zero and gain of the sensor's channel, for any bench",
    "source_resistance": "gains, for any bench; with a part that takes little, the converter's steps",
    "speed": "the chip's crystal, which simulated specimens use less than is allowed for",
    "spring_slope": "detents and presliding that stand as a slope, which the first family hardly has",
    "stop_closed": "a sensor's hysteresis may tilt the line that is carried back to the touch",
    "stop_open": "a stop that nothing presses against, and which way the sensor was approached",
    "supply_rest": "the gain of the supply's channel, for any bench",
    "supply_side": "a difference of two converters at small currents, for any bench",
    "travel": "both stops together; a valve too weak to reach its stop reads as short",
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
