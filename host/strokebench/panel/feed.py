"""The update of a page, 20 times a second, as JSON: readings, new points of the strips, state, faults."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any

from strokebench.link.link import fault_row
from strokebench.panel.instrument.layout import spaced
from strokebench.panel.strip import READINGS, Bucket
from strokebench.terminal.display import position_percent

if TYPE_CHECKING:
    from strokebench.panel.driver import Driver
    from strokebench.panel.view import Snapshot
    from strokebench.parts.profile import Profile

PERIOD_S = 0.05
HISTORY = 240
"""Buckets (12 s) that a page gets at once when it arrives or was away."""

PHASE_WORDS = {
    "none": "No bench connected",
    "connecting": "Connecting",
    "idle": "Supply off",
    "arming": "Self-test, switching the supply on",
    "armed": "Supply on, part held still",
    "jog": "Moving by hand",
    "run": "Procedure runs",
    "gentle": "Moving gently, to see the wiring",
    "judging": "Supply off, judging the run",
}


class Feed:
    """Puts the updates together; one for all pages."""

    def __init__(self, driver: Driver) -> None:
        self._driver = driver
        self.number = 0

    def next(self) -> str:
        """Return the part of an update that is the same for every page, without its closing brace."""
        self.number += 1
        now, profile, strip = self._driver.view.now, self._driver.profile, self._driver.strip
        connected = now.phase not in ("none", "connecting")
        update: dict[str, Any] = {"n": self.number, "taken": self._driver.deadman.taken, **_words(now)}
        bucket = strip.latest() if connected else None
        if bucket is not None:
            update["now"] = dict(zip(READINGS, bucket.mean, strict=True))
            update["now"]["position"] = position(bucket, profile)
        text = json.dumps(update, allow_nan=False)
        self._driver.deadman.sent(self.number)
        return text[:-1]

    def points(self, seen: int) -> tuple[int, str]:
        """Return the number of the newest bucket and the buckets after ``seen`` as JSON."""
        buckets = self._driver.strip.since(seen, HISTORY)
        if not buckets:
            return seen, "[]"
        profile = self._driver.profile
        rows = [[b.time_s, b.low[:8], b.high[:8], position(b, profile), b.mean[:2]] for b in buckets]
        return buckets[-1].number, json.dumps(rows, separators=(",", ":"), allow_nan=False)


def position(bucket: Bucket, profile: Profile | None) -> float | None:
    """Return the part's position in % of its travel, None without a sensor."""
    volts = bucket.mean[READINGS.index("sensor_a_v")]
    if profile is None or volts is None:
        return None
    percent = position_percent(profile, volts)
    return round(percent, 2) if math.isfinite(percent) else None


def _words(now: Snapshot) -> dict[str, Any]:
    done = now.progress
    return {
        "phase": now.phase,
        "says": PHASE_WORDS[now.phase],
        "moving": now.moving,
        "bench": now.bench,
        "title": now.title,
        "part": now.part,
        "fault": _fault(now.fault, now.latched),
        "warning": _fault(now.warning, False) if now.warning != now.fault else None,
        "left": {name: round(value, 3) for name, value in now.budget_left},
        "junction_c": round(now.junction_c, 1) if math.isfinite(now.junction_c) else None,
        "cap": now.drive_cap,
        "lost": now.lost_rows,
        "run": {"label": spaced(done.label), "done": round(done.done_s, 1), "total": round(done.total_s, 1)},
        "findings": now.findings_version,
        "judged": now.judged_run,
        "verdict": now.verdict,
        "message": {**vars(now.message)},
        "wiring": vars(now.wiring),
    }


def _fault(code: int, latched: bool) -> dict[str, Any] | None:
    if not code:
        return None
    _key, sentence, check = fault_row(code)
    return {"code": code, "text": sentence, "check": check, "latched": latched}
