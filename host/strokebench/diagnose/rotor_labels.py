"""The segment labels of procedures for parts that turn without end (pumps, fans), and what each contains.

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
"""

from __future__ import annotations

REST = "rest"
STILL = "still"
STILL_RELEASE = "still_release"
SOFT_START = "soft_start"
LEVEL = "level"
BURST_LEVEL = "burst_level"
LEVEL_END = "level_end"
RELEASE = "release"
STEP_START = "step_start"
COAST = "coast"

AT_LEVEL = (LEVEL, BURST_LEVEL, LEVEL_END)
