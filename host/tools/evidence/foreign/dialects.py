"""Ways in which loggers and oscilloscopes write a table of numbers; no maker's format in particular."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
ENGLISH = {
    "time_s": "Time", "current_a": "Current", "supply_v": "Battery", "output_a_v": "Motor voltage",
    "sensor_a_v": "Sensor 1", "sensor_b_v": "Sensor 2", "output_b_v": "Output B",
}  # fmt: skip
GERMAN = {
    "time_s": "Zeit", "current_a": "Strom", "supply_v": "Versorgung", "output_a_v": "U_Mot",
    "sensor_a_v": "Sensor A", "sensor_b_v": "Sensor B", "output_b_v": "Ausgang B",
}  # fmt: skip
NUMBERED = {key: f"CH{n}" for n, key in enumerate(ENGLISH)}


@dataclass(frozen=True)
class Dialect:
    """A way of writing. ``times`` and ``amps``: what numbers are multiplied by, with the unit that says so;
    ``behind``: how a unit stands behind a name; ``row_of_units``: in brackets like these below the names;
    ``clamp``: volts per ampere, where the current is written as a clamp's volts; ``mapped``: needs ``--map``.
    """

    name: str
    names: Mapping[str, str] = field(default_factory=lambda: ENGLISH)
    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"
    newline: str = "\n"
    above: str = ""
    behind: str = " [{}]"
    row_of_units: str = ""
    times: tuple[float, str] = (1.0, "s")
    amps: tuple[float, str] = (1.0, "A")
    quoted: bool = False
    behind_rows: str = ""
    empty_column: str = ""
    beyond: str = ""
    clamp: float = 0.0
    no_time: bool = False
    clock: bool = False
    no_names: bool = False
    repeated: bool = False
    cut: bool = False
    mapped: bool = False


DIALECTS = (
    Dialect("plain"),
    Dialect("semicolons, decimal commas", GERMAN, ";", ",", behind=" in {}"),
    Dialect("tabs", separator="\t", behind=" ({})"),
    Dialect("blanks", {key: name.replace(" ", "_") for key, name in ENGLISH.items()}, " ", behind="[{}]"),
    Dialect("UTF-8 with a mark, DOS line ends", encoding="utf-8-sig", newline="\r\n"),
    Dialect("UTF-16", GERMAN, "\t", ",", "utf-16", times=(1e3, "ms")),
    Dialect("UTF-16 without a mark", encoding="utf-16-le", separator=";"),
    Dialect("Latin-1, microseconds", GERMAN, ";", ",", "latin-1", times=(1e6, "µs"), above="Gerät;Prüfer\n"),
    Dialect("micro as a Greek letter", times=(1e6, "μs"), behind=" / {}"),
    Dialect("row of units", behind="", row_of_units="{}"),
    Dialect("row of units in brackets, milliampere", behind="", row_of_units="({})", amps=(1e3, "mA")),
    Dialect(
        "preamble",
        above="Model,Recorder\nSerial,0042\nChannels,4\nRecord Length,2000\nProbe,10,1\n\n",
        behind="",
        row_of_units="{}",
    ),
    Dialect("over-range marks", beyond="OL"),
    Dialect("over-range numbers", beyond="9.9E+37", separator="\t"),
    Dialect("trailing separators", separator=";", behind_rows=";;;"),
    Dialect("an empty column", empty_column="Channel D [V]"),
    Dialect("quoted labels of two lines", behind="\n({})", quoted=True),
    Dialect("quoted decimal commas", decimal=",", quoted=True),
    Dialect("a clamp whose factor stands in its label", clamp=0.1),
    Dialect("no time, but its step", no_time=True, above="Sample Interval,{step},s\n"),
    Dialect("time of day", clock=True, behind=" ({})"),
    Dialect("no names", no_names=True, mapped=True),
    Dialect("names that say nothing", NUMBERED, behind="", mapped=True),
    Dialect("a last row cut off", cut=True),
    Dialect("events that repeat a time", repeated=True),
)  # fmt: skip


def write(dialect: Dialect, table: Mapping[str, Floats]) -> bytes:
    """Return a table of columns in our names and units (time_s among them), written in a dialect."""
    keys = [key for key in table if not (dialect.no_time and key == "time_s")]
    lines = (
        [dialect.above.format(step=f"{table['time_s'][1] - table['time_s'][0]:g}")] if dialect.above else []
    )
    names = [_label(dialect, key) for key in keys]
    cells = [_cells(dialect, key, table[key]) for key in keys]
    if dialect.empty_column:
        names.append(dialect.empty_column)
        cells.append([""] * len(cells[0]))
    if not dialect.no_names:
        lines.append(_row(dialect, names))
    if dialect.row_of_units:
        lines.append(_row(dialect, [dialect.row_of_units.format(_unit(dialect, key)) for key in keys]))
    lines += [_row(dialect, row) for row in zip(*cells, strict=True)]
    if dialect.repeated:
        lines.insert(len(lines) // 2, lines[len(lines) // 2])
    text = "".join(lines)
    if dialect.cut:
        text = text[: -len(lines[-1]) + 3]
    return text.replace("\n", dialect.newline).encode(dialect.encoding)


def mapping(dialect: Dialect, table: Mapping[str, Floats]) -> str:
    """Return the ``--map`` that a dialect needs, empty for most."""
    if not dialect.mapped:
        return ""
    names = [str(n + 1) if dialect.no_names else _label(dialect, key) for n, key in enumerate(table)]
    return ",".join(f'{key}="{name}"' for key, name in zip(table, names, strict=True))


def _label(dialect: Dialect, key: str) -> str:
    if key == "current_a" and dialect.clamp:
        return f"Clamp ({1000 * dialect.clamp:g} mV/A)"
    return dialect.names[key] + (dialect.behind.format(_unit(dialect, key)) if dialect.behind else "")


def _unit(dialect: Dialect, key: str) -> str:
    return {"time_s": dialect.times[1], "current_a": dialect.amps[1]}.get(key, "V")


def _cells(dialect: Dialect, key: str, values: Floats) -> list[str]:
    if key == "time_s" and dialect.clock:
        return [f"13:{int(value) // 60:02d}:{value % 60:09.6f}" for value in values]
    scale = dialect.times[0] if key == "time_s" else dialect.amps[0] if key == "current_a" else 1.0
    scale = dialect.clamp if key == "current_a" and dialect.clamp else scale
    form = "%.7g" if key == "time_s" else "%.6g"
    found = [(form % value).replace(".", dialect.decimal) for value in values * scale]
    if key == "current_a" and dialect.beyond:
        found[len(found) // 3] = dialect.beyond
    return found


def _row(dialect: Dialect, cells: list[str] | tuple[str, ...]) -> str:
    marked = [f'"{cell}"' for cell in cells] if dialect.quoted else cells
    return dialect.separator.join(marked) + dialect.behind_rows + "\n"
