"""A long run for the book, made of nothing but waves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from strokebench.book.book import Book
from strokebench.data.samples import empty
from strokebench.parts import load_part


def long_run(book: Path, rows: int, spike: int | None = None) -> int:
    """Put a run of so many rows into the book and return its number."""
    samples = empty(rows)
    samples["time_s"] = np.arange(rows) * 1e-3
    samples["current_a"] = 1.0 + 0.2 * np.sin(samples["time_s"])
    samples["drive"] = np.sin(samples["time_s"] / 10)
    samples["supply_v"], samples["sensor_a_v"], samples["sensor_b_v"] = 12.6, 2.5, 2.5
    if spike is not None:
        samples["current_a"][spike : spike + 20] = 12.0
    profile = load_part("throttle-body").model_dump(mode="json", exclude_none=True)
    with Book(book) as opened, opened.new_run("throttle-body", "throttle", profile=profile) as writer:
        for start in range(0, rows, 100):
            writer.samples(samples[start : start + 100])
        writer.finish("done")
    return int(writer.run_id)
