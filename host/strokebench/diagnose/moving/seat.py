"""The seat: does the valve shut without power, and does it come off its seat like anywhere else?"""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.moving.breakaway import leaving
from strokebench.diagnose.moving.friction import friction_level
from strokebench.diagnose.moving.seated import SeatedCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Measured, repeats_or_once, robust_line

SHUT = ("shut_position", "Shut without power, offset from nominal", "% of travel")
STICKING = ("seat_sticking", "Extra current to leave the seat", "% of friction")

NEAR_PRELOAD = 0.7
ONCE_U = 0.5
"""Standard uncertainty of where it shuts when that was seen once, % of travel (judgement)."""
SAME_PLACE = 1.5
"""% of travel within which it stands at the same place again."""
CLEAR, CREEPS_PERCENT = 5.0, 3.0
"""How far from the seat a valve has left it for good, % of travel: one that sticks creeps for a while before
the current is at its highest. The second in somebody else's recording, whose moves are quicker."""
LOOSE = 0.09
"""Share of the friction: behind play motor and valve do not break loose at the same moment (judgement)."""

MOVES, FEWEST_MOVING = (10.0, 80.0), 100
"""Places between which a valve moves freely, % of travel, and the rows there that a line needs."""

QUESTION = Question(
    needs="sweeps",
    group="Friction and spring",
    keys=(SHUT[0], STICKING[0]),
    anyhow=(SHUT[0], STICKING[0]),
    group_by_key={SHUT[0]: "Travel and rest"},
)


def find(case: SeatedCase) -> list[Finding]:
    """Return where the valve stands after release (leakage position), and what it takes to leave the seat."""
    if case.position is None:
        return [case.missing(*quantity, case.why_no_position) for quantity in (SHUT, STICKING)]
    return [shut(case), sticking(case)] if case.presses else [shut(case)]


def shut(case: SeatedCase) -> Finding:
    """Sensor after the releases less its nominal voltage when shut, % of the nominal span; the sensor's own
    error belongs to the quantity.

    A valve that stands open pressed shut too has something on its seat; one that only stays open when
    released does not return. Where nothing can press it, friction that comes near the spring's preload says
    the same. The nominal voltage's own spread belongs into the limit."""
    assert case.position is not None  # asked for only with a position
    track = case.tracks[case.position.track]
    released = case.settled_v(labels.RELEASE_OPEN)
    if case.by_samples and not len(released) and math.isfinite(track.closed_v):
        released = np.array([track.closed_v])  # pressed shut it stands as far shut as it gets
    if len(released) < case.fewest:
        why = f"the valve was released only {len(released)} times, {case.fewest} needed"
        return case.missing(*SHUT, why)
    measured = repeats_or_once((released - track.layout.closed_v) / track.nominal_span_v * 100, ONCE_U)
    channel = f"sensor_{track.name}_v"
    volts = math.hypot(
        case.accuracy(channel, "offset"), case.accuracy(channel, "gain") * track.layout.closed_v
    )
    measured = measured.widened(volts / abs(track.nominal_span_v) * 100)
    pressed = case.nominal_percent(track.closed_v) if math.isfinite(track.closed_v) else 0.0
    blocked = pressed > 0.5 * measured.value and (case.presses or not hangs(case))
    if case.by_samples and not math.isfinite(track.closed_v):
        blocked = came_back(case, measured.value)
    fault = "carbon_seat" if blocked else "no_return"
    marks = case.stretches(labels.RELEASE_OPEN)
    return case.finding(
        *SHUT[:2], measured, SHUT[2], low="stop_shifted", high=fault,
        span_s=(marks[0].start_s, marks[-1].end_s) if marks else None, evidence={"pressed_shut": pressed},
    )  # fmt: skip


def came_back(case: SeatedCase, percent: float) -> bool:
    """True when it stood at the same place before anything was done to it: friction leaves it anywhere."""
    resting = case.settled_v(labels.REST)
    return any(abs(case.nominal_percent(volts) - percent) < SAME_PLACE for volts in resting)


def hangs(case: SeatedCase) -> bool:
    """True when friction comes near what the spring has left at the seat."""
    from strokebench.diagnose.moving.spring import opening_fits

    fits, friction = opening_fits(case), friction_level(case)
    return friction is not None and len(fits) > 0 and friction.value > NEAR_PRELOAD * float(fits[:, 0].mean())


def sticking(case: SeatedCase) -> Finding:
    """What holds the valve in its seat beyond spring and Coulomb friction, % of the friction.

    Static friction at the seat less the Coulomb friction of the opening side, over the latter. From the
    highest current before the valve is clear of the seat, less the spring's line carried on to the seat and
    less the friction.
    """
    friction, torque = friction_level(case), case.torque
    beyond = CREEPS_PERCENT if case.by_samples else CLEAR
    marks = case.stretches(labels.SEAT_OPEN)
    found = [(mark, left) for mark in marks if (left := leaving(case, mark, 1, beyond))]
    if len(found) < case.fewest:
        return case.missing(
            *STICKING, f"the valve left its seat slowly only {len(found)} times, {case.fewest} needed"
        )
    if (torque is None or friction is None) and case.by_samples:
        return _one_way(case, *found[0])
    if torque is None or friction is None:
        return case.missing(*STICKING, "spring and friction away from the seat are not known")
    (preload_a, u_preload_a), (rise_a, _) = torque.spring_line(*case.opening_side)
    beyond_a = [left[0] - rise_a / 100 * _beyond_rest(case, mark, left[3]) for mark, left in found]
    leave, when_s = repeats_or_once(beyond_a, LOOSE * friction.value), found[0][1][3]
    excess_a = leave.value - case.zero_a - preload_a - friction.value
    u_a = math.hypot(leave.u, u_preload_a, friction.u)
    u_a = math.hypot(u_a, LOOSE * friction.value)
    measured = Measured(excess_a / friction.value * 100, u_a / friction.value * 100, len(found))
    return case.finding(
        *STICKING[:2], measured, STICKING[2], high="sticky_seat", place=case.rest_percent,
        span_s=(when_s - 0.1, when_s + 0.1), evidence={"leaving_a": leave.value},
    )  # fmt: skip


def _one_way(case: SeatedCase, mark: Mark, left: tuple[float, float, float, float]) -> Finding:
    """Of a move one way only: the current to leave the seat over that of the very move, carried on to the
    seat, as a share of the most friction that a good valve has.

    So it is less than the quantity of :func:`sticking`: it can be out of its limits, never within.
    """
    most = case.limits("friction")[1]
    why = "spring and friction away from the seat are not known"
    where, current_a = case.percent(mark), np.asarray(case.of(mark)["current_a"], float)
    moving = (where > MOVES[0]) & (where < MOVES[1])
    if most is None or int(moving.sum()) < FEWEST_MOVING:
        return case.missing(*STICKING, why)
    law = robust_line(where[moving], current_a[moving])
    u_a = math.hypot(LOOSE * most, law.residual, case.accuracy("current_a", "gain") * left[0])
    share = Measured((left[0] - law.offset) / most * 100, u_a / most * 100)
    found = case.finding(*STICKING[:2], share, STICKING[2], high="sticky_seat", place=case.rest_percent)
    out = found.upper is not None and share.value - 2 * share.u > found.upper
    return found if out else case.missing(*STICKING, why)


def _beyond_rest(case: SeatedCase, mark: Mark, time_s: float) -> float:
    """How far from rest the valve was at a time, % of travel."""
    return float(np.interp(time_s, case.of(mark)["time_s"], case.percent(mark))) - case.rest_percent
