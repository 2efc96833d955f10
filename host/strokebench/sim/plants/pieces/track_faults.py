"""Defects of potentiometer tracks, the same for every part that has them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.faults import Fault, FaultKind
from strokebench.sim.plants.pieces.tracks import Track, TrackShape


def track_faults(*tracks: str) -> tuple[FaultKind, ...]:
    """Return the defects for a part with these tracks ("a", or "a" and "b")."""
    return (
        FaultKind(
            "worn_track", "sensor track A is worn at a place", "share of the signal lost at worst", 0.4, 0.9,
            "share of travel", 0.3, largest=1.0,
        ),
        FaultKind("track_dead", "a sensor track gives nothing", "no matter", 1, 1, "track", "a", tracks),
        FaultKind("track_shorted", "a track is shorted to its feed", "no matter", 1, 1, "track", "a", tracks),
    )  # fmt: skip


def worn_tracks(
    shapes: Sequence[TrackShape], share: NDArray[np.float64], seed: int, faults: Iterable[Fault]
) -> list[Track]:
    """Return the tracks of a part on the grid ``share`` (share of travel), with their defects."""
    faults = list(faults)
    return [_track(index, shape, share, seed, faults) for index, shape in enumerate(shapes)]


def _track(
    index: int, shape: TrackShape, share: NDArray[np.float64], seed: int, faults: list[Fault]
) -> Track:
    stuck, wear, place = None, 0.0, 0.3
    for fault in faults:
        if fault.name == "worn_track" and index == 0:
            wear, place = fault.size, float(fault.place)
        elif fault.name in ("track_dead", "track_shorted") and fault.place == "ab"[index]:
            stuck = 0.0 if fault.name == "track_dead" else 1.0
    return Track(shape, share, np.random.default_rng((seed, 3 + index)), wear, place, stuck)
