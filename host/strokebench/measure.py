"""An unknown load within a current that the user allows: resistance, inductance, inrush, ripple spectrum.

First short pulses, each a little stronger than the last, until half the allowed current flows: so short that
no rotor gets anywhere, so weak at first that nothing can be harmed. What they tell chooses the drive of one
longer hold with a fast capture.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strokebench.bench.budget import budget, budget_of
from strokebench.data.samples import TICK_S, Samples, empty
from strokebench.diagnose.case import load_voltage
from strokebench.diagnose.coil.inductor import Response, first_order
from strokebench.diagnose.moving.ripple import amplitude, henry, strongest_hz
from strokebench.diagnose.stats import Floats, Measured, line, repeats
from strokebench.diagnose.volts import with_volts
from strokebench.errors import DataError, ProtectionTripped, UsageError
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Burst, Hold, Pause, Procedure, Segment, Step, Watch

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.data.run import Burst as Capture
    from strokebench.data.run import RunData

LEAST_A, MOST_A, MARGIN = 0.2, 45.0, 0.9
"""Smallest and largest current to ask for (a bench may allow less); share of the allowed current at which the
bench cuts each PWM period."""
ENOUGH = 0.5
"""Share of the allowed current at which the pulses end."""
FIRST_DRIVE, GROWTH = 0.01, 1.35
PULSE_S, REST_S, HOLD_S = 0.04, 0.25, 0.8
LONG_PULSE_S = 0.25
SLOW_S = 0.0012
"""Time constant from which the step response, not the ripple, tells the inductance."""
LONG_S = 0.004
"""Time constant that asks for long pulses."""
FINE_SHARE = 1.0156
"""Of where the fine range begins to give way to the coarse one: up to there it reads peaks of pulses, too."""
FINE_TOP_SHARE = 0.906
"""Pulses for the resistance stay below this share of it where they can: the fine range is ten times as
exact."""
WORTH_SHARE = 0.1
"""A fine range that ends below this share of the allowed current is too short to tell a resistance from."""
LEAD, SHORTEST, FEWEST = 2, 20, 4
SEEN_A, STRONG = 0.04, 0.25
BRUSHES_V, ANGLE_SHARE = 0.2, 0.02
"""A constant drop this large means brushes; the resistance between them depends on the rotor's angle."""
WEAK = (0.08, 0.55)
"""Pulses between these shares of the strongest current are weak enough to move nothing, as a rule."""
LINES = 3


@dataclass(frozen=True)
class Load:
    """What was measured. Ohms with leads as warm as it was; ``brush_v`` the constant part of the voltage."""

    resistance: Measured
    inductance: Measured
    method: str
    """How the inductance was found: "step" or "ripple"."""
    time_constant_s: float
    brush_v: float
    turns: bool
    """The current fell during the hold: something moves and makes a voltage of its own."""
    test_drive: float
    inrush_a: float
    steady_a: float
    highest_a: float
    """Highest mean over a millisecond of the whole measurement."""
    spectrum: list[tuple[float, float]]
    """Strongest lines of the current while held: Hz and A (peak)."""


def limits_for(allowed_a: float, most_a: float = MOST_A) -> Limits:
    """Return the limits that keep a load within ``allowed_a``; UsageError when that is no current to use.

    ``most_a``: what the bench allows.
    """
    if not LEAST_A <= allowed_a <= most_a:
        raise UsageError(
            f"--max-current {allowed_a:g} A is not possible.", f"Choose between {LEAST_A:g} and {most_a:g} A."
        )
    most = MARGIN * allowed_a
    return Limits(
        current_max_a=most, current_mean_a=0.95 * most, supply_min_v=8.0, drive_min=0.0, drive_max=1.0,
        slew_per_s=100.0, stall_a=most, stall_s=5.0, i2t_part_a2s=20 * allowed_a**2,
        i2t_part_rest_a=0.7 * allowed_a, i2t_leads_rest_a=min(20.0, allowed_a), part_expected=False,
    )  # fmt: skip


def pulses(allowed_a: float) -> Procedure:
    """Return the growing pulses; the first that reaches half the allowed current ends them."""
    watch = Watch(when="current_above", value=ENOUGH * allowed_a, then="end")
    segments: list[Segment] = [Pause(kind="pause", label="rest", for_s=0.3)]
    drive = FIRST_DRIVE
    while True:
        segments += [
            Step(kind="step", label="pulse", to=round(drive, 4), for_s=PULSE_S, watch=watch),
            Pause(kind="pause", label="off", for_s=REST_S),
        ]
        if drive >= 1:
            return Procedure(title="Growing pulses", segments=segments)
        drive = min(1.0, drive * GROWTH)


