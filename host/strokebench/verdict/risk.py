"""How often such a verdict is wrong: a good part that fails, a bad one that passes.

After JCGM 106:2012 (clauses 7 and 9: conformance probability, producer's and consumer's risk) and ILAC-G8.
Risk needs a prior: what parts are like before they are measured. Ours is stated with each figure,
:data:`PRIOR`, because nobody knows what comes to a shop's bench; it is judgement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import COVERAGE, Finding
from strokebench.diagnose.stats import Floats

PRIOR = (
    "before the measurement any value within the limits is as likely as any other, and a bad part lies evenly"
    " within one more width beyond them"
)
"""The prior of :func:`risk_of` in words. The width of a one-sided limit is the limit itself."""
REACH_U, STEPS = 8.0, 800


@dataclass(frozen=True)
class Risk:
    """``good_fails``: probability that a good part fails; ``bad_passes``: that a bad one passes."""

    good_fails: float
    bad_passes: float


def phi(x: Floats) -> Floats:
    """Return the standard normal distribution function."""
    from scipy.special import ndtr

    return np.asarray(ndtr(x), float)


def conformance(value: float, u: float, lower: float | None, upper: float | None) -> float:
    """Return the probability that the true value lies within the limits (JCGM 106, clause 7; normal)."""
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    below, above = phi(np.array([low - value, high - value]) / u)
    return float(above - below)


def area(values: Floats, at: Floats) -> float:
    """Return the integral of ``values`` over ``at`` by the trapezoidal rule."""
    return float(np.sum((values[1:] + values[:-1]) / 2 * np.diff(at)))


def chances(true: Floats, u: float, low: float, high: float, guard: float) -> tuple[Floats, Floats]:
    """Return the probability of pass and of fail for each true value; limits may be infinite."""
    passes = phi((high - guard - true) / u) - phi((low + guard - true) / u)
    fails = phi((low - guard - true) / u) + phi((true - high - guard) / u)
    return np.maximum(passes, 0.0), fails


def joint(true: Floats, density: Floats, u: float, low: float, high: float, guard: float) -> Risk:
    """Return the risks of JCGM 106, clause 9.5: of being good and failing, and of being bad and passing.

    ``density`` of the prior at ``true`` values in ascending order, close enough for the trapezoidal rule.
    Without an inconclusive answer (``guard`` 0) what does not pass fails.
    """
    passes, fails = chances(true, u, low, high, guard)
    good = (low <= true) & (true <= high)
    fail, accept = fails * good * density, passes * ~good * density
    return Risk(area(fail, true), area(accept, true))


def risk_of(finding: Finding, k: float = COVERAGE) -> Risk | None:
    """Return the risks of one finding's verdict under :data:`PRIOR`; None without limits or uncertainty."""
    limits = [limit for limit in (finding.lower, finding.upper) if limit is not None]
    if not limits or not math.isfinite(finding.u):
        return None
    width = limits[1] - limits[0] if len(limits) == 2 else abs(limits[0])
    if finding.u <= 0 or width <= 0:
        return Risk(0.0, 0.0)
    # seen from one limit, distance in u; the other side counts as much again
    span, sides = width / finding.u, len(limits)
    beyond = np.linspace(0.0, min(REACH_U, span), STEPS)
    wrong = area(phi(-(beyond + k)), beyond) / span
    # a part is bad on one side; a good one may fail on both
    return Risk(min(1.0, sides * wrong), min(1.0, wrong))


def risk_of_run(findings: Sequence[Finding], k: float = COVERAGE) -> Risk:
    """Return the risks of a run's verdict.

    ``good_fails``: of a part that is good in all findings, to fail in any. ``bad_passes``: of a part that is
    bad in a single finding, the one in which that is most easily overlooked, to pass it.
    """
    known = [risk for finding in findings if (risk := risk_of(finding, k)) is not None]
    good = 1 - math.prod(1 - risk.good_fails for risk in known)
    return Risk(good, max((risk.bad_passes for risk in known), default=0.0))


def sentence(findings: Sequence[Finding]) -> str:
    """Return the risks of a run in one sentence with their prior; empty where nothing is judged."""
    if all(risk_of(finding) is None for finding in findings):
        return ""
    risk = risk_of_run(findings)
    return (
        f"Risk: by these limits and uncertainties a good part fails in {share(risk.good_fails)}, and a"
        f" bad one passes in {share(risk.bad_passes)} (JCGM 106; prior: {PRIOR})."
    )


def share(probability: float) -> str:
    """Return a probability in per cent, two digits, never as a bare zero."""
    percent = 100 * probability
    return "less than 0.01 %" if percent < 0.01 else f"{percent:.2g} %"
