"""Wiring under load: what the supply and the ground side lose, against the wire they are made of.

Sensor inputs A and B sit at the far ends of both sides, against the bench's ground; the outputs are
measured at the bench. Voltage lost over current at two currents or more is a resistance; offsets drop out
of the slope.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.samples import Samples
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case, span_of
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, line
from strokebench.diagnose.winding import temperature
from strokebench.physics.wire import awg_area_mm2, resistance_ohm

LOADS = (labels.LOAD, labels.STILL)
"""Labels of holds at constant current at which both far ends lie within the sensor inputs' range."""
SIDES = ("supply", "ground")
GROUND_LOADS = (*LOADS, labels.FULL_LOAD)
FOUND_LOADS = (labels.REST, labels.STEADY)
"""The same in somebody else's recording: the load off, and on."""
VOLTS_U_V = 0.01
"""Standard uncertainty of a difference of an oscilloscope's readings, whose zeros are gone (judgement)."""
HIGHEST_V = 4.9
SETTLE = 30
LEAST_RANGE_A = 0.15
STRANDED = 1.03
"""Stranded wire has 2 to 4 % more resistance than solid of the same gauge (common practice)."""
GAUGE_U = 0.02
"""Relative, of a wire's resistance by gauge and length (judgement)."""
BENT_V = 0.004
"""Standard uncertainty of a difference of two converters' readings against another such, V: their
curvature."""


def quantities(name: str) -> tuple[tuple[str, str, str], ...]:
    """Return key, title and unit of what is told of a side: its resistance, its excess, its flicker."""
    title = f"{name.capitalize()} side"
    return (
        (f"{name}_side", f"{title}: resistance", "mohm"),
        (f"{name}_excess", f"{title}: more than its wire", "mohm"),
        (f"{name}_flicker", f"{title}: flicker of its resistance", "mohm"),
    )


QUESTION = Question(
    needs="current",
    group="Wiring",
    keys=tuple(key for name in SIDES for key, *_ in quantities(name)),
    needs_by_key={key: "current volts far" for key, *_ in quantities("supply")},
    not_of_part=tuple(key for key, *_ in quantities("supply")),
    anyhow=tuple(key for name in SIDES for key, *_ in quantities(name)[1:]),
)


@dataclass(frozen=True)
class Side:
    """One side: resistance and its u in ohm, flicker of the resistance in ohm rms, and the points behind
    it."""

    ohm: float
    u_ohm: float
    flicker_ohm: float
    u_flicker_ohm: float
    current_a: Floats
    lost_v: Floats
    rows: list[Samples]


def find(case: Case) -> list[Finding]:
    """Return for each side its resistance, its excess over the wire table, and its flicker under load."""
    return [finding for name in SIDES for finding in _findings(case, name)]


def _findings(case: Case, name: str) -> list[Finding]:
    drop, over, flicker = quantities(name)
    side = measure(case, name)
    if isinstance(side, str):
        return [case.missing(*quantity, side) for quantity in (drop, over, flicker)]
    when = span_of(*side.rows)
    expected = table_ohm(case, name, when)
    found = [
        case.finding(*drop[:2], Measured(1e3 * side.ohm, 1e3 * side.u_ohm), drop[2], span_s=when,
                     high=f"{name}_resistance", evidence={"levels": len(side.rows)}),
    ]  # fmt: skip
    if expected is None:
        found.append(case.missing(*over, "the profile does not give gauge and length of the wire"))
    else:
        excess = Measured(1e3 * (side.ohm - expected), 1e3 * math.hypot(side.u_ohm, GAUGE_U * expected))
        found.append(
            case.finding(
                *over[:2], excess, over[2], low="chafed_ground", high=f"{name}_resistance", span_s=when,
                evidence={"table_mohm": 1e3 * expected},
            )
        )  # fmt: skip
    noise = Measured(1e3 * side.flicker_ohm, 1e3 * side.u_flicker_ohm)
    return [*found, case.finding(*flicker[:2], noise, flicker[2], high="bad_crimp", span_s=when)]


def table_ohm(case: Case, name: str, when: tuple[float, float] | None) -> float | None:
    """Resistance of the side's wire by the table at the part's temperature, with the bench's own lead, in
    ohm."""
    nominal = case.profile.nominal
    gauge, length_m = nominal.get(f"{name}_gauge_awg"), nominal.get(f"{name}_length_m")
    if gauge is None or length_m is None or when is None:
        return None
    part_c = temperature(case, when[0])[0]
    wire = STRANDED * resistance_ohm(awg_area_mm2(gauge), length_m, part_c)
    return wire + nominal.get("contacts_ohm", 0.0) + 0.5 * nominal.get("lead_ohm", 0.0)


