"""The figures of a part that turns: the current over one turn, its orders, load over speed, resistance,
run."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strokebench.data.findings import Finding
from strokebench.diagnose.turning.case import RAD_TO_RPM, Level, TurningCase
from strokebench.diagnose.turning.commutation import band_passed, one_turn, order_amplitude
from strokebench.diagnose.turning.load import LoadFit, fit_load
from strokebench.diagnose.turning.loop import fit_drop
from strokebench.diagnose.turning.turns import worst_level
from strokebench.report.pictures import ink
from strokebench.report.pictures.drawing import HALF, WIDE, Picture, drawn, failing_of, sheet
from strokebench.report.pictures.electric import supply
from strokebench.report.pictures.marks import shade, thin
from strokebench.report.pictures.whole_run import whole_run
from strokebench.report.pictures.wiring import losses

TURNS_SHOWN = 3.0
ORDERS_SHOWN = 2.2


def pictures(case: TurningCase, findings: list[Finding]) -> list[Picture]:
    """Return the figures that the recording allows, in reading order."""
    failing = failing_of(findings)
    return drawn(
        over_turns(case, failing), whole_run(case, failing), _wiring(case, failing), load(case, failing),
        orders(case, failing), resistance(case, failing), supply(case),
    )  # fmt: skip


def _wiring(case: TurningCase, failing: dict[str, Finding]) -> Picture | None:
    """The wiring's figure where the profile tells of wiring."""
    return losses(case, failing) if "supply_length_m" in case.profile.nominal else None


def over_turns(case: TurningCase, failing: dict[str, Finding]) -> Picture | None:
    """Current over three turns as captured, and the mean of all turns; places that repeat are red."""
    level = worst_level(case)
    if level is None or level.rate is None or level.burst is None:
        return None
    burst, hz = level.burst, level.rate.hz
    top_hz = min(0.45 * burst.rate_hz, 6 * case.motor.ripples * hz)
    smooth = band_passed(burst.values, burst.rate_hz, 0.0, top_hz) + burst.values.mean()
    count = min(len(smooth), int(TURNS_SHOWN * burst.rate_hz / hz))
    turns = np.arange(count) / burst.rate_hz * hz
    degrees, mean = one_turn(smooth, burst.rate_hz, hz)
    with sheet("Current over the turn", WIDE, 2.6) as page:
        axes = page.axes[0]
        axes.plot(*thin(turns, smooth[:count]), color=ink.DARK, linewidth=0.7, label="as captured")
        whole = np.concatenate([degrees / 360 + n for n in range(int(TURNS_SHOWN))])
        repeated = np.tile(mean, int(TURNS_SHOWN))
        axes.plot(whole, repeated, color=ink.OPEN, linewidth=1.3, alpha=0.8, label="mean of all turns")
        if "segment_passes" in failing:
            _dips(axes, whole, repeated)
        if "once_a_turn" in failing:
            axes.plot(whole, _once(repeated, len(mean)), color=ink.BAD, linewidth=1.6, label="once a turn")
        axes.set(xlim=(0, TURNS_SHOWN), xlabel="turns", ylabel="current, A")
        axes.legend(loc="upper right", ncols=3, bbox_to_anchor=(1.0, 1.16))
        number = int(len(burst.values) / burst.rate_hz * hz)
        caption = (
            f"Part of the capture at {level.drive * 100:.0f} % drive, {hz * 60:.0f} rpm, and the mean over "
            f"{number} turns. Only a shape that repeats with each turn stays in the mean."
        )
        if "segment_passes" in failing:
            caption += " Red: the dips that come with every brush passing."
        if "once_a_turn" in failing:
            caption += " Red: the part that comes and goes once a turn."
        return page.picture(caption)


def _dips(axes: Any, turns: Any, mean: Any) -> None:
    low = mean < np.nanmedian(mean) - 0.4 * (np.nanmedian(mean) - np.nanmin(mean))
    edges = np.flatnonzero(np.diff(np.r_[0, low.astype(int), 0]))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        shade(axes, turns[start], turns[min(end, len(turns) - 1)], ink.BAD, 0.15)


def _once(values: Any, turn: int) -> Any:
    """Return the mean of `values` and their swing once a turn of `turn` values, without the rest."""
    wave = np.exp(-2j * np.pi * np.arange(len(values)) / turn)
    return np.mean(values) + 2 * (np.mean(values * wave) * wave.conj()).real