def holding(drive: float, allowed_a: float, slow: bool, fine_limit_a: float) -> Procedure:
    """Return repeated pulses at and below ``drive``, then a hold with a fast capture.

    ``fine_limit_a``: where the bench's fine range ends (:class:`strokebench.bench.budget.Budget`).
    """
    watch = Watch(when="current_above", value=0.8 * MARGIN * allowed_a, then="end")
    on_s = LONG_PULSE_S if slow else PULSE_S
    top_a = FINE_TOP_SHARE * fine_limit_a
    pulsed = drive * min(1.0, top_a / (ENOUGH * allowed_a)) if worth_it(fine_limit_a, allowed_a) else drive
    segments: list[Segment] = [Pause(kind="pause", label="rest", for_s=0.3)]
    for share in (0.4, 0.6, 0.8, 1.0) * 2:
        segments += [
            Step(kind="step", label="pulse", to=round(share * pulsed, 4), for_s=on_s, watch=watch),
            Pause(kind="pause", label="off", for_s=2 * REST_S),
        ]
    channel = "current_fine" if allowed_a < FINE_SHARE * fine_limit_a else "current_coarse"
    segments += [
        Step(kind="step", label="inrush", to=round(drive, 4), for_s=0.06, watch=watch),
        Burst.model_validate({"kind": "burst", "label": "ripple", "channel": channel, "count": 8192}),
        Hold(kind="hold", label="hold", for_s=HOLD_S, watch=watch),
    ]
    return Procedure(title="Pulses and a hold", segments=segments)


def worth_it(fine_limit_a: float, allowed_a: float) -> bool:
    """Tell whether pulses within the fine range say more than stronger ones in the coarse range."""
    return fine_limit_a > WORTH_SHARE * allowed_a


Say = Callable[[str], None]


def measure(bench: Bench, allowed_a: float, say: Say = lambda text: None) -> tuple[Load, RunData]:
    """Measure what hangs on the bench and return the result with its recording; the part is off afterwards.

    Raises :class:`DataError` when no current flows or not enough can be told, and what :class:`Bench` raises.
    """
    bench.set_limits(limits_for(allowed_a, min(MOST_A, bench.identity.current_mean_a)))
    bench.arm()
    say("pulses")
    first = record(bench, pulses(allowed_a))
    drive = drive_for(first, allowed_a)
    slow = time_constant(pulses_of(first)) > LONG_S
    say("hold")
    fine_limit_a = budget(bench.identity.finer, bench.units.few).fine_limit_a
    data = record(bench, holding(drive, allowed_a, slow, fine_limit_a))
    bench.disarm()
    return evaluate(first, data, drive), data


def record(bench: Bench, procedure: Procedure) -> RunData:
    """Run ``procedure`` and return everything, with volts (:mod:`strokebench.diagnose.volts`).

    Raises when the bench's protection ended it.
    """
    run = bench.run(procedure)
    chunks: list[Samples] = []
    try:
        for chunk in run:
            chunks.append(chunk)
    except ProtectionTripped as error:
        error.hint = f"{error.hint} Nothing was worked out from it.".strip()
        raise
    return with_volts(run.data(np.concatenate(chunks) if chunks else empty()))


def drive_for(run: RunData, allowed_a: float) -> float:
    """Return the drive at which about half the allowed current flows in a standing load."""
    best = 0.0
    for rows in parts(run, "pulse"):
        drive, amps = float(rows["drive"].max()), float(rows["current_a"].max())
        if amps > 0.02 * allowed_a and amps > 0.02:
            best = drive * min(1.0, ENOUGH * allowed_a / amps)
    if best == 0:
        raise DataError(
            "The current is too small to measure anything.",
            "Check the leads; allow more current; look for a diode the other way round (swap the leads).",
        )
    return best


def parts(run: RunData, label: str) -> list[Samples]:
    """Return the samples of each stretch called ``label`` that lasted."""
    found = [run.of(mark) for mark in run.labelled(label)]
    return [rows for rows in found if len(rows) >= 3]


@dataclass(frozen=True)
class Pulse:
    """One pulse against rest: amperes and volts by ms, two ticks of rest first; from ``reached`` on the drive
    is there.
    """

    amps: Floats
    volts: Floats
    reached: int

    @property
    def top_a(self) -> float:
        """Highest current."""
        return float(self.amps.max())


