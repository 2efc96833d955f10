"""Does the part move the way it is driven? Swapped motor leads and a sensor wired the wrong way round."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strokebench.diagnose import labels
from strokebench.diagnose.expects import nominal_percent
from strokebench.diagnose.stats import Floats

if TYPE_CHECKING:
    from strokebench.diagnose.moving.case import MovingCase

FIRM, FEWEST = 0.25, 100
"""Drive from which a part goes to that side's stop, and samples of it in each direction."""
APART_PERCENT = 50.0
"""Driven open and driven shut it must be so far apart, in % of nominal travel (judgement)."""
MOTOR = "moves the wrong way: the motor's two leads are swapped, swap them and measure again"
SENSOR = "its sensor reads the wrong way round: the sensor's feed and ground, or its signals, are swapped"


def wrong_way(case: MovingCase) -> str:
    """Return what is wired the wrong way round, empty when nothing is or it cannot be known."""
    track = case.profile.tracks.get("a")
    rows = case.run.samples
    if track is None or not len(rows):
        return ""
    percent = np.asarray(nominal_percent(track, rows["sensor_a_v"]), float)
    shut = _last_half(percent, rows["drive"] <= -FIRM)
    open_ = _last_half(percent, rows["drive"] >= FIRM)
    if not shut - open_ > APART_PERCENT:  # also without one of them
        return ""
    rest = [rows["sensor_a_v"] for rows in case.samples(labels.REST)]
    at_rest = float(np.median(nominal_percent(track, rest[0]))) if rest else 0.0
    return SENSOR if at_rest > 50.0 else MOTOR


def _last_half(percent: Floats, driven: NDArray[np.bool_]) -> float:
    """Return where the part is in the later half of the samples that are ``driven``; NaN of too few."""
    found = percent[driven]
    return float(np.median(found[len(found) // 2 :])) if len(found) >= FEWEST else math.nan
