"""What a part's profile becomes on a kind of bench that cannot give all it asks for.

A profile's table ``[on."small bench"]`` names tighter limits, other limits of findings, and a share of the
drive: with less current everything of the procedure that drives is driven so much more gently.
"""

from __future__ import annotations

from typing import Any

from strokebench.parts.changes import Changes
from strokebench.parts.limits import Limits
from strokebench.parts.profile import FindingLimit, Profile, Track

WATCHED = 0.98
"""A watch for more current than the bench lets through looks for this share of what it does."""
DRIVES = ("to", "drive")
NO_B = "this bench has one sensor input"


def on_bench(profile: Profile, board: str) -> Profile:
    """Return the profile as it is on a bench whose identity says ``board``; itself where nothing changes."""
    changes = profile.on.get(board)
    if changes is None:
        return profile
    share = changes.drive_share
    limits = profile.limits.model_dump()
    limits |= {name: min(limits[name], value) for name, value in changes.limits.items()}
    limits["stall_a"] = min(limits["stall_a"], limits["current_max_a"])
    limits |= {name: round(limits[name] * share, 4) for name in ("drive_min", "drive_max")}
    procedure = profile.procedure.model_dump(exclude_none=True)
    procedure["segments"] = [
        _gentler(segment, changes, WATCHED * limits["current_mean_a"]) for segment in procedure["segments"]
    ]
    tracks = dict(profile.tracks)
    if changes.sensors == "a" and "b" in tracks:
        pair = tracks["a"], tracks["b"]
        procedure["segments"] = [_by_track_a(segment, *pair) for segment in procedure["segments"]]
        del tracks["b"]
    return profile.model_copy(
        update={
            "limits": Limits(**limits),
            "procedure": type(profile.procedure)(**procedure),
            "findings": {**profile.findings, **_without_b(profile, changes), **_findings(profile, changes)},
            "tracks": tracks,
            "on": {},
        }
    )


def _gentler(segment: dict[str, Any], changes: Changes, most_a: float) -> dict[str, Any]:
    if segment["kind"] == "repeat":
        inner = [_gentler(each, changes, most_a) for each in segment["segments"]]
        return {**segment, "segments": inner}
    out = {
        name: round(value * changes.drive_share, 4) if name in DRIVES else value
        for name, value in segment.items()
    }
    watch = out.get("watch")
    if watch and watch["when"] == "current_above":
        out["watch"] = {**watch, "value": min(watch["value"], most_a)}
    if out["kind"] == "burst" and changes.burst_channel and out["channel"].startswith("current"):
        out["channel"] = changes.burst_channel
    return out


def _by_track_a(segment: dict[str, Any], a: Track, b: Track) -> dict[str, Any]:
    """The segment with a watch of track B as the same place on track A."""
    if segment["kind"] == "repeat":
        return {**segment, "segments": [_by_track_a(each, a, b) for each in segment["segments"]]}
    watch = segment.get("watch")
    if not watch or not watch["when"].startswith("sensor_b"):
        return segment
    share = (watch["value"] - b.closed_v) / (b.open_v - b.closed_v)
    turned = (a.open_v - a.closed_v) * (b.open_v - b.closed_v) < 0
    above = watch["when"].endswith("above") != turned
    value = round(a.closed_v + share * (a.open_v - a.closed_v), 3)
    return {
        **segment,
        "watch": {**watch, "when": f"sensor_a_{'above' if above else 'below'}", "value": value},
    }


def _without_b(profile: Profile, changes: Changes) -> dict[str, FindingLimit]:
    """Limits of what nobody can find without sensor input B: they stay, and are not needed."""
    if changes.sensors != "a":
        return {}
    return {
        key: FindingLimit(**{**limit.model_dump(), "required": False, "not_needed": NO_B})
        for key, limit in profile.findings.items()
        if key.startswith("track_b_") or key == "track_mismatch"
    }


def _findings(profile: Profile, changes: Changes) -> dict[str, FindingLimit]:
    return {
        key: FindingLimit(**{**profile.limit(key).model_dump(), **table})
        for key, table in changes.findings.items()
    }
