"""Figures of the decks for docs/spice.md: each function runs its deck and draws what the page talks about."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from hardware.calc import design
from hardware.spice import runner
from hardware.spice.runner import Result

matplotlib.rcParams.update({"svg.hashsalt": "strokebench", "svg.fonttype": "none", "font.size": 9})
POINTS = 400
SIZE_IN = (6.4, 3.2)


def window(result: Result, name: str, start: float, stop: float) -> tuple[np.ndarray, np.ndarray]:
    """x and y of a waveform between two x values, thinned but with the extremes of each stretch kept."""
    axis = np.array(next(iter(result.waves.values())))
    values = np.array(result.waves[name])
    inside = (axis >= start) & (axis <= stop)
    axis, values = axis[inside], values[inside]
    if len(axis) <= POINTS:
        return axis, values
    pieces = np.array_split(np.arange(len(axis)), POINTS // 2)
    keep = sorted({p[np.argmin(values[p])] for p in pieces} | {p[np.argmax(values[p])] for p in pieces})
    return axis[keep], values[keep]


def canvas(rows: int = 1) -> tuple[Figure, list[Any]]:
    """A figure with stacked axes that share x."""
    figure = Figure(figsize=(SIZE_IN[0], SIZE_IN[1] * (1 if rows == 1 else 1.5)), layout="constrained")
    axes = figure.subplots(rows, 1, sharex=True, squeeze=False)[:, 0]
    for axis in axes:
        axis.grid(alpha=0.3)
    return figure, list(axes)


def bridge() -> Figure:
    """Two periods: leg voltage and motor current."""
    result = runner.run("bridge")
    figure, (top, bottom) = canvas(2)
    x, y = window(result, "v(a)", 1.9e-3, 2e-3)
    top.plot((x - 1.9e-3) * 1e6, y, lw=0.9)
    top.set_ylabel("leg A, V")
    x, y = window(result, "im", 1.9e-3, 2e-3)
    bottom.plot((x - 1.9e-3) * 1e6, y, lw=1.2)
    bottom.set_ylabel("motor current, A")
    bottom.set_xlabel("time, us")
    return figure


def dead_time() -> Figure:
    """Current of the high FET at turn-on with the set dead time, with 100 ns, and with an overlap."""
    figure, (axis,) = canvas()
    for dead_s, colour in ((-50e-9, "tab:red"), (100e-9, "tab:orange"), (design.DEAD_TIME_S, "tab:blue")):
        result = runner.run("bridge", dead=dead_s)
        on_s = 1.901e-3 + dead_s
        x, y = window(result, "ih", on_s - 0.2e-6, on_s + 0.8e-6)
        axis.plot((x - on_s) * 1e9, y, color=colour, label=f"dead time {dead_s * 1e9:.0f} ns")
    axis.set_xlabel("time after the high gate's command, ns")
    axis.set_ylabel("high FET current, A")
    axis.legend()
    return figure


def snubber() -> Figure:
    """Drain voltage of the low FET when the high one turns on, with and without the snubber."""
    figure, (axis,) = canvas()
    at_s = 1.751e-3 + design.DEAD_TIME_S
    for farads, label in ((1e-12, "no snubber"), (design.SNUBBER_F, "10 nF + 2.2 Ohm")):
        result = runner.run("bridge", csn=farads)
        x, y = window(result, "v(a)", at_s, at_s + 0.6e-6)
        axis.plot((x - at_s) * 1e9, y, lw=1, label=label)
    axis.axhline(design.BRIDGE_FET.rating_v, color="tab:red", ls="--", lw=0.8)
    axis.set_xlabel("time after the high gate's command, ns")
    axis.set_ylabel("leg A, V")
    axis.legend()
    return figure


def trip() -> Figure:
    """Current into a short of 1 m of leads, and the comparator and driver signals."""
    result = runner.run("trip")
    figure, (top, bottom) = canvas(2)
    x, y = window(result, "il", 0, 25e-6)
    top.plot(x * 1e6, y)
    top.axhline(design.HARD_TRIP_A, color="tab:red", ls="--", lw=0.8)
    top.set_ylabel("current, A")
    for name, label in (("v(amp)", "amplifier, V"), ("v(cmp)", "comparator"), ("v(qd)", "gates off")):
        x, y = window(result, name, 0, 25e-6)
        bottom.plot(x * 1e6, y, label=label, lw=1)
    bottom.set_xlabel("time, us")
    bottom.legend(loc="upper left")
    return figure


def regen() -> Figure:
    """Bus voltage with and without the brake chopper after the plug is pulled."""
    figure, (axis,) = canvas()
    for on_v, label in ((99.0, "without brake chopper"), (17.36, "with brake chopper")):
        x, y = window(runner.run("regen", brake_on=on_v), "v(bus)", 0, 60e-3)
        axis.plot(x * 1e3, y, label=label)
    axis.axvline(5, color="0.5", ls=":")
    axis.text(5.5, 26, "plug pulled, drive ramped down", fontsize=8)
    axis.set_xlabel("time, ms")
    axis.set_ylabel("bus, V")
    axis.set_ylim(10, 28)
    axis.legend(loc="center right")
    return figure


def reverse() -> Figure:
    """Input and bus when the supply is connected the wrong way round."""
    result = runner.run("reverse")
    figure, (axis,) = canvas()
    for name, label in (("v(vin)", "terminals"), ("v(bus)", "bus")):
        x, y = window(result, name, 0, 5e-3)
        axis.plot(x * 1e3, y, label=label)
    axis.set_xlabel("time, ms")
    axis.set_ylabel("V")
    axis.legend()
    return figure


def mainswitch() -> Figure:
    """Terminal voltage when 40 A are interrupted, with the design's parts and with neither."""
    figure, (axis,) = canvas()
    for changes, label in (
        ({"clocal": 100e-9, "tvs_bv": 500}, "100 nF, no suppressor"),
        ({}, "20 uF and suppressor"),
    ):
        x, y = window(runner.run("mainswitch", **changes), "v(vin)", 15e-6, 60e-6)
        axis.plot(x * 1e6, y, label=label)
    axis.set_xlabel("time, us")
    axis.set_ylabel("terminals, V")
    axis.legend()
    return figure


