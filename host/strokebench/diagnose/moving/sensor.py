"""The position sensor: each track alive, quiet and without dead spots; both tracks telling the same."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.sweeps import GRID
from strokebench.diagnose.moving.tracks import Track, jumps, spikes
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, line, spread

TRACKS = ("a", "b")
MISMATCH = ("track_mismatch", "Tracks: largest disagreement", "% of travel")
LINEARITY = ("track_linearity", "Tracks: linearity against each other", "% of travel")
SWING = ("track_{}_swing", "Track {}: swing", "% of nominal")
NOISE = ("track_{}_noise", "Track {}: noise", "mV")
DROPOUTS = ("track_{}_dropouts", "Track {}: dropouts at one place", "times")
SAME_PLACE = 3.0
APART_S = 0.02
JUMPS = 2
"""A disturbance over the air jumps there and back: that is once."""
NOT_PRESSED = "the recording does not show it pressed against both stops, so it may not have gone all the way"
FEW_LEVELS = 0.2
"""With fewer different values than this share of all, they are a digitizer's steps."""
ALIKE = 0.05
"""Share of the nominal span by which the swings of two sound tracks may differ (judgement)."""

KEYS = (
    *(key.format(track) for track in TRACKS for key, *_ in (SWING, NOISE, DROPOUTS)), MISMATCH[0],
    LINEARITY[0],
)  # fmt: skip

QUESTION = Question(
    needs="",  # each track says for itself whether it was recorded
    group="Position sensor",
    keys=KEYS,
    anyhow=KEYS,
)


def find(case: MovingCase) -> list[Finding]:
    """Return swing, noise and dropouts per track, then mismatch and linearity of one track against the
    other."""
    out: list[Finding] = []
    for name in map(str, case.profile.tracks):
        track = case.tracks.get(name)
        if track is None:
            why = "the recording does not hold this track"
            out += [case.missing(*_named(quantity, name), why) for quantity in (SWING, NOISE, DROPOUTS)]
        else:
            out += [_swing(case, track), _noise(case, track), _dropouts(case, track)]
    return [*out, *_agreement(case)]


def _named(quantity: tuple[str, str, str], name: str) -> tuple[str, str, str]:
    """Key, title and unit of a finding of one track."""
    return quantity[0].format(name), quantity[1].format(name.upper()), quantity[2]


def _swing(case: MovingCase, track: Track) -> Finding:
    key, title, unit = _named(SWING, track.name)
    others_move = any(other.alive for other in case.tracks.values())
    if not others_move and not (track.rail and case.drives_current):
        return case.missing(key, title, unit, case.why_no_position)
    if not case.pushed_open and not track.rail:
        return case.missing(key, title, unit, case.WHY_NOT_OPEN)
    share = track.swing * 100
    noise = track.noise_v / abs(track.nominal_span_v) * 100
    u = math.hypot(case.accuracy(f"sensor_{track.name}_v", "gain") * share, noise)
    fault = "track_shorted" if track.rail == "high" else "track_dead"
    if track.alive and all(_alike(track, case.tracks.get(str(name))) for name in case.profile.tracks):
        fault = "short_travel"  # tracks that follow and agree, or a single one that follows, are believed
    if track.alive and not case.both_stops:
        return case.missing(key, title, unit, NOT_PRESSED)
    evidence = {"volts": float(np.median(track.volts)), "rail": track.rail}
    measured = Measured(share, u)
    return case.finding(key, title, measured, unit, low=fault, high="track_range", evidence=evidence)


def _alike(track: Track, other: Track | None) -> bool:
    """True when both moved equally far, so that neither is dead: the part came no further."""
    return other is not None and other.alive and abs(track.swing - other.swing) < ALIKE


def _noise(case: MovingCase, track: Track) -> Finding:
    key, title, unit = _named(NOISE, track.name)
    if not track.alive:
        return case.missing(key, title, unit, "the track does not follow the motion")
    count = len(track.volts)
    noise_mv = track.noise_v * 1e3
    measured = Measured(noise_mv, noise_mv / math.sqrt(count / 10))
    if case.by_samples:
        own_mv = 1e3 * instrument_noise_v(case, track)
        measured = Measured(math.sqrt(max(noise_mv**2 - own_mv**2, 0.0)), own_mv).widened(measured.u)
    return case.finding(key, title, measured, unit, high="worn_track")


def instrument_noise_v(case: MovingCase, track: Track) -> float:
    """What somebody else's instrument adds to a track: its noise while the part stands, or a digitizer's
    step, which shows only while it moves."""
    resting = [track.volts[case.window(mark.start_s, mark.end_s)] for mark in case.stretches(labels.REST)]
    noise_v = float(spread(np.diff(np.concatenate(resting), 2))) / math.sqrt(6) if resting else 0.0
    levels = np.unique(track.volts)
    stepped = 1 < len(levels) < FEW_LEVELS * len(track.volts)
    return math.hypot(noise_v, float(np.median(np.diff(levels))) / math.sqrt(12) if stepped else 0.0)


