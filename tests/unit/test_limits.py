"""What a profile may ask for is what the chip takes: the same ends, told before the bench is asked."""

from __future__ import annotations

import pytest
from pydantic import ValidationError
from strokebench.link.conversion import limits_values
from strokebench.parts.limits import Limits
from strokefw.guard import limits as guard_limits
from strokefw.link.wire import Limits as ChipLimits

WIDE = {
    "current_max_a": 60.0, "current_mean_a": 45.0, "supply_min_v": 8.0, "supply_max_v": 17.0,
    "drive_min": -1.0, "drive_max": 1.0, "slew_per_s": 100.0, "stall_a": 60.0, "stall_s": 30.0,
    "heartbeat_s": 2.0, "part_temp_max_c": 150.0, "i2t_part_a2s": 100_000.0, "i2t_part_rest_a": 45.0,
    "i2t_leads_a2s": 100_000.0, "i2t_leads_rest_a": 45.0,
}  # fmt: skip
TIGHT = {
    **WIDE, "current_max_a": 0.1, "current_mean_a": 0.05, "stall_a": 0.0, "slew_per_s": 0.1, "stall_s": 0.05,
    "heartbeat_s": 0.1, "part_temp_max_c": 30.0, "i2t_part_a2s": 1.0, "i2t_part_rest_a": 0.01,
    "i2t_leads_a2s": 1.0, "i2t_leads_rest_a": 0.01, "drive_min": 0.0, "drive_max": 0.0, "supply_min_v": 16.9,
}  # fmt: skip
SIGNLESS = [name for name in WIDE if not name.startswith("drive")]
BEYOND = [(WIDE, name) for name in SIGNLESS] + [
    (TIGHT, name) for name in SIGNLESS if name not in ("stall_a", "supply_min_v", "supply_max_v")
]


def chip(limits: Limits, **changes: int) -> int:
    """Return the reference bench's answer to the limits; 0 when it takes them."""
    taken = ChipLimits(limits_values(limits))
    for name, value in changes.items():
        setattr(taken, name, value)
    return int(guard_limits.check(taken, None, False, guard_limits.ABSOLUTE[0]))


@pytest.mark.parametrize("values", [WIDE, TIGHT], ids=["widest", "tightest"])
def test_the_ends_are_taken_by_profile_and_chip(values: dict[str, float]) -> None:
    assert chip(Limits(**values)) == 0


@pytest.mark.parametrize(("values", "name"), BEYOND)
def test_a_hair_beyond_an_end_is_told_by_the_profile(values: dict[str, float], name: str) -> None:
    up = (values is WIDE) != (name == "supply_min_v")
    beyond = values[name] * (1.0001 if up else 0.9999)
    with pytest.raises(ValidationError, match="must be between"):
        Limits(**{**values, name: beyond})


@pytest.mark.parametrize(
    ("name", "value"),
    [("supply_min_mv", 7999), ("supply_max_mv", 17001), ("current_max_ma", 60001), ("current_mean_ma", 45001),
     ("slew_per_ms", 1001), ("stall_ms", 30001), ("heartbeat_ms", 2001), ("part_temp_max_dc", 1501),
     ("i2t_part_a2s", 100_001), ("i2t_leads_a2s", 0), ("i2t_part_rest_ma", 45_001), ("i2t_leads_rest_ma", 9)],
)  # fmt: skip
def test_the_chip_refuses_beyond_the_same_ends(name: str, value: int) -> None:
    assert chip(Limits(**WIDE), **{name: value}) != 0
