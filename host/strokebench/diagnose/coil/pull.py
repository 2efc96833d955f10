"""Pull-in and drop-out of a plunger, from the mark that its motion leaves in the current.

While the plunger moves its inductance changes, so a voltage i dL/dt appears: the current dips on the way in
and bumps on the way out. The dip keeps its size when the coil warms up, unlike the current itself
(Balakrishnan and Kumar, "Detection of plunger movement in DC solenoids")."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.coil.beside import beside
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.coil.inductor import LATE_U, NOT_LINEAR_A, responses, straightness
from strokebench.diagnose.moving.tracks import median_filter
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, moving_mean, repeats, spread
from strokebench.diagnose.winding import Loop

PULL_IN = ("pull_in_current", "Pull-in current", "A")
DROP_OUT = ("drop_out_current", "Drop-out current", "A")
RATIO = ("drop_out_ratio", "Drop-out current divided by pull-in current", "%")
DIP = ("pull_in_dip", "Dip of the current on pull-in", "%")
MOVES = ("plunger_moves", "Inductance: pulled in divided by at rest", "")
SLOW = 201
"""Samples of the running median that takes slow changes out of the induced voltage."""
NEAR = 30
LEAST_V, SIGMAS = 0.25, 8.0
AMPLE = 1.3
"""A plunger that does not move at this many times the highest pull-in current of a good part is stuck; below
that it may only be sticky."""
RATE_U = 0.006
"""Relative: the plunger starts a little after the current that would do (slow ramp): 0.6 % with 0.3 A/s."""

QUESTION = Question(
    needs="current volts",
    group="Friction and spring",
    keys=(PULL_IN[0], DROP_OUT[0], RATIO[0], DIP[0], MOVES[0]),
    group_by_key={MOVES[0]: "Travel and rest"},
)


@dataclass(frozen=True)
class Snap:
    """One motion of the plunger: when, the current at which it began, and how far the current went back."""

    time_s: float
    current_a: float
    swing_a: float


def find(case: CoilCase) -> list[Finding]:
    """Return pull-in and drop-out current, their ratio, the dip, and whether the plunger moves at all.

    Pull-in current: at which the pull equals preload and static friction at rest; drop-out current: at which
    it equals the spring less static friction, pulled in. ``plunger_moves`` is the ratio of both inductances
    at DC (see :mod:`strokebench.diagnose.coil.inductor`).
    """
    if not isinstance(case.loop, Loop):
        return [case.missing(*quantity, case.loop) for quantity in (MOVES, PULL_IN, DROP_OUT, RATIO, DIP)]
    ins, outs = snaps(case, labels.PULL_IN, 1), snaps(case, labels.DROP_OUT, -1)
    moves = _moves(case, ins)
    if len(ins) < 3:
        reason = f"the plunger moved in only {len(ins)} of {len(case.stretches(labels.PULL_IN))} slow ramps"
        lost = [case.missing(*quantity, reason) for quantity in (DROP_OUT, RATIO, DIP)]
        return [moves, _never(case, reason), *lost]
    return [moves, *_currents(case, ins, outs)]


def snaps(case: CoilCase, label: str, direction: int) -> list[Snap]:
    """Return the motion in each slow ramp called ``label`` that shows one; ``direction`` +1 in, -1 out."""
    found = (_snap(case, mark, direction) for mark in case.stretches(label))
    return [snap for snap in found if snap is not None]


def _snap(case: CoilCase, mark: Mark, direction: int) -> Snap | None:
    here = case.window(mark.start_s, mark.end_s)
    current_a = moving_mean(case.current_a[here], 3)
    if len(current_a) < SLOW:
        return None
    at = motion(case.induced_v(mark.start_s, mark.end_s) * direction)
    if at is None:
        return None
    before = current_a[max(0, at - NEAR) : at + 1] * direction
    after = current_a[at : at + NEAR] * direction
    begin = float(before.max())
    return Snap(float(case.time_s[here.start + at]), begin * direction, begin - float(after.min()))


def motion(induced_v: Floats) -> int | None:
    """Index of the strongest positive pulse of an induced voltage, None when there is none."""
    pulse = induced_v - median_filter(induced_v, SLOW)
    at = int(np.argmax(pulse))
    return at if pulse[at] > max(LEAST_V, SIGMAS * spread(pulse)) else None


def _moves(case: CoilCase, ins: list[Snap]) -> Finding:
    """The ratio of the inductances; where the plunger does not move, their level says where it stands."""
    known = beside(case)
    siemens = 0.0 if known is None else known.value
    rest, pulled = (responses(case, label, siemens) for label in (labels.COIL_STEP, labels.COIL_STEP_PULLED))
    if min(len(rest), len(pulled)) < 3:
        return case.missing(*MOVES, "too few usable steps of the current at rest and pulled in")
    at_rest, at_end = (repeats([response.rest_henry for response in found]) for found in (rest, pulled))
    ratio = at_end.value / at_rest.value
    late = [LATE_U * float(np.mean([response.at_once for response in found])) for found in (rest, pulled)]
    late += [straightness(rest), straightness(pulled)]
    u = ratio * math.hypot(at_rest.u / at_rest.value, at_end.u / at_end.value, *late)
    upper = case.limits(PULL_IN[0])[1]
    if not ins and upper is not None and case.highest_a < AMPLE * upper:
        return case.missing(*MOVES, f"no more than {case.highest_a:.2f} A flowed: too little to measure with")
    fault = "stuck_closed" if at_rest.value > _between_h(case) else "stuck_open"
    return case.finding(
        *MOVES[:2], Measured(ratio, u), MOVES[2], low=fault, evidence={"ramps_with_a_dip": len(ins)},
        span_s=(case.stretches(labels.COIL_STEP)[0].start_s,
        case.stretches(labels.COIL_STEP_PULLED)[-1].end_s),
    )  # fmt: skip


def _between_h(case: CoilCase) -> float:
    """Inductance halfway (geometric) between the profile's at rest and pulled in, henry."""
    nominal = case.profile.nominal
    return math.sqrt(nominal.get("rest_mh", 1.0) * nominal.get("pulled_mh", 4.0)) / 1e3


