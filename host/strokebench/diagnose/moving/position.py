"""Where the part is, in % of travel: 0 at the closed stop, 100 at the open one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.moving.tracks import Track
from strokebench.diagnose.stats import Floats, moving_mean, spread

REACHED = (0.90, 1.10)
"""Measured span over nominal span within which both stops count as reached."""
SMOOTH = 7
"""Samples of the moving mean; 7 ms costs 0.3 % of travel only at 100 %/s."""
BOW_PERCENT = 0.28
"""Standard uncertainty of a track's linearity in mid-travel, % of its span (judgement: ordinary tracks and
Hall sensors are sold with +-0.5 to +-1 %)."""
ALIKE_PERCENT = 3.0
"""Two tracks that differ by less everywhere are taken together."""
FEW_GLITCHES = 20
"""Samples that jump, from which on a track is not taken together with the other."""


@dataclass(frozen=True)
class Position:
    """``percent`` per sample; ``track`` it was read from; ``stops_found`` False when nominal stops had to
    serve.

    ``u_percent`` is the standard uncertainty of a position anywhere: stops, noise, and in mid-travel the
    sensor's linearity. ``raw`` is not smoothed.
    """

    percent: Floats
    track: str
    stops_found: bool
    u_percent: float
    raw: Floats

    def u_at(self, percent: float) -> float:
        """Standard uncertainty of a place, % of travel: a bend of the sensor ends at the stops."""
        share = min(max(percent / 100, 0.0), 1.0)
        bow = BOW_PERCENT * 4 * share * (1 - share) if self.stops_found else 0.0
        return math.hypot(self.u_percent, bow)


def read_position(tracks: dict[str, Track]) -> Position | None:
    """Return the position from the best track that is alive, with the other where both tell the same; None
    when none is."""
    alive = [track for track in tracks.values() if track.alive]
    if not alive:
        return None
    alive.sort(key=lambda track: (not _reached(track), int(track.glitch.sum()) // 5, track.noise_v))
    best = alive[0]
    raw = _percent(best)
    sound = [track for track in alive if _reached(track) and int(track.glitch.sum()) < FEW_GLITCHES]
    if len(sound) > 1:
        other = _percent(sound[1])
        if float(np.percentile(np.abs(raw - other), 99.5)) < ALIKE_PERCENT:
            raw = (raw + other) / 2
    noise = spread(np.diff(raw, 2)) / math.sqrt(6)
    stops = best.u_stop_v / abs(best.nominal_span_v) * 100 if _reached(best) else 3.0
    u_percent = math.hypot(noise / math.sqrt(SMOOTH), stops)
    return Position(moving_mean(raw, SMOOTH), best.name, _reached(best), u_percent, raw)


def _percent(track: Track) -> Floats:
    """Position by one track, glitches taken out; % of travel, by the nominal stops if its own are unknown."""
    stops_v = (
        (track.closed_v, track.open_v) if _reached(track) else (track.layout.closed_v, track.layout.open_v)
    )
    volts = np.where(track.glitch, track.clean, track.volts)
    return (volts - stops_v[0]) / (stops_v[1] - stops_v[0]) * 100


def _reached(track: Track) -> bool:
    """True when both stops were found about as far apart as the profile says."""
    share = (track.open_v - track.closed_v) / track.nominal_span_v
    return math.isfinite(share) and REACHED[0] <= share <= REACHED[1]
