"""Balance of volts of a turning motor, fitted to all that a recording holds of it at once.

    V = R (1 + heat) i + drop(i) + K w + L di/dt      and, coasting with open outputs,      V = K w

Holds at standstill (w = 0), levels whose speed the ripple told, releases, and starts from standstill, in
which the speed follows from the current: K dw/dt = (K^2 / J) (i - what the load takes at that speed).  All
of it is linear in what is looked for, so it is one weighted least squares with prior widths for what the
recording may not tell: a quantity that it says nothing about keeps the prior's width, and everything else is
as uncertain as that makes it.  Errors common to many rows (zero and gain of the outputs, the coarse current
range against the fine one) are unknowns with a prior too.  GUM: JCGM 100:2008, F.1.2 (common errors), H.3
(least squares)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.stats import Floats

KNEES_A = (0.3, 1.0, 3.0)
"""Currents over which a contact's drop comes up, 1 - exp(-i/i0), beside a constant one: their sum follows
any such law, be it tanh(i/i0) or a logarithm (Holm, "Electric Contacts", 1967, on carbon brushes; from
memory)."""
OHM, HEAT, CONSTANT, RATE, HENRY = 0, 1, 2, 3, 4
DROP = slice(5, 9)
ZERO, COARSE, GAIN = 9, 10, 11
COUNT = 12
WIDE = 1e3
DROP_V = (0.6, 0.3, 0.3, 0.3)
"""Prior widths of the drop's parts: both brushes of a 12 V motor take 0.2 to 1.5 V together (common
practice)."""
HENRY_S = 1e-3
"""Prior width of L/R: the time constants of such motors (common practice)."""
LEAST_J_PER_K = 15.0
"""A winding takes at least so much heat per kelvin: prior of the rise with A2 s."""
COPPER_PER_K = 0.0039


@dataclass(frozen=True)
class Rows:
    """Equations of one kind: volts = columns x unknowns, each with its standard deviation in volts."""

    design: Floats
    volts: Floats
    u_volts: Floats


@dataclass(frozen=True)
class Balance:
    """The solved balance; ``ohm`` is that of the loop as cold as it was at first."""

    answer: Floats
    covariance: Floats
    chi: float
    """Root of the mean square of the residuals in their own standard deviations; 1 when the model says
    all."""

    def of(self, weights: Floats) -> tuple[float, float]:
        """Return a weighted sum of the unknowns and its standard uncertainty."""
        return float(weights @ self.answer), math.sqrt(max(float(weights @ self.covariance @ weights), 0.0))

    def one(self, place: int) -> tuple[float, float]:
        """Return one unknown and its standard uncertainty."""
        return self.of(np.eye(COUNT)[place])

    def drop_v(self, current_a: float) -> tuple[float, float]:
        """Return the drop at brushes and contacts at a current, and its u, volts."""
        weights = np.zeros(COUNT)
        weights[DROP] = drops(np.array([current_a]))[0]
        return self.of(weights)


def drops(current_a: Floats) -> Floats:
    """Columns of the contact drop: constant, and one for each of KNEES_A."""
    along = np.asarray(current_a, float)[:, None] / np.array(KNEES_A)
    return np.column_stack((np.ones(len(along)), 1 - np.exp(-along)))


def driven(
    current_a: Floats, volts: Floats, u_volts: Floats, heat_a2s: Floats, coarse_a: Floats,
    speed: Floats | None = None, way: Floats | None = None, rate: Floats | None = None,
) -> Rows:  # fmt: skip
    """Return rows with the bridge on.

    ``coarse_a``: by how much the coarse range's slope counts; ``speed`` in rad/s, or ``way``: integral of the
    current beyond the load's, A s, from standstill; ``rate`` of the current, A/s.
    """
    design = np.zeros((len(current_a), COUNT))
    design[:, OHM], design[:, HEAT] = current_a, current_a * heat_a2s
    design[:, DROP], design[:, ZERO] = drops(current_a), 1.0
    design[:, COARSE], design[:, GAIN] = coarse_a, volts
    for column, values in ((CONSTANT, speed), (RATE, way), (HENRY, rate)):
        if values is not None:
            design[:, column] = values
    return Rows(design, volts, u_volts)


def coasting(speed: Floats, emf_v: Floats, u_emf_v: Floats) -> Rows:
    """Return rows with open outputs."""
    design = np.zeros((len(speed), COUNT))
    design[:, CONSTANT] = speed
    return Rows(design, emf_v, u_emf_v)


def slowing(current_a: float, volts_per_s: float, u_volts_per_s: float) -> Rows:
    """Return the row that says how fast the back-EMF falls after a release, under what it took before."""
    design = np.zeros((1, COUNT))
    design[0, RATE] = current_a
    return Rows(design, np.array([volts_per_s]), np.array([u_volts_per_s]))


def balance(pieces: list[Rows], ohm: float, coarse_u: float, zero_v: float, gain: float) -> Balance:
    """Solve all rows together; ``ohm`` is a rough resistance that the priors go by.

    Prior widths: ``coarse_u`` of the coarse range's slope, ``zero_v`` of the outputs' zero, ``gain``
    (relative) of one output, which is all of the volts while driven, but half of them while coasting.
    """
    prior = np.full(COUNT, WIDE)
    prior[HEAT] = COPPER_PER_K * ohm * ohm / LEAST_J_PER_K
    prior[HENRY], prior[DROP] = HENRY_S * ohm, DROP_V
    prior[GAIN] = max(gain, 1e-5) / math.sqrt(2)
    prior[ZERO], prior[COARSE] = zero_v, coarse_u * ohm
    weight = [1 / piece.u_volts for piece in pieces]
    design = np.vstack([piece.design * w[:, None] for piece, w in zip(pieces, weight, strict=True)])
    volts = np.concatenate([piece.volts * w for piece, w in zip(pieces, weight, strict=True)])
    covariance: Floats = np.asarray(np.linalg.inv(design.T @ design + np.diag(prior**-2.0)), float)
    answer = covariance @ (design.T @ volts)
    left = volts - design @ answer
    # what the priors hold counts as known: degrees of freedom by the trace of the hat matrix
    freedom = len(volts) - float(np.sum((design @ covariance) * design))
    chi = math.sqrt(float(left @ left) / freedom) if freedom > 0.5 else 1.0
    return Balance(answer, covariance * max(1.0, chi) ** 2, chi)
