"""Breakaway: the current (and drive) at which the part first leaves its rest position, each way."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.moving.case import MovingCase
from strokebench.diagnose.moving.friction import friction_level
from strokebench.diagnose.moving.sweeps import start_of_pass
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import moving_mean, repeats_or_once

OPENING = ("breakaway_open", "Breakaway opening", "A")
CLOSING = ("breakaway_close", "Breakaway closing", "A")
LEAVE_PERCENT = 1.0
"""How far from rest counts as having left it, % of travel: play and the preload's change of side are less."""
PLACE_U = 0.25
"""Standard uncertainty of that distance: the place of rest, hysteresis of the sensor (judgement)."""
CREEPS, STANDS = 0.09, 0.08
"""Shares of the friction, of a part between two springs and of one on a seat (judgement; see ``find``)."""
STAY = 3
LOOK_BACK = 200
"""Samples before leaving in which the current is at its highest."""

QUESTION = Question(needs="sweeps", group="Friction and spring", keys=(OPENING[0], CLOSING[0]))


def find(case: MovingCase) -> list[Finding]:
    """Return breakaway current opening and closing, with the drive it took in ``evidence``.

    What it takes to leave rest: spring torque and static friction 1 % of travel beyond rest, over the motor
    constant. Read where the current is highest in the 0.2 s before the part has left its rest by 1 %, mean
    over the slow sweeps. How much of the static friction is there by then is not known: breakaway falls with
    the rate of the ramp (Canudas de Wit et al., IEEE TAC 40(3), 1995), a part between two springs creeps
    before it leaves, and behind play motor and load do not break loose at the same moment. A share of the
    friction stands for it in the uncertainty; the rate is kept in ``evidence``.
    """
    found = [_leaving_rest(case, OPENING, case.leaves_rest, 1)]
    if case.two_sided:
        found.append(_leaving_rest(case, CLOSING, labels.SWEEP_RETURN, -1))
    return found


def _leaving_rest(case: MovingCase, quantity: tuple[str, str, str], label: str, direction: int) -> Finding:
    if case.position is None or not math.isfinite(case.rest_percent):
        return case.missing(*quantity, case.why_no_position)
    found = [
        rest_left
        for mark in case.stretches(label)
        if (rest_left := leaving(case, mark, direction)) is not None
    ]
    if len(found) < case.fewest:
        return case.missing(*quantity, f"the part left its rest this way in only {len(found)} slow sweeps")
    table = np.array(found)
    friction = friction_level(case)
    measured = repeats_or_once(
        table[:, 0] - direction * case.zero_a, CREEPS * (friction.value if friction else 0.0)
    )
    measured = measured.widened(
        case.accuracy("current_a", "gain") * measured.value, case.u_zero_a,
        _by_place(case, label, direction, measured.value + direction * case.zero_a),
        (CREEPS if case.two_sided else STANDS) * (friction.value if friction else 0.0),
    )  # fmt: skip
    return case.finding(
        *quantity[:2], measured, quantity[2], low="weak_spring", high="sticky", place=case.rest_percent,
        span_s=(float(table[0, 3]), float(table[-1, 3])),
        evidence={"drive": float(table[:, 1].mean()), "rate_per_s": float(table[:, 2].mean())},
    )  # fmt: skip


def _by_place(case: MovingCase, label: str, direction: int, usual_a: float) -> float:
    """What the place's uncertainty makes of the current: a part that creeps takes more with each ms."""
    late = [
        rest_left[0]
        for mark in case.stretches(label)
        if (rest_left := leaving(case, mark, direction, LEAVE_PERCENT + PLACE_U)) is not None
    ]
    return abs(float(np.mean(late)) - usual_a) if late else 0.0


def leaving(
    case: MovingCase, mark: Mark, direction: int, leave: float = LEAVE_PERCENT
) -> tuple[float, float, float, float] | None:
    """Current (positive in the direction of motion), drive, rate of the drive and time at which rest is
    left."""
    where, rows = case.percent(mark), case.of(mark)
    begin = start_of_pass(where, direction) if len(where) else 0
    where, rows = (where[begin:] - case.rest_percent) * direction, rows[begin:]
    beyond = np.convolve(where > leave, np.ones(STAY), "valid") >= STAY
    if len(where) < 50 or where[0] > leave or not beyond.any():
        return None
    first = int(np.argmax(beyond))
    if first < 20:
        return None
    current_a = moving_mean(np.asarray(rows["current_a"][: first + 1], float), 5) * direction
    at = first - int(np.argmax(current_a[::-1][:LOOK_BACK]))
    before = rows[max(0, at - 100) : at + 1]
    elapsed = float(before["time_s"][-1] - before["time_s"][0])
    rate = abs(float(before["drive"][-1] - before["drive"][0])) / elapsed if elapsed > 0 else math.nan
    return float(current_a[at]), abs(float(rows["drive"][at])), rate, float(rows["time_s"][at])
