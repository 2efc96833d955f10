"""The table ``[on."small bench"]`` of a profile: limits and drive of the part on another kind of bench."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel

from strokebench.parts.limits import STRICT
from strokebench.parts.toml import Within

Tighter = Literal[
    "current_max_a", "current_mean_a", "stall_a", "i2t_part_a2s", "i2t_part_rest_a", "i2t_leads_rest_a"
]


class Changes(BaseModel):
    """Of one kind of bench. Limits only ever get tighter by it."""

    model_config = STRICT

    limits: dict[Tighter, float] = {}
    drive_share: Annotated[float, Within(0.1, 1, "(share of the procedure's drives)")] = 1.0
    burst_channel: Literal["", "current_fine", "current_coarse"] = ""
    """Where a burst of the current is taken from; empty: from where the procedure says."""
    sensors: Literal["a", "ab"] = "ab"
    """The bench's sensor inputs. With A alone, what needs B is not asked, and a watch of B looks at A."""
    findings: dict[str, dict[str, Any]] = {}
    """Limits of findings in place of the profile's."""
    note: str = ""