def measure(case: Case, name: str) -> Side | str:
    """Return one side ("supply" or "ground"), or the reason in one sentence why it is not known."""
    wanted = FOUND_LOADS if case.by_samples else LOADS if name == "supply" else GROUND_LOADS
    holds = [case.run.of(mark)[SETTLE:] for label in wanted for mark in case.run.labelled(label)]
    holds = [rows for rows in holds if len(rows) >= 40 and (_in_range(rows, name, case.by_samples))]
    if not holds:
        return "no hold with a current at which the far end can be read"
    if case.by_samples:
        return _switched(case, name, holds)
    current_a = np.array([float(np.mean(rows["current_a"])) for rows in holds])
    lost_v = np.array([float(np.mean(lost(rows, name))) for rows in holds])
    if len(holds) < 3 or float(np.ptp(current_a)) < LEAST_RANGE_A:
        return f"the current was not changed enough, at least three holds and {LEAST_RANGE_A:g} A are needed"
    fit = line(current_a, lost_v)
    gain = _gain(case, name, fit.slope, holds)
    bent = BENT_V / float(np.ptp(current_a))
    flicker, u_flicker = _flicker(holds, name)
    return Side(fit.slope, math.hypot(fit.u_slope, bent, gain), flicker, u_flicker, current_a, lost_v, holds)


def _switched(case: Case, name: str, holds: list[Samples]) -> Side | str:
    """One side in somebody else's recording: what it loses more with the load than without."""
    current_a = np.concatenate([rows["current_a"] for rows in holds])
    lost_v = np.concatenate([lost(rows, name) for rows in holds])
    if len(holds) < 2 or float(np.ptp(current_a)) < LEAST_RANGE_A:
        return "a rest without the load and a steady stretch with it are needed"
    fit = line(current_a, lost_v)
    u_ohm = math.hypot(fit.u_slope, VOLTS_U_V / float(np.ptp(current_a)), _gain(case, name, fit.slope, holds))
    amps = np.array([float(np.mean(rows["current_a"])) for rows in holds])
    drops = np.array([float(np.mean(lost(rows, name))) for rows in holds])
    return Side(fit.slope, u_ohm, *_flicker(holds, name), amps, drops, holds)


def lost(rows: Samples, name: str) -> Floats:
    """Voltage lost on a side, V, sample by sample."""
    if name == "supply":
        return np.asarray(rows["output_a_v"] - rows["sensor_a_v"], float)
    near_v = rows["output_b_v"]  # not recorded: what a probe's own ground sits on
    return np.asarray(rows["sensor_b_v"] - np.where(np.isfinite(near_v), near_v, 0.0), float)


def _in_range(rows: Samples, name: str, any_range: bool) -> bool:
    """``any_range``: of an oscilloscope, which reads a battery's volts too."""
    far = rows["sensor_a_v" if name == "supply" else "sensor_b_v"]
    return bool(np.isfinite(far).all()) and (any_range or float(np.max(far)) < HIGHEST_V)


def _gain(case: Case, name: str, ohm: float, holds: list[Samples]) -> float:
    """u of the slope from gains: of the current, and of two readings whose common part does not cancel
    quite. A hold beyond the fine range brings zero and curvature of the coarse one into the current's."""
    near = [rows["output_a_v" if name == "supply" else "output_b_v"] for rows in holds]
    per_amp = [float(np.mean(np.nan_to_num(volts))) for volts in near]
    amps = [float(np.mean(rows["current_a"])) for rows in holds]
    common = abs(per_amp[-1] - per_amp[0]) / max(abs(amps[-1] - amps[0]), 1e-6)
    top = case.budget.channel_of("current_a", max(amps))
    coarse = math.hypot(top.offset, top.linearity) if max(amps) > case.budget.fine_limit_a else 0.0
    slope = math.hypot(case.accuracy("current_a", "gain"), coarse / max(float(np.ptp(amps)), 1e-6))
    sensor = "sensor_a_v" if name == "supply" else "sensor_b_v"
    pair = math.hypot(case.accuracy("output_a_v", "gain"), case.accuracy(sensor, "gain"))
    return math.hypot(slope * ohm, pair * common)


def _flicker(holds: list[Samples], name: str) -> tuple[float, float]:
    """Standard deviation of lost voltage over current at the highest current, less what the converters
    flicker.

    The converters' own share: that of the hold with the least current, scaled to the higher one.
    """
    ordered = sorted(holds, key=lambda rows: float(np.mean(rows["current_a"])))
    amps = [float(np.mean(rows["current_a"])) for rows in ordered]
    own_v = float(np.std(np.diff(lost(ordered[0], name)))) / math.sqrt(2)
    ohm = float(np.std(lost(ordered[-1], name) / ordered[-1]["current_a"]))
    own = own_v / amps[-1]
    return math.sqrt(max(ohm**2 - own**2, 0.0)), max(own, 0.1 * ohm) / 2
