"""Why rows of docs/coverage.md fall short: a reason by finding, and the section that leaves no row out."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

WIDE = 4.0
"""Median of 2 u over the rms error from which on a row is told as too wide: twice what is right."""
REASONS = {
    "breakaway_open": "how much of the static friction is there when it leaves is not known (creeping, play)",
    "brush_drop": "told apart from resistance by priors only, which hold for the worst contact",
    "drag": "how much of the torque goes with the speed itself is known by its prior only",
    "drop_out_current": "curvature of the current's converter at a small current, for any bench",
    "friction": "presliding and side pull bend the loop; the term for it is of the worst specimens",
    "ground_side": "a difference of two converters at small currents, for any bench",
    "hysteresis": "a gear that rubs more under load, which the first family does not have",
    "inductance": "the converter's steps within the ripple, for any bench",
    "inductance_pulled": "iron with eddy currents, which the first family does not have",
    "leak": "eddy currents beside the coil, which the first family does not have",
    "load_rise": "a power of the speed that is fitted though the first family's is 2 in every specimen",
    "load_torque": "as with the torque's rise",
    "loop_resistance": "the prior of the drop's slow part holds for contacts with a knee at 2 A",
    "low_speed_loss": "told apart from dry torque and flow by the law's shape only",
    "motor_constant": "the gain of the outputs, for any bench",
    "opening_current": "curvature of the current's converter at a small current, for any bench",
    "opening_voltage": "as with the opening current",
    "rest_position": "a bend of the sensor between the stops, of which only its allowance is known",
    "rest_spread": "a sensor's hysteresis, which plain tracks have not; the first family's truth is near 0",
    "seat_sticking": "as with breakaway; play lets motor and valve break loose apart",
    "shut_position": "zero and gain of the sensor's channel, for any bench",
    "source_resistance": "a part that takes little from the supply: steps of the converter in millivolts",
    "speed": "the chip's crystal, which simulated specimens use less than is allowed for",
    "spring_slope": "detents and presliding that stand as a slope, which the first family hardly has",
    "stop_closed": "a sensor's hysteresis may tilt the line that is carried back to the touch",
    "stop_open": "a stop that nothing presses against, and which way the sensor was approached",
    "supply_side": "a difference of two converters at small currents, for any bench",
    "travel": "both stops together; a valve too weak to reach its stop reads as short",
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


def section(table: Iterable[Short]) -> list[str]:
    """Return a line for each finding of which a row is low, or wider than ``WIDE``: where, and why."""
    where: dict[str, list[str]] = {}
    for row in table:
        said = [row.mark] if row.mark == "low" else []
        said += [f"{row.ratio:.0f} x"] if row.ratio > WIDE else []
        if said:
            text = f"{row.part} {row.family} ({', '.join(said)})"
            where.setdefault(row.finding, []).append(text)
    lines = [
        f"- `{finding}`: {REASONS.get(finding, 'no reason is known')}. {'; '.join(places)}."
        for finding, places in sorted(where.items())
    ]
    return lines or ["None."]
