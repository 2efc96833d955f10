"""Inductance of a coil with its plunger at rest and pulled in, and a path beside the coil, from voltage
steps.

Ohm's and Faraday's laws with the voltage constant within each tick (the drive changes from tick to tick
only), so the current's mean over a tick follows exactly. Part of a real coil's current starts at once with
the voltage. Either it flows beside the coil, through a leaking diode or resistor, or it is eddy currents in
the iron, which make up for the flux that has not entered it yet; the steps cannot say which (see
:mod:`strokebench.diagnose.coil.beside`, which can). Leaving out what is known to flow beside the coil, all
of the
current is the coil's:

    i / v = Y(s) = 1 / (R + s L(s)) = 1/R - s L(0)/R^2 + ...

whatever the iron does to L(s). So R and the inductance at rest (DC) follow from the value and the first
moment of the answer, and neither needs a law of the iron."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Mark
from strokebench.diagnose import labels
from strokebench.diagnose.coil.beside import beside
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
LATE_U = 0.03
"""Relative, per share of the current that starts at once: it does not start quite at once. With sheets and
single rings of iron and 5 to 30 % of the flux in air, diffusion times up to 2.4 ms, up to 0.06 of that share
(rectangular)."""
NOT_LINEAR_A = 0.0015
"""Standard uncertainty of a current against another: the fine range's converter is not quite straight."""
MIN_STEP_A = 0.02
GRID_POINTS, ZOOMS = 17, 5

QUESTION = Question(needs="current volts", group="Supply and winding", keys=(AT_REST[0], PULLED[0], LEAK[0]))


@dataclass(frozen=True)
class Response:
    """First-order answer of a coil: henry, ohm, and siemens that take current at once, as if beside it; the
    step's final current."""

    henry: float
    ohm: float
    siemens: float
    step_a: float = math.inf

    @property
    def at_once(self) -> float:
        """Share of the final current that starts at once with the voltage."""
        return self.siemens / (self.siemens + 1 / self.ohm)

    @property
    def rest_henry(self) -> float:
        """Inductance at DC if nothing flows beside the coil: first moment of the answer over its value
        squared."""
        return self.henry * (1 - self.at_once) ** 2


def find(case: CoilCase) -> list[Finding]:
    """Return both inductances and the conductance of a leaking freewheel path.

    Inductance: of flux linkage against small changes of the current so slow that all iron follows (DC), at
    the places where the plunger rests. Conductance: of whatever follows the voltage without any delay.
    """
    known = beside(case)
    siemens = 0.0 if known is None else known.value
    rest, pulled = (responses(case, label, siemens) for label in (labels.COIL_STEP, labels.COIL_STEP_PULLED))
    out = [_henry(case, AT_REST, labels.COIL_STEP, rest, known, low="shorted_turns", high=case.when_pulled)]
    if case.stretches(labels.COIL_STEP_PULLED):
        out.append(_henry(case, PULLED, labels.COIL_STEP_PULLED, pulled, known, low="shorted_turns", high=""))
    return [*out, _leak(case, rest, known)]


def _henry(
    case: CoilCase, key: tuple[str, str, str], label: str, found: list[Response], known: Measured | None,
    low: str, high: str,
) -> Finding:  # fmt: skip
    if len(found) < 3:
        return case.missing(*key, f"only {len(found)} usable steps of the current, at least 3 are needed")
    measured = repeats([response.rest_henry * 1e3 for response in found])
    at_once = float(np.mean([response.at_once for response in found]))
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("output_a_v", "gain"))
    # what flows beside the coil and is taken for its own counts twice, by 1 / (1 + R G)^2
    leaks = 0.0 if known is None else 2 * known.u * float(np.mean([response.ohm for response in found]))
    straight = straightness(found)
    measured = measured.widened(measured.value * math.hypot(gain, straight, LATE_U * at_once, leaks))
    evidence = {"at_once_percent": 100 * at_once}
    return case.finding(
        *key[:2], measured, key[2], low=low, high=high, span_s=_span(case, label), evidence=evidence
    )


def straightness(found: list[Response]) -> float:
    """Relative uncertainty that the converter's curvature gives to the current of a step."""
    return NOT_LINEAR_A / float(np.mean([response.step_a for response in found]))


def _leak(case: CoilCase, found: list[Response], known: Measured | None) -> Finding:
    """From the ripple; without one anything between nothing and all of what starts at once."""
    if known is None and len(found) < 3:
        return case.missing(*LEAK, f"only {len(found)} usable steps of the current, at least 3 are needed")
    if known is None:
        at_most = repeats([response.siemens for response in found])
        value = max(at_most.value, 0.0) / 2
        known = Measured(value, value / math.sqrt(3), len(found)).widened(at_most.u)
    gain = case.accuracy("current_a", "gain") * known.value
    measured = Measured(1e3 * known.value, 1e3 * math.hypot(known.u, gain), known.count)
    ohm = 1e3 / measured.value if measured.value > 0.05 else math.inf
    return case.finding(
        *LEAK[:2], measured, LEAK[2], high="leaky_freewheel", span_s=_span(case, labels.COIL_STEP),
        evidence={"ohm": ohm},
    )  # fmt: skip


def _span(case: CoilCase, label: str) -> tuple[float, float] | None:
    marks = case.stretches(label)
    return (marks[0].start_s, marks[-1].end_s) if marks else None


def responses(case: CoilCase, label: str, siemens: float = 0.0) -> list[Response]:
    """Return the answer to each step called ``label`` that changed the current enough, without the current
    through ``siemens`` beside the coil."""
    found = (_response(case, mark, siemens) for mark in case.stretches(label))
    return [response for response in found if response is not None]


def _response(case: CoilCase, mark: Mark, siemens: float) -> Response | None:
    here = case.window(mark.start_s, mark.end_s)
    first = here.start - BEFORE
    if first < 0 or here.stop - here.start < FEWEST:
        return None
    volts, amps = case.volts[first : here.stop], case.current_a[first : here.stop]
    volts, amps = volts - volts[:BEFORE].mean(), amps - amps[:BEFORE].mean()
    amps = amps - siemens * volts
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
    return Response(tau_s / mho, 1 / mho, siemens, abs(float(amps[-10:].mean())))


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
