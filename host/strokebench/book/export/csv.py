"""Recordings for other programs: CSV with our column names, and segment, label and kind behind them.

Beside ``run.csv`` goes ``run.about.json``, which says what the rows belong to; the CSV stays plain rows, as
every program reads them.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from strokebench.book.export.about import as_text
from strokebench.data.output import check_output, output_file, write_whole
from strokebench.data.run import RunData
from strokebench.data.samples import COLUMNS

FORMATS = {"time_s": "%.6f", "drive": "%.4f", "state": "%d", "fault": "%d"}
DEFAULT_FORMAT = "%.4f"


def about_path(path: str) -> Path:
    """Return the name of what stands beside a CSV file and says what its rows belong to."""
    return Path(path).with_suffix(".about.json")


def write_csv(run: RunData, path: str, *, replace: bool = False, facts: dict[str, Any] | None = None) -> None:
    """Write all samples to ``path`` (``-``: standard output); :class:`BookError` when it cannot be written.

    ``facts``: what the rows belong to (:func:`strokebench.book.export.about.about`), written beside it.
    Read back by :func:`strokebench.foreign.read.read_csv`, marks included; bursts are not in it.
    """
    beside = about_path(path) if facts is not None and path != "-" else None
    if beside is not None:
        check_output(beside, replace=replace)
    segment, label, kind = _segments(run)
    with _opened(path, replace) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([*COLUMNS, "segment", "label", "kind"])
        formats = [FORMATS.get(name, DEFAULT_FORMAT) for name in COLUMNS]
        for row, *mark in zip(run.samples.tolist(), segment, label, kind, strict=True):
            writer.writerow([*(form % value for form, value in zip(formats, row, strict=True)), *mark])
    if facts is not None and beside is not None:
        write_whole(beside, as_text(facts), replace=replace)


def _segments(run: RunData) -> tuple[list[Any], list[str], list[str]]:
    """Return segment number, label and kind of every sample; empty outside the marks."""
    count = len(run.samples)
    segment: list[Any] = [""] * count
    label, kind = [""] * count, [""] * count
    for mark in run.marks:
        first, stop = np.searchsorted(run.samples["time_s"], (mark.start_s - 1e-9, mark.end_s - 1e-9))
        for row in range(first, stop):
            segment[row], label[row], kind[row] = mark.index, mark.label, mark.kind
    return segment, label, kind


@contextmanager
def _opened(path: str, replace: bool) -> Iterator[TextIO]:
    if path == "-":
        yield sys.stdout
        return
    with (
        output_file(path, replace=replace) as partial,
        partial.open("w", encoding="utf-8", newline="") as file,
    ):
        yield file