def pulses_of(run: RunData) -> list[Pulse]:
    """Return the pulses that lasted, in order."""
    zero_a = float(np.median(parts(run, "rest")[0]["current_a"]))
    time_s = run.samples["time_s"]
    found = []
    for mark in run.labelled("pulse"):
        low, high = np.searchsorted(time_s, (mark.start_s, mark.end_s))
        rows = run.samples[max(0, low - LEAD) : high]
        if len(rows) > SHORTEST:
            volts = np.where(rows["drive"] > 0, load_voltage(rows), 0.0)
            reached = int(np.argmax(rows["drive"] >= rows["drive"].max()))
            found.append(Pulse(np.asarray(rows["current_a"] - zero_a, float), volts, reached))
    return found


def fits_at_rest(found: list[Pulse]) -> list[Response]:
    """Return first-order answers to the weaker pulses, at which nothing has moved yet."""
    most = max((pulse.top_a for pulse in found), default=0.0)
    weak = [pulse for pulse in found if WEAK[0] * most <= pulse.top_a <= WEAK[1] * most]
    fits = [first_order(pulse.volts, pulse.amps, TICK_S) for pulse in weak]
    return [fit for fit in fits if fit.ohm > 0 and fit.henry > 0]


def time_constant(found: list[Pulse]) -> float:
    """Return L/R in seconds, 0 when it is not seen."""
    return float(np.median([fit.henry / fit.ohm for fit in fits_at_rest(found)] or [0.0]))


def evaluate(first: RunData, run: RunData, drive: float) -> Load:
    """Work out the load from both recordings."""
    found = pulses_of(first) + pulses_of(run)
    if len(found) < FEWEST:
        raise DataError(
            "The pulses were cut short; too little is known.", "Allow more current, or look for a short."
        )
    tau_s = time_constant(found)
    resistance, brush_v = resistance_of(found, tau_s, run)
    inrush = np.concatenate([rows["current_a"] for rows in parts(run, "inrush")])
    held = parts(run, "hold")
    steady_a = float(np.median(held[0]["current_a"][-100:])) if held else math.nan
    inductance, method = inductance_of(run, found, tau_s, drive, resistance.value)
    top_a = float(np.max(inrush))
    highest_a = max(float(np.max(piece.samples["current_a"])) for piece in (first, run))
    return Load(
        resistance, inductance, method, tau_s, brush_v, bool(steady_a < 0.9 * top_a), drive, top_a, steady_a,
        highest_a, spectrum(run.bursts[-1]) if run.bursts else [],
    )  # fmt: skip


def resistance_of(found: list[Pulse], tau_s: float, run: RunData) -> tuple[Measured, float]:
    """Return ohms (brushes' contact and leads included) and the constant drop.

    A line through the pulses' volts and amperes where nothing moves and they reach far enough; else
    :func:`while_it_gathers_speed`.
    """
    settle = max(3, math.ceil(6 * tau_s / TICK_S))
    usable = [
        pulse for pulse in found if pulse.top_a > SEEN_A and len(pulse.amps) - pulse.reached > settle + 9
    ]
    bench = budget_of(run.info)
    fine = [pulse for pulse in usable if pulse.top_a < FINE_SHARE * bench.fine_limit_a]
    enough = 0.5 * FINE_TOP_SHARE * bench.fine_limit_a
    usable = fine if len(fine) >= FEWEST and _reach(fine) > enough else usable
    most = max((pulse.top_a for pulse in usable), default=0.0)
    still = [pulse for pulse in usable if not moving(pulse.amps[pulse.reached + settle :])]
    if len(still) >= FEWEST and _reach(still) > 0.1 * most:
        points = np.array([_settled(pulse, settle) for pulse in still])
        fit = line(points[:, 0], points[:, 1])
        slope, offset, u_slope, count = fit.slope, fit.offset, fit.u_slope, len(points)
    else:
        strong = [pulse for pulse in usable if pulse.top_a > STRONG * most]
        slope, offset, u_slope = while_it_gathers_speed(strong, tau_s)
        count = len(strong)
    accuracy = run.accuracy
    gain = math.hypot(*(accuracy.get(name, {}).get("gain", 0.01) for name in ("current_a", "output_a_v")))
    angle = ANGLE_SHARE if offset > BRUSHES_V else 0.0
    u_ohm = math.hypot(u_slope, gain * slope, angle * slope)
    return Measured(slope, u_ohm, count), offset


