"""The labels of a procedure's segments, and of what was found in somebody else's recording.

Procedure files put these words on their segments; the diagnosis finds its evidence by them. Several segments
in a row with the same label are one stretch when the first is a ramp (a sweep may be made of fast and slow
ramps and a hold at its end), so a sweep is one stretch from one end stop to the other. Positive drive opens.
Times and drives below are what the estimators were made for.

**Parts that move between stops** (here a throttle; what other parts have besides stands at each label):

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

**Parts that turn without end** (pumps, fans), and the wiring to them:

============== ======== ================================================================================
label          kind     what it has to be
============== ======== ================================================================================
rest           PAUSE    no drive, >= 400 ms, first of all
still          HOLD     so little drive that the rotor stands, >= 80 ms each, 3 or more levels
still_release  PAUSE    after each of them, >= 30 ms: shows whether it really stood
soft_start     RAMP     slowly up, then HOLDs, with watches that end the run when it is blocked or open
level          STEP     constant drive until the speed is steady; 3 or more different drives
burst_level    BURST    current at that drive: >= 10 turns, rate >= 10 x the commutation ripple
level_end      HOLD     the same drive, >= 50 ms (optional)
release        PAUSE    coasting, >= 15 ms, directly after the highest level at least: what stays
                        between the open outputs is the back-EMF of the speed just left. Do not drive
                        again before it stands: a drive below the back-EMF brakes hard
step_start     STEP     from standstill to full drive at the fastest slew: inrush (optional)
coast          PAUSE    until it stands
============== ======== ================================================================================

**Somebody just switched a part on**, found in the current of a recording that comes from an oscilloscope or a
logger; neither drive nor procedure is known:

============= =============================================================================================
label         what it has to be
============= =============================================================================================
rest          no current, before the first switch-on; tells the current's zero and noise
switched_on   from the first rise out of the noise until the current is gone again; its kind is ``start``
              when the rise itself was recorded, else ``running``
steady        the last settled part of the longest of them
switched_off  from the end of a switched_on until the next, half a second at most
============= =============================================================================================
"""

from __future__ import annotations

REST = "rest"
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

STILL = "still"
STILL_RELEASE = "still_release"
SOFT_START = "soft_start"
LEVEL = "level"
BURST_LEVEL = "burst_level"
LEVEL_END = "level_end"
RELEASE = "release"
COAST = "coast"
STEP_START = "step_start"

AT_LEVEL = (LEVEL, BURST_LEVEL, LEVEL_END)

LOAD = "load"
FULL_LOAD = "full_load"
"""HOLD of a circuit at a constant current, >= 80 ms: the wiring's loss, and the hardest load of all."""

SWITCHED_ON = "switched_on"
STEADY = "steady"
SWITCHED_OFF = "switched_off"

FOUND = "found"
"""Kind of a mark that was found in the samples of somebody else's recording, whatever its label."""
FOUND_SHORT = "found short"
"""Kind of a stroke that was found and that did not press the part against its stop."""

START = "start"
RUNNING = "running"

RECORDING = "recording"
"""Label of a burst that is the current of the recording itself, as captured; one for each piece without a
gap."""
