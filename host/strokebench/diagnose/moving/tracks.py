"""What the position sensor's tracks say for themselves: alive, shorted, noisy, with dead spots, agreeing.

Without a reference encoder only track against track can be judged; a bend common to both tracks is not
visible.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from strokebench.diagnose.case import Case
from strokebench.diagnose.expects import TrackLayout
from strokebench.diagnose.moving.stops import CLOSED_ENDS, END_SAMPLES, OPEN_ENDS, read_stop
from strokebench.diagnose.stats import Floats, spread

ALIVE_SHARE = 0.10
"""A track that moves less than this share of its nominal span, while the part moves, is dead."""
DROPOUT_SIGMAS = 8.0
DROPOUT_MIN_V = 0.03
RAIL_V = 0.12
FASTEST = 25.0
"""Travels per second: faster moves no part (a throttle flap does 7)."""
SPIKE = 0.1
"""Of the span: so far a single row has to be off from both beside it (judgement)."""
BRIDGE_S = 0.012
"""Before the first and behind the last jump of a worn place its track is already off."""
BACK = 0.25
"""Share of the jumps one way that the other way must have: a part that slams jumps one way only, and a
little back where it bounces (judgement)."""


@dataclass(frozen=True)
class Track:
    """One track over the whole run.

    ``volts`` as recorded; ``clean`` without glitches (median of 31 ms); ``closed_v``/``open_v`` where the
    part just touches the stops, NaN where the run has none, ``u_closed_v``/``u_open_v`` their standard
    uncertainties;
    ``noise_v`` standard deviation from sample to sample; ``glitch`` a mask of samples that jump away from
    their surroundings.
    """

    name: str
    layout: TrackLayout
    volts: Floats
    clean: Floats
    closed_v: float
    open_v: float
    noise_v: float
    u_closed_v: float
    u_open_v: float
    glitch: np.ndarray[tuple[int], np.dtype[np.bool_]]

    @property
    def u_stop_v(self) -> float:
        """That of the less certain stop."""
        return max(self.u_closed_v, self.u_open_v)

    @property
    def nominal_span_v(self) -> float:
        """Signed nominal volts from closed to open."""
        return self.layout.open_v - self.layout.closed_v

    @cached_property
    def swing(self) -> float:
        """How far the track moved at all, as a share of its nominal span (robust against single glitches)."""
        low, high = np.percentile(self.clean, (0.5, 99.5))
        return float((high - low) / abs(self.nominal_span_v))

    @cached_property
    def rail(self) -> str:
        """``low`` or ``high`` where the middle half of the recording sits at ground or at the feed, else
        empty."""
        low, high = np.percentile(self.volts, (25, 75))
        if high < RAIL_V:
            return "low"
        return "high" if low > 5.0 - RAIL_V else ""

    @property
    def alive(self) -> bool:
        """True when the track follows motion."""
        return self.swing >= ALIVE_SHARE


def read_tracks(case: Case) -> dict[str, Track]:
    """Return the tracks that the profile declares and the recording holds, by name."""
    found = {}
    for name, layout in case.profile.tracks.items():
        volts = np.asarray(case.run.samples[f"sensor_{name}_v"], float)
        if len(volts) >= 100 and np.isfinite(volts).mean() > 0.5:
            found[str(name)] = _read(case, str(name), layout, volts)
    return found


def _read(case: Case, name: str, layout: TrackLayout, volts: Floats) -> Track:
    noise_v = max(_noise(volts), 1e-4)
    clean = median_filter(bridged(volts, layout.open_v - layout.closed_v, case.period_s), 31)
    glitch = np.abs(volts - clean) > max(DROPOUT_SIGMAS * noise_v, DROPOUT_MIN_V) + _slope_room(clean)
    stops = [
        read_stop(case, ends, clean, layout.open_v - layout.closed_v) for ends in (CLOSED_ENDS, OPEN_ENDS)
    ]
    u_closed_v, u_open_v = (max(noise_v / math.sqrt(END_SAMPLES), stop.u_v) for stop in stops)
    return Track(
        name, layout, volts, clean, stops[0].volts, stops[1].volts, noise_v, u_closed_v, u_open_v, glitch
    )


def jumps(volts: Floats, span_v: float, period_s: float) -> NDArray[np.intp]:
    """Indices before which a track jumps by more than any part can move from row to row."""
    fastest_v = FASTEST * period_s * abs(span_v)
    step_v = np.abs(np.diff(volts))
    return np.flatnonzero(step_v > max(fastest_v, DROPOUT_SIGMAS * 1.5 * _noise(volts), DROPOUT_MIN_V)) + 1


def spikes(volts: Floats, span_v: float) -> NDArray[np.intp]:
    """Indices of single rows that jump away and back: no part turns round twice from row to row, however fast
    it snaps."""
    least_v = max(SPIKE * abs(span_v), DROPOUT_SIGMAS * 1.5 * _noise(volts))
    before, after = volts[1:-1] - volts[:-2], volts[1:-1] - volts[2:]
    return np.flatnonzero((before * after > 0) & (np.minimum(np.abs(before), np.abs(after)) > least_v)) + 1


def bridged(volts: Floats, span_v: float, period_s: float) -> Floats:
    """Return a track with straight lines where it jumps to and fro: a part that moves slowly stays on a worn
    place for longer than a median bridges."""
    at = jumps(volts, span_v, period_s)
    out = volts.copy()
    around = max(round(BRIDGE_S / period_s), 2)
    for group in np.split(at, np.flatnonzero(np.diff(at) > 4 * around) + 1):
        if not _to_and_fro(volts[group] - volts[group - 1]):
            continue
        first, last = max(int(group[0]) - around, 0), min(int(group[-1]) + around, len(volts) - 1)
        ends_v = float(volts[max(first - 2, 0) : first + 1].mean()), float(volts[last : last + 3].mean())
        out[first : last + 1] = np.linspace(*ends_v, last + 1 - first)
    return out


def _to_and_fro(steps_v: Floats) -> bool:
    ways = float(steps_v[steps_v > 0].sum()), float(-steps_v[steps_v < 0].sum())
    return min(ways) > BACK * max(ways)


def median_filter(values: Floats, window: int) -> Floats:
    """Running median of finite data over an odd window (scipy), ends mirrored."""
    from scipy.ndimage import median_filter as running

    return np.asarray(running(np.nan_to_num(values), size=window, mode="nearest"), float)


def _noise(volts: Floats) -> float:
    """Standard deviation of the sample-to-sample noise: second differences do not see steady motion."""
    return spread(np.diff(volts, 2)) / math.sqrt(6)


def _slope_room(clean: Floats) -> Floats:
    """Room for fast motion: what the filtered signal covers in half its window."""
    step = np.abs(np.gradient(clean))
    from scipy.ndimage import maximum_filter1d

    return np.asarray(16 * maximum_filter1d(step, 31), float)
