"""How fast a large recording is read, beside numpy's own reader of numbers, and with how much memory.

Run it from the folder host: ``python -m tools.evidence.foreign.speed``; its figures are in
docs/how-to/foreign-csv.md.
"""

from __future__ import annotations

import argparse
import io
import os
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
from strokebench.foreign.read import read_csv

RATE_HZ = 100_000.0


def make(path: Path, rows: int, newline: str = "\n", decimal: str = ".") -> None:
    """Write a recording of time, current and supply."""
    rng = np.random.default_rng(1)
    with path.open("w", newline="") as file:
        file.write(f"Time [s];Current [A];Battery [V]{newline}")
        for first in range(0, rows, 100_000):
            count = min(100_000, rows - first)
            table = np.column_stack(
                (
                    (first + np.arange(count)) / RATE_HZ,
                    rng.normal(5, 0.1, count),
                    rng.normal(12.6, 0.01, count),
                )
            )
            text = io.StringIO()
            np.savetxt(text, table, ("%.6f", "%.4f", "%.3f"), ";", newline)
            file.write(text.getvalue().replace(".", decimal))


def cpu_s(work: Callable[[], object]) -> float:
    """Return the CPU seconds of ``work``."""
    before_s = time.process_time()
    work()
    return time.process_time() - before_s


def ratio(path: Path) -> tuple[float, float]:
    """Return our CPU time over that of numpy's loadtxt for the same numbers, and our rows per CPU second."""
    rows = path.read_bytes().count(b"\n") - 1
    ours_s = min(cpu_s(lambda: read_csv(path)) for _ in range(2))
    theirs_s = min(cpu_s(lambda: np.loadtxt(path, delimiter=";", skiprows=1)) for _ in range(2))
    return ours_s / theirs_s, rows / ours_s


def peak_bytes(path: Path) -> int:
    """Return the most memory that reading a file takes."""
    tracemalloc.start()
    try:
        read_csv(path)
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def main(arguments: list[str] | None = None) -> None:
    """Print the figures for a file of so many rows."""
    parser = argparse.ArgumentParser(prog="python -m tools.evidence.foreign.speed", description=__doc__)
    parser.add_argument("--rows", type=int, default=5_000_000, help="rows of the file (default %(default)s)")
    rows = parser.parse_args(arguments).rows
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.csv"
        make(path, rows)
        times, per_s = ratio(path)
        print(f"{os.path.getsize(path) / 1e6:.0f} MB, {rows} rows")
        print(f"{per_s / 1e6:.2f} million rows a second of CPU, {times:.2f} x numpy's loadtxt")
        print(f"at most {peak_bytes(path) / 1e6:.0f} MB of memory")


if __name__ == "__main__":
    main()
