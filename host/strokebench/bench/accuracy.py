"""How far a bench's readings may be off, by sample column, as a recording carries it."""

from __future__ import annotations

import math
from typing import Any

from strokebench.bench.budget import budget
from strokebench.data.samples import READINGS
from strokebench.link.conversion import LACKS

CALIBRATED_GAIN = 0.003
"""Relative standard uncertainty left by calibrating against a 0.5 % meter (rectangular: 0.5 % / sqrt 3)."""

Table = dict[str, dict[str, float]]


def accuracy(
    calibrated: bool, certificate: dict[str, Any] | None = None, finer: int = 1, few: bool = False
) -> Table:
    """Return ``offset`` (column's unit), ``gain`` (relative) and ``noise`` (unit), standard uncertainties.

    Linearity is counted into the offset.  ``certificate``: the one of the calibration in force (see
    :mod:`strokebench.bench.certificates`); its channels replace the defaults.  Without one a calibrated
    bench is taken to have been calibrated against a 0.5 % meter, its offset being what linearity leaves.
    ``finer``: how much finer the current ranges are than the reference bench's; ``few``: it measures
    few signals, and has no accuracy for the others.
    """
    mine = budget(finer, few)
    known = certificate["channels"] if certificate else {}
    table = {}
    for column in READINGS:
        if few and column in LACKS:
            continue
        channel = mine.channel_of(column, 0.0)
        own = _certified(column, known, few)
        if own is not None:
            offset, gain = own
        elif calibrated and not certificate:
            offset, gain = 0.0, min(CALIBRATED_GAIN, channel.gain)
        else:
            offset, gain = channel.offset, channel.gain
        table[column] = {
            "offset": math.hypot(offset, channel.linearity),
            "gain": gain,
            "noise": channel.noise,
        }
    return table


_CHANNELS = {
    "supply_v": ("supply",),
    "output_a_v": ("output_a",),
    "output_b_v": ("output_b",),
    "sensor_a_v": ("sensor_a", "feed"),
    "sensor_b_v": ("sensor_b", "feed"),
}
"""Column -> the channels it is made of; sensors are told relative to the feed.

Temperatures are not here: calibrating a thermistor's input does not calibrate the thermistor.
"""


def _certified(column: str, known: dict[str, Any], few: bool) -> tuple[float, float] | None:
    """Return offset and gain from a certificate, None where it does not cover the column."""
    names = _CHANNELS.get(column, ())
    if column == "current_a":
        names = ("current_coarse",) if few else ("current_fine",)
    if not names or any(name not in known for name in names):
        return None
    if len(names) == 1:
        return _offset(known[names[0]]), float(known[names[0]]["u_gain"])
    # a ratio: the gain of a reference common to both cancels, the rest does not
    own, feed = (known[name] for name in names)
    common = "reference: gain" if own["instrument"] == feed["instrument"] else ""
    gain = math.hypot(
        *(part["gain"] for channel in (own, feed) for part in channel["parts"] if part["source"] != common)
    )
    feed_v = max(abs(point["value"]) for point in feed["points"])
    return _offset(own), math.hypot(gain, feed["u_offset"] / feed_v)


def _offset(entry: dict[str, Any]) -> float:
    """Return the offset which, with the gain's part, gives the uncertainty in the middle of the points."""
    at = math.fsum(point["value"] for point in entry["points"]) / len(entry["points"])
    square = entry["u_offset"] ** 2 + 2 * at * entry["covariance"]
    return math.sqrt(max(square, 0.0))
