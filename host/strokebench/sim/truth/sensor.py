"""Truths that the position sensor has a part in: travel, stops, where the part stands after a release."""

from __future__ import annotations

from typing import Any

import numpy as np

from strokebench.diagnose import labels
from strokebench.sim.truth.common import Specimen

MEANS = {
    "travel": "sensor reading between the two places where the stops are just touched, as a share of the "
    "nominal travel",
    "stop_closed": "sensor reading where the closed stop is just touched, minus the nominal reading, as a "
    "share of the nominal span",
    "stop_open": "sensor reading where the open stop is just touched, minus the nominal reading, as a share "
    "of the nominal span",
    "shut_position": "sensor reading where the part stood after release, minus the nominal reading,"
    " as a share of the span",
    "rest_position": "mean of the places where the part came to rest from either side, by the angle"
    " of the shaft",
    "rest_spread": "distance between these two places",
}


def truths(specimen: Specimen, lowest: float) -> dict[str, float]:
    """Return the truths by finding; ``lowest`` is the place of the lower stop, share of travel."""
    found: dict[str, float] = {}
    which = _track(specimen)
    released = specimen.places(labels.RELEASE_OPEN)
    if which:
        layout = specimen.profile.tracks[which]  # type: ignore[index]
        per_v = 100 / (layout.open_v - layout.closed_v)
        closed_v, open_v = (sensor_v(specimen.plant, which, share) for share in (lowest, 1.0))
        found["travel"] = per_v * (open_v - closed_v)
        found["stop_closed"] = per_v * (closed_v - layout.closed_v)
        found["stop_open"] = per_v * (open_v - layout.open_v)
        known = released[np.isfinite(released)]
        if len(known) >= 3:
            volts = [sensor_v(specimen.plant, which, float(share)) for share in known]
            found["shut_position"] = per_v * (float(np.mean(volts)) - layout.closed_v)
    sides = released, specimen.places(labels.RELEASE_CLOSE)
    if min(np.isfinite(side).sum() for side in sides) >= 3:
        means = [100 * float(np.nanmean(side)) for side in sides]
        found["rest_position"], found["rest_spread"] = sum(means) / 2, abs(means[0] - means[1])
    return found


def _track(specimen: Specimen) -> str:
    """Return the track that the travel was read from: whose closed volts the finding on that stop holds."""
    stop = specimen.found.get("stop_closed")
    volts = stop.evidence.get("volts") if stop is not None else None
    if volts is None:
        return ""
    tracks = specimen.profile.tracks
    return min(tracks, key=lambda name: abs(tracks[name].closed_v - volts))


def sensor_v(plant: Any, track: str, share: float) -> float:
    """Return what a sensor gives at a place with a feed of 5 V, without noise and hysteresis."""
    index = "ab".index(track)
    if hasattr(plant, "_sensors"):
        return 5.0 * float(plant._sensors[index].share_at(share))
    values = plant._tracks[index]._values
    if hasattr(plant, "coil"):
        place = share * (len(values) - 2)
    else:
        from strokebench.sim.plants.positioner import MARGIN_RAD

        place = (share * plant.mover.travel_rad + MARGIN_RAD) * plant._per_rad
    return 5.0 * float(np.interp(place, np.arange(len(values)), values))
