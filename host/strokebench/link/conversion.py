"""Between the bench's integers (mA, mV, 0.1 C, 1/10000, ticks) and the host's SI units."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from strokefw import channels, faults, state
from strokefw.drive import ramp
from strokefw.guard import limits as guard_limits
from strokefw.link import wire
from strokefw.sensing import calib, sense

from strokebench.data.run import Event
from strokebench.data.samples import DRIVE_ONE, SAMPLE_DTYPE, TICK_S, Samples
from strokebench.link.link import Message
from strokebench.parts.limits import Limits
from strokebench.parts.procedure import Planned

RESET_CAUSES = ("power-on", "watchdog", "soft reset", "brown-out or other")
FLAG_EMERGENCY = 8
"""Bit of a status report: the emergency line is open."""
_HALF = (state.TICK_MASK + 1) // 2

_NUMPY = {"B": "u1", "h": "<i2", "H": "<u2", "i": "<i4", "I": "<u4"}
WIRE_SAMPLE = np.dtype([(name, _NUMPY[code]) for name, code in (f.split(":") for f in wire.SAMPLE.split())])
"""A sample as it travels; its size is checked against the firmware's by the tests."""

_MILLI = ("current_a", "supply_v", "output_a_v", "output_b_v", "sensor_a_v", "sensor_b_v")
_FULL_MILLI = {
    "current_coarse": channels.COARSE_FULL_MA,
    "current_fine": channels.FINE_FULL_MA,
    "current_max": channels.COARSE_FULL_MA,
    "current_min": channels.COARSE_FULL_MA,
    "supply": channels.SUPPLY_FULL_MV,
    "vin": channels.SUPPLY_FULL_MV,
    "output_a": channels.SUPPLY_FULL_MV,
    "output_b": channels.SUPPLY_FULL_MV,
    "sensor_a": channels.SENSOR_FULL_MV,
    "sensor_b": channels.SENSOR_FULL_MV,
    "feed": channels.SENSOR_FULL_MV,
}


LACKS = ("output_a_v", "output_b_v", "sensor_b_v", "heatsink_c", "part_c")
"""Columns of a sample that a bench with few signals (``strokefw.channels.FEW``) does not measure."""


def decode_rows(raw: bytes, first_tick: int, few: bool = False) -> Samples:
    """Return travelling rows (a whole number of them) as samples; ``time_s`` counts from ``first_tick``.

    ``few``: the bench does not measure :data:`LACKS`, which are NaN.
    """
    rows = np.frombuffer(raw, WIRE_SAMPLE)
    out: Samples = np.empty(len(rows), SAMPLE_DTYPE)
    passed = rows["tick"].astype(np.int64) - first_tick
    out["time_s"] = (((passed + _HALF) & state.TICK_MASK) - _HALF) * TICK_S
    out["drive"] = rows["drive"] / DRIVE_ONE
    for name in _MILLI:
        out[name] = rows[f"{name[:-2]}_m{name[-1]}"] / 1000
    for name in ("heatsink", "part"):
        tenths = rows[f"{name}_dc"]
        out[f"{name}_c"] = np.where(tenths == sense.NO_READING, np.nan, tenths / 10)
    if few:
        for name in LACKS:
            out[name] = np.nan
    out["state"] = rows["state"]
    out["fault"] = rows["fault"]
    return out


def seconds_between(first_tick: int, tick: int) -> float:
    """Return seconds from one tick to another, across the counter's wrap; negative for an earlier one."""
    passed: int = ((tick - first_tick + _HALF) & state.TICK_MASK) - _HALF
    return passed * TICK_S


def limits_values(limits: Limits) -> tuple[int, ...]:
    """Return ``limits`` as the fields of the limits message, in its order."""
    milli, tenthousandth = 1000, DRIVE_ONE
    numbers = {
        "current_max_ma": limits.current_max_a * milli,
        "current_mean_ma": limits.current_mean_a * milli,
        "supply_min_mv": limits.supply_min_v * milli,
        "supply_max_mv": limits.supply_max_v * milli,
        "slew_per_ms": max(1.0, limits.slew_per_s * tenthousandth * TICK_S),
        "drive_min": limits.drive_min * tenthousandth,
        "drive_max": limits.drive_max * tenthousandth,
        "stall_ms": limits.stall_s * milli,
        "stall_ma": limits.stall_a * milli,
        "heartbeat_ms": limits.heartbeat_s * milli,
        "i2t_leads_a2s": limits.i2t_leads_a2s,
        "i2t_leads_rest_ma": limits.i2t_leads_rest_a * milli,
        "i2t_part_a2s": limits.i2t_part_a2s,
        "i2t_part_rest_ma": limits.i2t_part_rest_a * milli,
        "part_temp_max_dc": limits.part_temp_max_c * 10,
        "flags": limits_flags(limits),
    }
    return tuple(round(numbers[name]) for name in wire.FIELDS[wire.ID["limits"]])


def limits_flags(limits: Limits) -> int:
    """Return the flag bits of the limits message."""
    flags = guard_limits.PART_NTC if limits.part_thermistor else 0
    flags |= guard_limits.SENSORS if limits.sensor_feed else 0
    return flags | (guard_limits.PART_EXPECTED if limits.part_expected else 0)


def segment_values(index: int, segment: Planned) -> tuple[int, ...]:
    """Return a planned segment as the fields of the segment message, in its order."""
    p = (*segment.numbers, 0, 0, 0, 0)[:4]
    watch = segment.watch
    watching = (0, 0, 0, 0, 0)
    if watch is not None:
        action = ramp.WATCH_NEXT if watch.then == "next" else ramp.WATCH_END
        kind = ramp.WATCH_NAMES.index(watch.when)
        times = (round(watch.after_s / TICK_S), round(watch.hold_s / TICK_S))
        watching = (kind, action, round(watch.value * 1000), *times)
    kind = ramp.KIND_NAMES.index(segment.kind)
    target = round(segment.target * DRIVE_ONE)
    return (index, kind, target, max(1, round(segment.duration_s / TICK_S)), *p, *watching)


