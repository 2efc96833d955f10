"""The limits a part is driven within: sent to the bench, which enforces them, before anything moves."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, model_validator
from strokefw.guard import limits as guard_limits

from strokebench.parts.toml import Within

STRICT = ConfigDict(extra="forbid", frozen=True, strict=True)
"""Every model of ours: no unknown keys, no silent conversion, no change after checking."""

_BENCH = guard_limits.ABSOLUTE[0]
"""The reference bench, which allows the most of all kinds; what another kind allows is asked of the bench."""
_MOST_A = _BENCH.current_mean_ma / 1000
_Supply = Annotated[float, Within(_BENCH.supply_min_mv / 1000, _BENCH.supply_max_mv / 1000, "V")]
_Peak = Annotated[float, Within(0.1, _BENCH.current_max_ma / 1000, "A")]

Drive = Annotated[float, Within(-1, 1, "(fraction of the supply, sign = polarity)")]


class Limits(BaseModel):
    """What the part may see. Amps and volts at the bridge, seconds, 1/s for the drive's rate of change."""

    model_config = STRICT

    current_max_a: _Peak
    """Peak of any PWM period; cut by the comparator."""
    current_mean_a: Annotated[float, Within(0.05, _MOST_A, "A")]
    """Mean over a tick."""
    supply_min_v: _Supply = 10.5
    supply_max_v: _Supply = 16.0
    drive_min: Drive
    drive_max: Drive
    slew_per_s: Annotated[float, Within(0.1, _BENCH.slew_per_ms / 10, "1/s")] = 10.0
    """Fastest change of drive, except to off."""
    stall_a: Annotated[float, Within(0, _BENCH.current_max_ma / 1000, "A")]
    stall_s: Annotated[float, Within(0.05, 30, "s")]
    """Longest time above ``stall_a`` without the part moving."""
    heartbeat_s: Annotated[float, Within(0.1, 2, "s")] = 0.5
    """Longest silence of the host while driving."""
    part_temp_max_c: Annotated[float, Within(30, 150, "degrees C")] = 100.0
    i2t_part_a2s: Annotated[float, Within(1, 100_000, "A2s")]
    """Heat the part takes above ``i2t_part_rest_a`` before it must rest: the integral of i^2 - rest^2."""
    i2t_part_rest_a: Annotated[float, Within(0.01, _MOST_A, "A")]
    """Current the part bears for ever."""
    i2t_leads_a2s: Annotated[float, Within(1, 100_000, "A2s")] = 3000.0
    i2t_leads_rest_a: Annotated[float, Within(0.01, _MOST_A, "A")] = 20.0
    part_thermistor: bool = False
    """The loose thermistor sits on the part: its temperature limit and its health are judged."""
    sensor_feed: bool = False
    """The part's sensor lives on the 5 V feed: driving stops when the feed is out of range."""
    part_expected: bool = True
    """The self-test looks for an open or shorted part before the supply is switched on."""

    @model_validator(mode="after")
    def _consistent(self) -> Limits:
        pairs = (
            ("current_mean_a", self.current_mean_a, "current_max_a", self.current_max_a),
            ("supply_min_v", self.supply_min_v, "supply_max_v", self.supply_max_v),
            ("drive_min", self.drive_min, "drive_max", self.drive_max),
            ("stall_a", self.stall_a, "current_max_a", self.current_max_a),
        )
        for low_name, low, high_name, high in pairs:
            if low > high or (low == high and low_name[-1] == "v"):
                raise ValueError(f"{low_name} = {low:g} must be below {high_name} = {high:g}")
        if not self.drive_min <= 0 <= self.drive_max:
            raise ValueError("drive_min must not be above 0 and drive_max not below 0: off must be allowed")
        return self
