"""Where the part is, in % of travel: 0 at the closed stop, 100 at the open one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.moving.tracks import Track
from strokebench.diagnose.stats import Floats, moving_mean

REACHED = (0.90, 1.10)
"""Measured span over nominal span within which both stops count as reached."""
SMOOTH = 7
"""Samples of the moving mean; 7 ms costs 0.3 % of travel only at 100 %/s."""


@dataclass(frozen=True)
class Position:
    """``percent`` per sample; ``track`` it was read from; ``stops_found`` False when nominal stops had to
    serve.

    ``u_percent`` is the standard uncertainty of a position (offset left by the stops, noise after smoothing).
    """

    percent: Floats
    track: str
    stops_found: bool
    u_percent: float


def read_position(tracks: dict[str, Track]) -> Position | None:
    """Return the position from the best track that is alive, None when none is."""
    alive = [track for track in tracks.values() if track.alive]
    if not alive:
        return None
    best = min(alive, key=lambda track: (not _reached(track), int(track.glitch.sum()) // 5, track.noise_v))
    closed_v, open_v = (
        (best.closed_v, best.open_v) if _reached(best) else (best.layout.closed_v, best.layout.open_v)
    )
    volts = np.where(best.glitch, best.clean, best.volts)
    percent = moving_mean((volts - closed_v) / (open_v - closed_v) * 100, SMOOTH)
    noise = best.noise_v / abs(open_v - closed_v) * 100
    u_percent = math.hypot(noise / math.sqrt(SMOOTH), 0.05 if _reached(best) else 3.0)
    return Position(percent, best.name, _reached(best), u_percent)


def _reached(track: Track) -> bool:
    """True when both stops were found about as far apart as the profile says."""
    share = (track.open_v - track.closed_v) / track.nominal_span_v
    return math.isfinite(share) and REACHED[0] <= share <= REACHED[1]