def orders(case: TurningCase, failing: dict[str, Finding]) -> Picture | None:
    """Amplitudes by order of the turn: once a turn, brush passes, ordinary ripple."""
    level = worst_level(case)
    if level is None or level.rate is None or level.burst is None:
        return None
    bars, motor = _amplitudes(level, case), case.motor
    with sheet("Orders", HALF, 2.5) as page:
        axes = page.axes[0]
        for order, amplitude in bars.items():
            ripple = order % motor.ripples == 0
            bad = ("segment_passes" in failing and order % motor.poles == 0 and not ripple) or (
                "once_a_turn" in failing and order == 1
            )
            axes.vlines(
                order, 0, amplitude, color=ink.BAD if bad else ink.OPEN if ripple else ink.DARK, linewidth=2.2
            )
        axes.set(
            xlabel="order (times a turn)", ylabel="amplitude, A", ylim=(0, None), xlim=(0, max(bars) + 1)
        )
        axes.xaxis.get_major_locator().set_params(integer=True)
        return page.picture(
            f"Blue: ordinary commutation ripple, {motor.ripples} a turn. Red: out of limits.",
            "Ripple by its order",
        )


def _amplitudes(level: Level, case: TurningCase) -> dict[int, float]:
    assert level.rate is not None and level.burst is not None  # asked for with both only
    top = int(ORDERS_SHOWN * case.motor.ripples)
    values, rate_hz = level.burst.values, level.burst.rate_hz
    return {n: order_amplitude(values, rate_hz, n * level.rate.hz)[0] for n in range(1, top + 1)}


def load(case: TurningCase, failing: dict[str, Finding]) -> Picture | None:
    """Torque against speed: the levels, the fitted law, and the limits drawn as what a part may have."""
    fit = fit_load(case)
    if isinstance(fit, str):
        return None
    reach = max(1.05 * fit.rated_rad_s, 1.05 * float(fit.speed_rad_s.max()))
    speed = np.linspace(0, reach, 120)
    bad = any(key in failing for key in ("drag", "load_torque", "load_rise", "low_speed_loss"))
    with sheet("Load over speed", HALF, 2.5) as page:
        axes = page.axes[0]
        axes.plot(speed * RAD_TO_RPM, 1e3 * fit.at(speed), color=ink.BAD if bad else ink.OPEN, linewidth=1.0)
        axes.plot(fit.speed_rad_s * RAD_TO_RPM, 1e3 * fit.torque_nm, "o", color=ink.DARK, markersize=4)
        _load_limits(case, axes, fit)
        axes.set(xlabel="speed, rpm", ylabel="torque, mN m", ylim=(0, None), xlim=(0, reach * RAD_TO_RPM))
        return page.picture(
            "Torque = motor constant x current at each level, and the law fitted to levels and run-down. "
            "Dotted: most at standstill, least at rated speed."
        )


def _load_limits(case: TurningCase, axes: Any, fit: LoadFit) -> None:
    rated = fit.rated_rad_s * RAD_TO_RPM
    most, least = case.limits("drag")[1], case.limits("load_torque")[0]
    if most is not None:
        axes.plot((0, 0.25 * rated), (most, most), color=ink.BAD, linewidth=0.9, linestyle=":")
    if least is not None:
        axes.plot((0.85 * rated, 1.0 * rated), (least, least), color=ink.BAD, linewidth=0.9, linestyle=":")
    axes.axvline(rated, color=ink.FAINT, linewidth=0.9)


def resistance(case: TurningCase, failing: dict[str, Finding]) -> Picture | None:
    """Voltage less back-EMF against current, and the fitted line: red when it is out of limits."""
    drop = fit_drop(case)
    if isinstance(drop, str):
        return None
    with sheet("Resistance", HALF, 2.5) as page:
        axes = page.axes[0]
        axes.plot(drop.current_a, drop.volts, "o", color=ink.DARK, markersize=4)
        reach = np.array((0.0, float(drop.current_a.max())))
        colour = ink.BAD if "loop_resistance" in failing else ink.OPEN
        axes.plot(reach, drop.ohm * reach + drop.brush_v, color=colour, linewidth=0.9)
        limit = case.limits("loop_resistance")[1]
        if limit is not None and math.isfinite(limit):
            axes.plot(reach, limit * reach + drop.brush_v, color=ink.BAD, linewidth=0.8, linestyle=":")
        axes.set(xlabel="current, A", ylabel="voltage less back-EMF, V", xlim=(0, None), ylim=(0, None))
        caption = f"At rest and turning. The slope is {drop.ohm:.3f} ohm, warm as it was. Dotted: limit."
        return page.picture(caption, "Resistance of motor and leads")
