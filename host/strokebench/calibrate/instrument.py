"""The reference instrument: what its maker or certificate says, as standard uncertainty (JCGM 100, 4.3)."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import BaseModel

from strokebench.parts.limits import STRICT
from strokebench.parts.toml import Within
from strokebench.physics.gum import rectangular


class Instrument(BaseModel):
    """A reference: meter, shunt with meter, or resistance decade.

    ``percent`` of the reading and ``absolute`` (the channel's unit) are limits of error as in a data sheet
    (rectangular, ``stated`` "limits") or an expanded uncertainty of a certificate ("k2").  ``resolution`` is
    its last digit in the channel's unit.
    """

    model_config = STRICT

    name: str
    identity: str = ""
    """Serial number, certificate."""
    percent: Annotated[float, Within(0, 5, "%")]
    absolute: Annotated[float, Within(0, 1000)] = 0.0
    resolution: Annotated[float, Within(0, 1000)] = 0.0
    stated: Literal["limits", "k2"] = "limits"
    channels: list[str] = []
    """Channels that it is the reference for; none named: for all others."""

    @property
    def u_gain(self) -> float:
        """Relative standard uncertainty, common to all its readings."""
        return self._standard(self.percent / 100)

    @property
    def u_offset(self) -> float:
        """Standard uncertainty in the channel's unit, common to all its readings."""
        return self._standard(self.absolute)

    @property
    def u_reading(self) -> float:
        """Standard uncertainty of one reading from the last digit: half a digit either way."""
        return rectangular(self.resolution / 2)

    def u(self, value: float) -> float:
        """Combined standard uncertainty of a reading."""
        return math.hypot(self.u_gain * value, self.u_offset, self.u_reading)

    def _standard(self, stated: float) -> float:
        return rectangular(stated) if self.stated == "limits" else stated / 2


def instrument_for(channel: str, instruments: list[Instrument]) -> Instrument | None:
    """Return the instrument that a channel was read with."""
    own = [instrument for instrument in instruments if channel in instrument.channels]
    general = [instrument for instrument in instruments if not instrument.channels]
    return next(iter(own + general), None)