def _spikes(case: MovingCase, track: Track) -> Finding | None:
    """Single rows that jump away and back at the same place in two quick moves or more; None without."""
    key, title, unit = _named(DROPOUTS, track.name)
    at = spikes(track.volts, track.nominal_span_v)
    if len(at) < 2:
        return None
    beside = np.column_stack((track.volts[at - 1], track.volts[at + 1]))
    percent = (beside - track.layout.closed_v) / track.nominal_span_v * 100
    places, reach = percent.mean(axis=1), np.abs(np.diff(percent, axis=1)[:, 0]) / 2
    near = np.abs(places[:, None] - places) < SAME_PLACE + reach[:, None] + reach
    worst = int(np.argmax(near.sum(axis=1)))
    times, time_s = int(near[worst].sum()), case.run.samples["time_s"][at[near[worst]]]
    if times < 2:
        return None
    return case.finding(
        key, title, Measured(float(times), 0.0), unit, high="worn_track", place=float(places[worst]),
        span_s=(float(time_s[0]) - 0.01, float(time_s[-1]) + 0.01),
    )  # fmt: skip


def _dropouts(case: MovingCase, track: Track) -> Finding:
    """Dropouts recur at one place on the track; a single one anywhere may have come over the air."""
    key, title, unit = _named(DROPOUTS, track.name)
    if not track.alive or case.position is None:
        return case.missing(key, title, unit, "the track does not follow the motion")
    time_s = case.run.samples["time_s"]
    starts = _separate(np.flatnonzero(track.glitch), time_s)
    places = case.position.percent[starts]
    if case.by_samples and (in_snaps := _spikes(case, track)) is not None:
        return in_snaps
    if not len(places):
        return case.finding(key, title, Measured(0.0, 0.0), unit, high="worn_track")
    ordered = np.sort(places)
    crowd = np.searchsorted(ordered, places + SAME_PLACE) - np.searchsorted(ordered, places - SAME_PLACE)
    worst = int(np.argmax(crowd))
    group = np.flatnonzero(np.abs(places - places[worst]) < SAME_PLACE)
    depth = np.abs(track.volts - track.clean)[track.glitch]
    times = len(group)
    if case.by_samples:  # a track that jumps to and fro in one passing recurs as well
        to_and_fro = jumps(track.volts, track.nominal_span_v, case.period_s)
        there = np.abs(case.position.percent[to_and_fro] - places[worst]) < SAME_PLACE
        times = max(times, int(there.sum()) // JUMPS)
    return case.finding(
        key, title, Measured(float(times), 0.0), unit, high="worn_track",
        place=float(np.median(_glitch_places(case, track, float(places[worst])))),
        span_s=(float(time_s[starts[group[0]]]) - 0.01, float(time_s[starts[group[-1]]]) + 0.01),
        evidence={"deepest_v": float(depth.max()), "all": len(starts)},
    )  # fmt: skip


def _glitch_places(case: MovingCase, track: Track, around: float) -> Floats:
    assert case.position is not None
    places = case.position.percent[track.glitch]
    return np.asarray(places[np.abs(places - around) < 2 * SAME_PLACE])


def _separate(
    index: np.ndarray[tuple[int], np.dtype[np.intp]], time_s: Floats
) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """First samples of groups that are at least 20 ms apart."""
    if not len(index):
        return index
    return index[np.r_[True, np.diff(time_s[index]) > APART_S]]


def _agreement(case: MovingCase) -> list[Finding]:
    tracks = [track for track in case.tracks.values() if track.alive]
    if len(case.profile.tracks) < 2:
        return []
    if len(tracks) < 2 or case.position is None:
        return [
            case.missing(*quantity, "two tracks that follow the motion are needed")
            for quantity in (MISMATCH, LINEARITY)
        ]
    curve_a, curve_b = (_curve(case, track) for track in tracks[:2])
    known = np.isfinite(curve_a) & np.isfinite(curve_b)
    if known.sum() < 50:
        return [
            case.missing(*quantity, "the slow sweeps cover too little of the travel")
            for quantity in (MISMATCH, LINEARITY)
        ]
    apart = curve_a[known] - curve_b[known]
    fitted = line(curve_a[known], curve_b[known])
    bend = curve_b[known] - fitted.slope * curve_a[known] - fitted.offset
    u = math.hypot(*(_u_track(case, track) for track in tracks[:2]))
    when = case.sweeps.span_s
    out = []
    for quantity, off in ((MISMATCH, apart), (LINEARITY, bend)):
        at = int(np.argmax(np.abs(off)))
        out.append(
            case.finding(*quantity[:2], Measured(float(np.abs(off[at])), u), quantity[2],
                         high="track_mismatch", place=float(GRID[known][at]), span_s=when,
                         evidence={"slope": fitted.slope})
        )  # fmt: skip
    return out


def _curve(case: MovingCase, track: Track) -> Floats:
    """Median of a track, in nominal % of travel, at each place of GRID during the slow sweeps."""
    order, edges = case.swept_cells
    values = track.volts[order]
    out = np.full(len(GRID), math.nan)
    for at in range(len(GRID)):
        if edges[at + 1] - edges[at] >= 3:
            out[at] = np.median(values[edges[at] : edges[at + 1]])
    return np.asarray((out - track.layout.closed_v) / track.nominal_span_v * 100)


def _u_track(case: Case, track: Track) -> float:
    channel = f"sensor_{track.name}_v"
    volts = math.hypot(
        case.accuracy(channel, "offset"), 2.5 * case.accuracy(channel, "gain"), track.noise_v / 2
    )
    return volts / abs(track.nominal_span_v) * 100
