"""Read a simulated bench in its laboratory as its user would, and the truth beside it."""

from __future__ import annotations

from strokebench.bench.bench import Bench
from strokebench.bench.spec import SimSpec
from strokebench.calibrate.points import holding, steady
from strokebench.calibrate.quantities import ARMED, quantities
from strokebench.link import conversion
from strokebench.sim.laboratory import Laboratory, open_laboratory

COLUMNS = {
    "current_fine": "current_a",
    "current_coarse": "current_a",
    "supply": "supply_v",
    "output_a": "output_a_v",
    "output_b": "output_b_v",
    "sensor_a": "sensor_a_v",
    "sensor_b": "sensor_b_v",
}


def bench_in_laboratory(**spec: object) -> tuple[Bench, Laboratory]:
    """Open a bench as built in a laboratory."""
    full = SimSpec(**{"as_built": True, **spec})  # type: ignore[arg-type]
    port, laboratory = open_laboratory(full)
    return Bench(port, "simulated bench", full.engine), laboratory


def column_mean(bench: Bench, column: str, rows_least: int = 100) -> float:
    """Return the mean of a sample column over at least so many ticks, as the bench streams it."""
    bench.link.poll(0)
    bench.link.request("stream", 1)
    raw = b""
    while len(raw) < rows_least * 26:
        raw += b"".join(m.tail for m in bench.link.poll(0.05) if m.name == "samples")
    bench.link.request("stream", 0)
    return float(conversion.decode_rows(raw, 0)[column].mean())


def error(bench: Bench, laboratory: Laboratory, channel: str, value: float) -> float:
    """Return what the bench shows minus what is true, with about ``value`` applied to ``channel``."""
    quantity = quantities(bench.identity.finer)[channel]
    if quantity.mode == ARMED:
        laboratory.apply(channel, value)
        bench.link.poll(0.1)
    with holding(bench, quantity.mode) as beat:
        laboratory.apply(channel, value)
        bench.link.poll(0.1)
        steady(bench, quantity.index, beat)
        beat()
        shown = column_mean(bench, COLUMNS[channel])
        true = laboratory.true(channel)
        laboratory.remove(channel)
    return shown - (true * 5.0 / laboratory.plant.feed_v if channel.startswith("sensor") else true)