def _never(case: CoilCase, reason: str) -> Finding:
    """The highest current was not enough: a lower bound of the pull-in current."""
    upper = case.limits(PULL_IN[0])[1]
    if not case.stretches(labels.PULL_IN):
        return case.missing(*PULL_IN, "the run holds no whole slow ramp up, so nothing can be said of it")
    if upper is None or case.highest_a < upper:
        return case.missing(*PULL_IN, f"{reason}, but no more than {case.highest_a:.2f} A came to flow")
    u = case.highest_a * case.accuracy("current_a", "gain")
    return case.finding(
        *PULL_IN[:2], Measured(case.highest_a, u), PULL_IN[2], high="sticky", evidence={"at_least": True}
    )


def _currents(case: CoilCase, ins: list[Snap], outs: list[Snap]) -> list[Finding]:
    gain = case.accuracy("current_a", "gain")
    span_s = (ins[0].time_s - 0.05, ins[0].time_s + 0.05)
    pull_seen = repeats([snap.current_a for snap in ins])
    pull_seen = pull_seen.widened(RATE_U * pull_seen.value)
    pull = pull_seen.widened(gain * pull_seen.value, NOT_LINEAR_A)
    dip = repeats([100 * snap.swing_a / snap.current_a for snap in ins])
    out = [
        case.finding(*PULL_IN[:2], pull, PULL_IN[2], low="weak_spring", high="sticky", span_s=span_s),
        case.finding(*DIP[:2], dip, DIP[2], span_s=span_s),
    ]
    if len(outs) < 3:
        why = f"the plunger was seen to let go in only {len(outs)} slow ramps"
        return [*out, *(case.missing(*quantity, why) for quantity in (DROP_OUT, RATIO))]
    drop_seen = repeats([snap.current_a for snap in outs])
    drop_seen = drop_seen.widened(RATE_U * drop_seen.value, NOT_LINEAR_A)
    drop = drop_seen.widened(gain * drop_seen.value)
    share = 100 * drop.value / pull.value  # in which the gain cancels
    ratio = Measured(share, share * math.hypot(drop_seen.u / drop.value, pull_seen.u / pull.value))
    lower = case.limits(RATIO[0])[0]
    weak = "weak_spring" if lower is None or share > lower else "sticky"
    span_s = (outs[0].time_s - 0.05, outs[0].time_s + 0.05)
    return [
        *out,
        case.finding(*DROP_OUT[:2], drop, DROP_OUT[2], low=weak, high="shorted_turns", span_s=span_s),
        case.finding(*RATIO[:2], ratio, RATIO[2], low="sticky", span_s=span_s),
    ]