def _reach(found: list[Pulse]) -> float:
    tops = [pulse.top_a for pulse in found]
    return max(tops, default=0.0) - min(tops, default=0.0)


def _settled(pulse: Pulse, settle: int) -> tuple[float, float]:
    """Mean amperes and volts of a pulse once the inductance is through."""
    begin = pulse.reached + settle
    return float(pulse.amps[begin:].mean()), float(pulse.volts[begin:].mean())


def while_it_gathers_speed(found: list[Pulse], tau_s: float) -> tuple[float, float, float]:
    """Return ohms, constant drop and the ohms' standard uncertainty from pulses in which a rotor speeds up.

    From rest the speed is the integral of (current - friction) times k/J, so the voltage is
    ``R (i + tau di/dt) + drop + (k^2/J) (charge - i_f t)``: linear in R, drop, k^2/J and k^2 i_f/J, which one
    least-squares fit over all pulses tells apart. Viscous friction and load are left out: the pulses are
    short.
    """
    rows, volts = [], []
    for pulse in found:
        begin = pulse.reached + max(2, math.ceil(4 * tau_s / TICK_S))
        ticks = np.arange(begin, len(pulse.amps) - 1)
        if len(ticks) < 8:
            continue
        trend = np.polynomial.Polynomial.fit(ticks, pulse.amps[ticks], 2).deriv()
        charge = (np.cumsum(pulse.amps) - pulse.amps / 2) * TICK_S
        since_s = (ticks - LEAD - pulse.reached / 2) * TICK_S
        current = pulse.amps[ticks] + tau_s / TICK_S * trend(ticks)
        rows.append(np.column_stack((current, np.ones(len(ticks)), charge[ticks], -since_s)))
        volts.append(pulse.volts[ticks])
    if len(rows) < 3:
        raise DataError("The current does not settle in the pulses.", "Allow more current.")
    table, wanted = np.concatenate(rows), np.concatenate(volts)
    solution, _rest, rank, _singular = np.linalg.lstsq(table, wanted, rcond=None)
    if rank < table.shape[1]:
        raise DataError("The pulses are too much alike to find the resistance.", "Allow more current.")
    noise = float(np.std(wanted - table @ solution)) * math.sqrt(len(table) / (len(table) - 4))
    u_ohm = noise * math.sqrt(float(np.linalg.inv(table.T @ table)[0, 0]))
    return float(solution[0]), float(solution[1]), u_ohm


def moving(amps: Floats) -> bool:
    """Tell whether a current drifts by more than its noise, and by more than half a percent."""
    third = max(3, len(amps) // 3)
    change = abs(float(amps[-third:].mean() - amps[:third].mean()))
    noise = 4 * float(np.std(np.diff(amps))) / math.sqrt(third)
    return change > max(noise, 0.005 * abs(float(amps.mean())))


def inductance_of(
    run: RunData, found: list[Pulse], tau_s: float, drive: float, ohm: float
) -> tuple[Measured, str]:
    """Return millihenries and how they were found; NaN when they cannot be."""
    if tau_s > SLOW_S or not run.bursts:
        inductance = repeats([fit.rest_henry * 1e3 for fit in fits_at_rest(found)])
        return inductance.widened(0.03 * inductance.value), "step"
    burst = run.bursts[-1]
    around = run.between(burst.start_s - 0.02, burst.start_s + 0.03)
    supply_v, hz = float(np.median(around["supply_v"])), strongest_hz(burst)
    pieces = np.array_split(burst.values, 6)
    inductance = repeats(
        [henry(amplitude(piece, burst.rate_hz, hz), hz, drive, supply_v, ohm) * 1e3 for piece in pieces]
    )
    return inductance.widened(0.02 * inductance.value), "ripple"


def spectrum(burst: Capture) -> list[tuple[float, float]]:
    """Return the strongest lines (Hz, peak amperes) of a capture, Hann window, strongest first."""
    window = np.hanning(len(burst.values))
    size = 2 * np.abs(np.fft.rfft((burst.values - burst.values.mean()) * window)) / window.sum()
    size[:3] = 0
    found = []
    for _ in range(LINES):
        at = int(np.argmax(size))
        found.append((at * burst.rate_hz / len(burst.values), float(size[at])))
        size[max(0, at - 3) : at + 4] = 0
    return found
