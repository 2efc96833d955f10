"""What a part's profile becomes on a kind of bench that cannot give all it asks for.

A profile's table ``[on."small bench"]`` names tighter limits, other limits of findings, and a share of the
drive: with less current everything of the procedure that drives is driven so much more gently.
"""

from __future__ import annotations

from typing import Any

from strokebench.parts.changes import Changes
from strokebench.parts.limits import Limits
from strokebench.parts.profile import FindingLimit, Profile

WATCHED = 0.98
"""A watch for more current than the bench lets through looks for this share of what it does."""
DRIVES = ("to", "drive")


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
    return profile.model_copy(
        update={
            "limits": Limits(**limits),
            "procedure": type(profile.procedure)(**procedure),
            "findings": {**profile.findings, **_findings(profile, changes)},
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


def _findings(profile: Profile, changes: Changes) -> dict[str, FindingLimit]:
    return {
        key: FindingLimit(**{**profile.limit(key).model_dump(), **table})
        for key, table in changes.findings.items()
    }