def sensor() -> Figure:
    """Converter-side voltage over the whole abuse range of the input."""
    result = runner.run("sensor")
    figure, (axis,) = canvas()
    for name, label, style in (("v(ideal)", "divider alone", ":"), ("v(n)", "with clamps", "-")):
        x, y = window(result, name, -24, 24)
        axis.plot(x, y, style, label=label)
    axis.axvspan(0, 5, color="tab:green", alpha=0.12)
    axis.set_xlabel("input, V (0 to 5 V is the measuring range)")
    axis.set_ylabel("behind the divider, V")
    axis.set_ylim(-4, 8)
    axis.legend()
    return figure


def amplifier() -> Figure:
    """Both amplifiers at 2 A while the leg switches: what an edge leaves behind."""
    result = runner.run("amplifier")
    figure, (axis,) = canvas()
    for name, gain, label in (("v(o4)", design.FINE_GAIN, "fine"), ("v(o3)", design.COARSE_GAIN, "coarse")):
        x, y = window(result, name, 108e-6, 122e-6)
        amps = (y - design.AMPLIFIER_ZERO_V) / (gain * design.SHUNT_OHM)
        axis.plot((x - 110e-6) * 1e6, amps, label=label, ls="-" if name == "v(o4)" else "--")
    axis.set_xlabel("time after the edge of the leg, us")
    axis.set_ylabel("indicated current, A")
    axis.legend()
    return figure


def ranges() -> Figure:
    """Outputs of both amplifiers over the current."""
    result = runner.run("ranges")
    figure, (axis,) = canvas()
    for name, label in (("v(coarse)", "coarse, gain 20"), ("v(fine)", "fine, gain 200")):
        x, y = window(result, name, -70, 70)
        axis.plot(x, y, label=label)
    axis.set_xlabel("motor current, A")
    axis.set_ylabel("amplifier output, V")
    axis.legend()
    return figure


ALL: dict[str, Callable[[], Figure]] = {
    "bridge": bridge,
    "dead_time": dead_time,
    "snubber": snubber,
    "trip": trip,
    "regen": regen,
    "reverse": reverse,
    "mainswitch": mainswitch,
    "sensor": sensor,
    "amplifier": amplifier,
    "ranges": ranges,
}


def save(figure: Figure, path: Path) -> None:
    """Write an SVG without date, so that an unchanged figure is an unchanged file."""
    figure.savefig(path, format="svg", metadata={"Date": None})
