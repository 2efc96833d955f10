"""What a trial's estimates are laid beside: the truth of each finding, as far as a plant knows it.

A finding is compared with what it claims. The winding's resistance is measured at the bench's terminals and
the profile's stated leads are taken off, so its truth is the winding at 20 C and whatever the specimen's
leads have beyond those.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.parts.profile import Profile
from strokebench.physics.copper import resistance_at

RPM = 60 / (2 * np.pi)


def true_values(plant: Any, profile: Profile, name: str) -> dict[str, float]:
    """Return the truth by finding, in the finding's unit; ``name`` is the injected defect or "good"."""
    leads_ohm = plant.conditions.lead_ohm
    beyond_ohm = leads_ohm - profile.nominal.get("lead_ohm", 0.0)
    found: dict[str, float] = {}
    if hasattr(plant, "mover"):
        found = _winding(plant.mover.resistance_ohm, plant.mover.inductance_h, beyond_ohm)
    elif hasattr(plant, "coil"):
        coil = plant.coil
        at_rest_h = coil.base_h + coil.a_hm / (coil.gap_m + coil.stroke_m)
        found = _winding(coil.resistance_ohm, at_rest_h, beyond_ohm)
    elif hasattr(plant, "turner"):
        found = {"motor_constant": plant.turner.k_si}
    if hasattr(plant, "supply_ohm"):
        found |= {"supply_side": 1e3 * plant.supply_ohm, "ground_side": 1e3 * plant.ground_ohm}
    if name == "lead_resistance":
        found.pop("winding_resistance", None)
    if name == "open_winding":
        found = {}
    return found


def _winding(ohm: float, henry: float, beyond_ohm: float) -> dict[str, float]:
    return {"winding_resistance": resistance_at(ohm, 25.0, 20.0) + beyond_ohm, "inductance": henry * 1e3}


def true_speed(seen: list[tuple[float, float]], span_s: tuple[float, float] | None) -> float | None:
    """Return the speed in rpm amid a finding's span by ``seen`` (pairs of time in s and rad/s), if any."""
    if span_s is None or not seen:
        return None
    times_s, speeds = zip(*seen, strict=True)
    return float(np.interp((span_s[0] + span_s[1]) / 2, times_s, speeds)) * RPM


def errors(
    findings: list[Finding],
    plant: Any,
    profile: Profile,
    name: str,
    place: float | str,
    seen: list[tuple[float, float]],
) -> dict[str, float]:
    """Return each estimate's error: a share of the truth, and for a found binding % of travel."""
    known = {finding.key: finding for finding in findings if finding.known}
    truth = true_values(plant, profile, name)
    if "speed" in known:
        speed = true_speed(seen, known["speed"].span_s)
        if speed:
            truth["speed"] = speed
    out = {key: known[key].value / true - 1 for key, true in truth.items() if key in known}
    if name == "binding" and "binding" in known and known["binding"].place is not None:
        out["place"] = known["binding"].place - 100 * float(place)
    return out
