"""Inductance of a coil with its plunger at rest and pulled in, and a path beside the coil, from voltage
steps.

Ohm's and Faraday's laws with the voltage constant within each tick (the drive changes from tick to tick
only), so the current's mean over a tick follows exactly; a conductance beside the coil takes its current at
once, without delay. Eddy currents in solid iron look like a weak such path: the profile's limit has to
leave room for them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.coil.case import CoilCase
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, repeats

AT_REST = ("inductance", "Inductance, plunger at rest", "mH")
PULLED = ("inductance_pulled", "Inductance, plunger pulled in", "mH")
LEAK = ("leak", "Conductance beside the coil", "mS")
BEFORE = 8
FEWEST = 30
SHORTEST_S, LONGEST_S = 1e-4, 0.1
"""Time constants looked for."""
MODEL_SHARE = 0.02
"""Relative standard uncertainty for eddy currents and saturation, which the model leaves out: judgement."""
MIN_STEP_A = 0.02
GRID_POINTS, ZOOMS = 17, 5

QUESTION = Question(needs="current volts", group="Supply and winding", keys=(AT_REST[0], PULLED[0], LEAK[0]))


@dataclass(frozen=True)
class Response:
    """First-order answer of a coil: henry, ohm, and siemens beside it."""

    henry: float
    ohm: float
    siemens: float


def find(case: CoilCase) -> list[Finding]:
    """Return both inductances and the conductance of a leaking freewheel path."""
    rest, pulled = (responses(case, label) for label in (labels.COIL_STEP, labels.COIL_STEP_PULLED))
    out = [_henry(case, AT_REST, labels.COIL_STEP, rest, low="shorted_turns", high=case.when_pulled)]
    if case.stretches(labels.COIL_STEP_PULLED):
        out.append(_henry(case, PULLED, labels.COIL_STEP_PULLED, pulled, low="shorted_turns", high=""))
    return [*out, _leak(case, rest)]


def _henry(
    case: CoilCase, key: tuple[str, str, str], label: str, found: list[Response], low: str, high: str
) -> Finding:
    if len(found) < 3:
        return case.missing(*key, f"only {len(found)} usable steps of the current, at least 3 are needed")
    measured = repeats([response.henry * 1e3 for response in found])
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    measured = measured.widened(measured.value * math.hypot(gain, MODEL_SHARE))
    return case.finding(*key[:2], measured, key[2], low=low, high=high, span_s=_span(case, label))


def _leak(case: CoilCase, found: list[Response]) -> Finding:
    if len(found) < 3:
        return case.missing(*LEAK, f"only {len(found)} usable steps of the current, at least 3 are needed")
    measured = repeats([response.siemens * 1e3 for response in found])
    measured = measured.widened(case.accuracy("current_a", "gain") * measured.value, 0.1)
    ohm = 1e3 / measured.value if measured.value > 0.05 else math.inf
    return case.finding(
        *LEAK[:2], Measured(measured.value, measured.u, len(found)), LEAK[2], high="leaky_freewheel",
        span_s=_span(case, labels.COIL_STEP), evidence={"ohm": ohm},
    )  # fmt: skip


def _span(case: CoilCase, label: str) -> tuple[float, float] | None:
    marks = case.stretches(label)
    return (marks[0].start_s, marks[-1].end_s) if marks else None


def responses(case: CoilCase, label: str) -> list[Response]:
    """Return the answer to each step called ``label`` that changed the current enough."""
    found = (_response(case, mark) for mark in case.stretches(label))
    return [response for response in found if response is not None]


def _response(case: CoilCase, mark: Mark) -> Response | None:
    here = case.window(mark.start_s, mark.end_s)
    first = here.start - BEFORE
    if first < 0 or here.stop - here.start < FEWEST:
        return None
    volts, amps = case.volts[first : here.stop], case.current_a[first : here.stop]
    volts, amps = volts - volts[:BEFORE].mean(), amps - amps[:BEFORE].mean()
    if abs(amps[-10:].mean()) < MIN_STEP_A:
        return None
    return first_order(volts, amps, float(np.median(np.diff(case.time_s[first : here.stop]))))


def first_order(volts: Floats, amps: Floats, dt_s: float) -> Response:
    """Fit L, R and G to tick means of a step that starts from a steady state taken as zero.

    For a given time constant the rest is linear least squares; the time constant is searched for on finer and
    finer grids.
    """
    low, high = math.log(SHORTEST_S), math.log(LONGEST_S)
    for _ in range(ZOOMS):
        grid = np.linspace(low, high, GRID_POINTS)
        best = int(np.argmin([_fit(volts, amps, dt_s, math.exp(log_tau))[0] for log_tau in grid]))
        low, high = grid[max(best - 1, 0)], grid[min(best + 1, GRID_POINTS - 1)]
    tau_s = math.exp((low + high) / 2)
    _, mho, siemens = _fit(volts, amps, dt_s, tau_s)
    return Response(tau_s / mho, 1 / mho, siemens)


def _fit(volts: Floats, amps: Floats, dt_s: float, tau_s: float) -> tuple[float, float, float]:
    """Sum of squares left, 1/R and G for one time constant."""
    design = np.column_stack((lagged(volts, dt_s, tau_s), volts))
    answer = np.linalg.lstsq(design, amps, rcond=None)[0]
    left = amps - design @ answer
    return float(left @ left), float(answer[0]), float(answer[1])


def lagged(volts: Floats, dt_s: float, tau_s: float) -> Floats:
    """Tick means of a first-order lag of unit gain driven by ``volts``, constant within each tick, from
    zero."""
    stay = math.exp(-dt_s / tau_s)
    ends = np.convolve(volts, (1 - stay) * stay ** np.arange(len(volts)))[: len(volts)]
    before = np.r_[0.0, ends[:-1]]
    return np.asarray(volts + (before - volts) * (tau_s / dt_s) * (1 - stay), float)
