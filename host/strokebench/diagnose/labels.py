"""The segment labels a throttle procedure must carry, and what each of them has to contain.

Procedure files put these words on their segments; the diagnosis finds its evidence by them. Several segments
in a row with the same label are one stretch when the first is a ramp (a sweep may be made of fast and slow
ramps and a hold at its end), so a sweep is one stretch from one end stop to the other. Positive drive opens.
Times and drives below are what the estimators were made for.

=============== ======== =====================================================================================
label           kind     what it has to be
=============== ======== =====================================================================================
rest            PAUSE    no drive, coasting, >= 400 ms, first of all: no-load supply, offsets, noise,
                         where the part rests
approach        any      to the closed stop before the first sweep; not evaluated
sweep_open      RAMP     from the closed stop (about -0.45) to the open stop (about +0.65). Slow (<= 0.12 of
                         drive per second) wherever the plate may move: -0.20..+0.45; faster outside;
                         ending with a hold of 0.2 s, so that a slow part arrives too
sweep_return    RAMP     the same way back, slow between +0.30 and -0.40. At least 3 of each, alternating
stall_open      HOLD     against the open stop, >= 250 ms each, 3 or more levels, say 0.40, 0.55, 0.70
stall_close     HOLD     against the closed stop, the same levels negative
burst_ripple    BURST    current_fine, >= 200 kS/s, >= 2000 points, held against the open stop at 0.45..0.5
step_open       STEP     from rest to about +0.6, hold >= 400 ms; at least 3
release_open    PAUSE    coast after step_open, >= 600 ms: return time, rest position from the open side
step_close      STEP     from rest to about -0.6, hold >= 400 ms; at least 3
release_close   PAUSE    coast after step_close, >= 600 ms: return time, rest position from the closed side
=============== ======== =====================================================================================
"""

from __future__ import annotations

REST = "rest"
APPROACH = "approach"
SWEEP_OPEN = "sweep_open"
SWEEP_RETURN = "sweep_return"
STALL_OPEN = "stall_open"
STALL_CLOSE = "stall_close"
BURST_RIPPLE = "burst_ripple"
STEP_OPEN = "step_open"
RELEASE_OPEN = "release_open"
STEP_CLOSE = "step_close"
RELEASE_CLOSE = "release_close"

COIL_LEVEL = "coil_level"
"""HOLD of a coil at 3 or more drives, >= 250 ms each: its resistance."""
COIL_STEP = "coil_step"
"""STEP from off to so little that the plunger stays at rest, >= 60 ms; at least 3: inductance at rest."""
COIL_STEP_PULLED = "coil_step_pulled"
"""STEP between two drives that both keep the plunger pulled in, >= 60 ms; at least 3."""
PULL_IN = "pull_in"
"""RAMP up, slow, through the pull-in; at least 3."""
DROP_OUT = "drop_out"
"""RAMP down, slow, through the drop-out; at least 3."""
PULL_STEP = "pull_step"
"""STEP from off to a drive that pulls in, >= 80 ms, at several drives: pull-in time against voltage."""

PROBE = "probe"
"""STEP, short, from the closed stop: a jammed part is seen by its current (a watch)."""
STROKE_OPEN = "stroke_open"
STROKE_CLOSE = "stroke_close"
"""STEP from one stop to the other and on against it, quick; at least 3 each (motors without a sensor).
Their slow strokes are sweep_open and sweep_return: a slow ramp, then a quick one so that a tight spot is
passed, ending at the stop. Ramps only, with a hold at the end: then they are one stretch."""

SEAT_OPEN = "seat_open"
"""RAMP from the seat, slow, until the valve has left it; at least 3 (valves that one spring shuts)."""

THROTTLE_LABELS = (
    REST, APPROACH, SWEEP_OPEN, SWEEP_RETURN, STALL_OPEN, STALL_CLOSE, BURST_RIPPLE,
    STEP_OPEN, RELEASE_OPEN, STEP_CLOSE, RELEASE_CLOSE,
)  # fmt: skip
