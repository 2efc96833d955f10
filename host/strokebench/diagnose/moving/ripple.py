"""Inductance from the PWM ripple of the current, held against a stop."""

from __future__ import annotations

import math

import numpy as np

from strokebench.data.findings import Finding
from strokebench.data.run import Burst
from strokebench.diagnose import labels
from strokebench.diagnose.case import Case
from strokebench.diagnose.question import Question
from strokebench.diagnose.stats import Floats, Measured, repeats
from strokebench.diagnose.winding import loop_of

INDUCTANCE = ("inductance", "Inductance", "mH")
PIECES = 6
MODEL_SHARE = 0.008
"""Relative standard uncertainty of a small amplitude beside the gain: the fast converter's slope between its
jumps is 10 codes in 1024 off (RP2040 erratum E11), which a jump within the ripple makes good in part."""
LOWEST_HZ = 4000.0
FEWEST = 64

QUESTION = Question(needs="current volts supply drive", group="Supply and winding", keys=(INDUCTANCE[0],))


def find(case: Case) -> list[Finding]:
    """Return the inductance at the frequency of the PWM, from the fundamental of the ripple.

    With iron that carries eddy currents it is less than at rest, and it is what such a current sees:
    reactance over angular frequency, the loss in the iron counted with it.

    A bridge leg switching between 0 and V at duty D has a fundamental of amplitude (2 V/pi) sin(pi D)
    (Fourier series of a rectangular wave); through R and L that makes a current of amplitude A1, so
    omega L = sqrt((2 V sin(pi D) / (pi A1))^2 - R^2). Unlike the small-ripple formula it needs no short
    period and sees through converter noise. Type A from six pieces of the burst.
    """
    bursts = ripples(case)
    if not bursts:
        return [case.missing(*INDUCTANCE, "no burst of the current was captured")]
    burst = bursts[-1]
    when = (burst.start_s, burst.start_s + len(burst.values) / burst.rate_hz)
    around = case.between(burst.start_s - 0.02, when[1] + 0.02)
    loop = loop_of(case)
    if isinstance(loop, str) or len(around) < 5:
        return [
            case.missing(
                *INDUCTANCE, loop if isinstance(loop, str) else "the burst lies outside the recording"
            )
        ]
    duty, supply_v = abs(float(np.median(around["drive"]))), float(np.median(around["supply_v"]))
    pwm_hz = strongest_hz(burst)
    amplitudes_a = [amplitude(piece, burst.rate_hz, pwm_hz) for piece in np.array_split(burst.values, PIECES)]
    found = [henry(amplitude_a, pwm_hz, duty, supply_v, loop.ohm) for amplitude_a in amplitudes_a]
    if not np.isfinite(found).all() or not 0.03 < duty < 0.97:
        return [case.missing(*INDUCTANCE, "the ripple cannot be separated from the noise", span_s=when)]
    gain = math.hypot(case.accuracy("current_a", "gain"), case.accuracy("supply_v", "gain"))
    measured = repeats(np.array(found) * 1e3)
    measured = measured.widened(measured.value * math.hypot(gain, MODEL_SHARE))
    evidence = {
        "pwm_hz": pwm_hz,
        "ripple_a": float(np.mean(amplitudes_a)),
        "duty": duty,
        "points": len(burst.values),
    }
    # Fewer turns carry less flux per ampere, and L falls with their square.
    return [
        case.finding(
            *INDUCTANCE[:2], Measured(measured.value, measured.u, PIECES), INDUCTANCE[2], low="shorted_turns",
            span_s=when, evidence=evidence,
        )
    ]  # fmt: skip


def ripples(case: Case) -> list[Burst]:
    """Return the captures of the current's ripple that are fast and long enough to show one."""
    return [
        burst
        for burst in case.run.bursts
        if burst.label == labels.BURST_RIPPLE
        and burst.unit == "A"
        and burst.rate_hz > 4 * LOWEST_HZ
        and len(burst.values) >= FEWEST
    ]


def strongest_hz(burst: Burst) -> float:
    """Frequency of the strongest line above 4 kHz, refined by a parabola through the logarithms (Hann
    window)."""
    values = burst.values - burst.values.mean()
    power = np.abs(np.fft.rfft(values * np.hanning(len(values))))
    step = burst.rate_hz / len(values)
    first = max(1, int(LOWEST_HZ / step))
    at = first + int(np.argmax(power[first:-1]))
    left, top, right = np.log(power[at - 1 : at + 2] + 1e-30)
    bend = left - 2 * top + right
    return float(at + (0.5 * (left - right) / bend if bend else 0.0)) * step


def amplitude(values: Floats, rate_hz: float, frequency_hz: float) -> float:
    """Amplitude of one frequency in ``values``, least squares with a mean and a drift."""
    time_s = np.arange(len(values)) / rate_hz
    turn = 2 * math.pi * frequency_hz * time_s
    design = np.column_stack((np.cos(turn), np.sin(turn), np.ones(len(values)), time_s))
    answer = np.linalg.lstsq(design, values, rcond=None)[0]
    return float(math.hypot(answer[0], answer[1]))


def henry(amplitude_a: float, pwm_hz: float, duty: float, supply_v: float, ohm: float) -> float:
    """Inductance in H from the fundamental's amplitude; NaN when R alone explains it."""
    if amplitude_a <= 0:
        return math.nan
    impedance = 2 * supply_v / math.pi * math.sin(math.pi * duty) / amplitude_a
    return math.sqrt(impedance**2 - ohm**2) / (2 * math.pi * pwm_hz) if impedance > ohm else math.nan
