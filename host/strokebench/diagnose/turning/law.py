"""The law of a load: how its torque goes with speed, from levels that are driven and from a run-down.

Torque = dry + linear x share + flow x share^power, ``share`` being speed over rated speed. Levels tell the
torque itself. A rotor that is let go tells the law's shape: J dw/dt = -torque(w), with J as one unknown more
(retardation method of IEC 60034-2-1, losses from coasting down). One level is enough for the scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.stats import Floats
from strokebench.diagnose.turning.rundown import Pieces

LINEAR, LINEAR_U = 0.015, 0.015
"""Torque that grows with the speed itself (grease, eddy currents in the armature's iron) and its standard
width, as shares of the torque at rated speed, in kinds whose own law has no such term: between nothing and a
few per cent (judgement)."""
SQUARE, POWER_U = 2.0, 0.15
"""Power of the speed that a flow's torque goes with, and its standard width in the same kinds: the affinity
laws say 2, friction in the flow makes it less, what opens with pressure more (judgement)."""
STEPS = 6
"""Of Gauss and Newton towards the power; three are enough."""
FIXED = 1e-9
"""Prior width of a power that is known."""


@dataclass(frozen=True)
class Law:
    """``terms``: dry, linear and flow; ``inertia`` over the unit of the run-down's slope, 0 without one;
    ``covariance`` of the terms and the power."""

    terms: Floats
    power: float
    inertia: float
    covariance: Floats


def columns(share: Floats, power: float, flow: float) -> Floats:
    """What dry, linear and flow's terms are multiplied by, and how the torque changes with the power."""
    some = np.maximum(share, 1e-9)
    return np.column_stack((np.ones(len(some)), share, some**power, flow * some**power * np.log(some)))


def fit(
    powers: tuple[int, ...], share: Floats, torque: Floats, u: Floats, common: Floats, coast: Pieces | None
) -> Law:
    """Return the law through levels (``share``, ``torque`` with its ``u``) and a run-down.

    ``powers``: of the speed, that the kind's own law has. Without a linear term the power is fitted, and the
    linear term is near nothing. ``common``: errors that the levels have together, a row each.
    """
    free = 1 not in powers
    prior, weight = np.zeros(5), np.zeros(5)
    prior[3] = SQUARE
    weight[3] = (POWER_U if free else FIXED) ** -2.0
    if free:
        most = float(torque.max())
        prior[1], weight[1] = LINEAR * most, (LINEAR_U * most) ** -2.0
    weight[4] = FIXED if coast is not None else 1.0
    known = np.linalg.inv(np.diag(u**2) + common.T @ common)
    answer = np.array([0.3, 0.0, 0.7, 0.0, 0.0]) * float(torque.max())
    answer[3] = SQUARE
    for _ in range(STEPS):
        terms, power = answer[:3], float(answer[3])
        design = np.column_stack((columns(share, power, float(terms[2])), np.zeros(len(share))))
        rows = _coasting(coast, power, terms) if coast is not None else np.zeros((0, 5))
        left = torque - design[:, :3] @ terms, -rows[:, :3] @ terms - rows[:, 4] * answer[4]
        normal = design.T @ known @ design + rows.T @ rows + np.diag(weight)
        covariance: Floats = np.asarray(np.linalg.inv(normal), float)
        answer = answer + covariance @ (
            design.T @ known @ left[0] + rows.T @ left[1] + weight * (prior - answer)
        )
    freedom = len(torque) + len(rows) - (4 if coast is not None else 3)
    chi = float(left[0] @ known @ left[0] + left[1] @ left[1]) / freedom if freedom > 0 else 1.0
    inertia = float(answer[4]) if coast is not None else 0.0
    return Law(answer[:3], float(answer[3]), inertia, covariance[:4, :4] * max(1.0, chi))


def _coasting(coast: Pieces, power: float, terms: Floats) -> Floats:
    """Rows of 0 = torque + inertia x slope, each over its own uncertainty."""
    s = coast.mean(power)
    rows = np.column_stack(
        (np.ones(len(s)), coast.mean(1.0), s, terms[2] * coast.mean_log(power), coast.slope)
    )
    size = np.maximum(rows[:, :3] @ terms, 0.02 * float(np.abs(terms).sum()))
    return np.asarray(rows / (coast.u * size)[:, None], float)