class Units(NamedTuple):
    """What turns a bench's counts into values: see :func:`burst_values`."""

    record: bytes = b""
    finer: int = 1
    few: bool = False


def burst_values(
    channel: int, counts: NDArray[np.uint16], record: bytes = b"", finer: int = 1, few: bool = False
) -> tuple[NDArray[np.float64], str]:
    """Return a capture's counts in A or V, and the unit; ``record`` is the bench's calibration record.

    ``finer``: how much finer the bench's current ranges are than the reference bench's. ``few``: it measures
    few signals, and its sensor as a share of the feed.
    """
    name = channels.NAMES[channel]
    zero, trim = float(calib.ideal_zero(channel)), 0
    if record:
        zeros, trims, _day, _ident = calib.parse(record)
        zero, trim = zero + zeros[channel], trims[channel]
    full = sense.FEED_NOMINAL_MV / 1000 if few and name == "sensor_a" else full_scale(name, finer)
    scale = full / channels.FULL_SCALE * (1 + trim / 32768)
    return (counts.astype(np.float64) - zero) * scale, "A" if name.startswith("current") else "V"


def full_scale(name: str, finer: int = 1) -> float:
    """Return what ``channels.FULL_SCALE`` counts of a channel are worth, in A or V."""
    return int(_FULL_MILLI[name]) / 1000 / (finer if name.startswith("current") else 1)


@dataclass(frozen=True)
class Status:
    """What the bench says about itself now: SI units, ``state`` and ``fault`` by name."""

    state: str
    fault: int
    drive: float
    current_a: float
    supply_v: float
    terminals_v: float
    sensor_feed_v: float
    heatsink_c: float
    part_c: float
    junction_c: float
    drive_cap: float
    budget_left: dict[str, float]
    """Remaining heat budget of bench, leads and part, 0..1."""
    counters: dict[str, int]
    emergency_open: bool = False


def status_of(message: Message, few: bool = False) -> Status:
    """Return the status in a ``status_report``; NaN for what a bench with few signals does not measure."""
    f = message.fields
    unknown = float("nan")
    return Status(
        state=named(state.NAMES, f["state"], "state"),
        fault=f["fault"],
        drive=f["drive"] / DRIVE_ONE,
        current_a=f["current_ma"] / 1000,
        supply_v=f["supply_mv"] / 1000,
        terminals_v=unknown if few else f["vin_mv"] / 1000,
        sensor_feed_v=unknown if few else f["feed_mv"] / 1000,
        heatsink_c=unknown if few else celsius(f["heatsink_dc"]),
        part_c=unknown if few else celsius(f["part_dc"]),
        junction_c=unknown if few else celsius(f["junction_dc"]),
        drive_cap=f["cap"] / DRIVE_ONE,
        budget_left={name: f[f"i2t_{name}_permille"] / 1000 for name in ("bench", "leads", "part")},
        counters={name: f[name] for name in _COUNTERS},
        emergency_open=bool(f["flags"] & FLAG_EMERGENCY),
    )


_COUNTERS = (
    "trips", "bad_frames", "lost_rows", "lost_events", "overruns", "tick_max_us", "tick_mean_us", "heap_free",
    "stack_max",
)  # fmt: skip


def celsius(tenths: int) -> float:
    """Return 0.1 C as C; NaN for a sensor that cannot be read."""
    return float("nan") if tenths == sense.NO_READING else tenths / 10


def named(names: tuple[str, ...], number: int, what: str) -> str:
    """Return the name of a number the bench sent, ``what`` and the number when it has none here."""
    return names[number] if number < len(names) and names[number] else f"{what} {number}"


def event_text(kind: int, code: int, index: int, detail: int) -> str:
    """Return one plain sentence for an event of the bench."""
    if kind in (state.EVENT_FAULT, state.EVENT_WARNING):
        row = faults.row(code)
        return row[4] if row else ("The condition is gone." if code == 0 else f"Code {code}.")
    if kind == state.EVENT_STATE:
        return f"From {named(state.NAMES, index, 'state')} to {named(state.NAMES, code, 'state')}."
    if kind == state.EVENT_RUN_END:
        return f"The run ended: {named(state.END_NAMES, code, 'reason')}."
    if kind == state.EVENT_BOOT:
        return f"Started after {RESET_CAUSES[min(code, len(RESET_CAUSES) - 1)]}."
    if kind == state.EVENT_WATCH:
        return f"The watch of segment {index} ended {'the run' if code == ramp.WATCH_END else 'it'}."
    if kind == state.EVENT_BURST_FAILED:
        return f"The capture of segment {index} failed."
    if kind == state.EVENT_SEGMENT:
        return f"Segment {index} ({named(ramp.KIND_NAMES, code, 'kind')}) begins."
    return f"{named(state.EVENT_NAMES, kind, 'event')}: code {code}, index {index}, detail {detail}."


def tail_rows(message: Message) -> list[tuple[int, ...]]:
    """Return the rows behind a message's fields."""
    return list(struct.iter_unpack(wire.TAIL[wire.ID[message.name]], message.tail))


def logged_event(tick: int, kind: int, code: int, index: int, detail: int) -> Event:
    """Return one row of the bench's own event log."""
    number = code if kind in (state.EVENT_FAULT, state.EVENT_WARNING) else 0
    name = named(state.EVENT_NAMES, kind, "event")
    return Event(tick * TICK_S, name, number, event_text(kind, code, index, detail))
