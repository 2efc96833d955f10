"""A run as an MDF 4 file (ASAM MDF, an open standard for measurement data), through asammdf."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from strokebench.book.export.about import as_text
from strokebench.data.output import output_file
from strokebench.data.run import RunData
from strokebench.data.samples import COLUMNS
from strokebench.errors import UsageError

UNITS = {"a": "A", "v": "V", "c": "degC"}


ATTACHED = "strokebench.about.json"
"""Name of the attachment that says what the recording belongs to."""


def write_mdf(
    run: RunData, path: str | Path, *, replace: bool = False, facts: dict[str, Any] | None = None
) -> None:
    """Write samples as one group, each burst as its own; UsageError without asammdf, else BookError.

    ``facts``: what the recording belongs to (:func:`strokebench.book.export.about.about`), attached.
    """
    try:
        from asammdf import MDF, Signal
    except ImportError:
        raise UsageError("MDF4 needs the package asammdf.", "Install it with: pip install asammdf") from None
    time_s = run.samples["time_s"]
    signals = [
        Signal(run.samples[name], time_s, name=name, unit=UNITS.get(name.rpartition("_")[2], ""))
        for name in COLUMNS[1:]
    ]
    with MDF(version="4.10") as file:
        file.append(signals, comment="samples")
        for number, burst in enumerate(run.bursts, 1):
            file.append([_burst(Signal, number, burst)], comment=burst.label)
        if facts is not None:
            file.attach(as_text(facts).encode(), file_name=ATTACHED, mime="application/json")
        with output_file(path, replace=replace) as partial:
            file.save(partial, overwrite=True)


def _burst(signal: Any, number: int, burst: Any) -> Any:
    import numpy as np

    time_s = burst.start_s + np.arange(len(burst.values)) / burst.rate_hz
    return signal(burst.values, time_s, name=f"burst_{number}_{burst.channel}", unit=burst.unit)
