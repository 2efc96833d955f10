"""Recordings for other programs: CSV with our column names, and segment, label and kind behind them."""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

import numpy as np

from strokebench.data.output import output_file
from strokebench.data.run import RunData
from strokebench.data.samples import COLUMNS

FORMATS = {"time_s": "%.6f", "drive": "%.4f", "state": "%d", "fault": "%d"}
DEFAULT_FORMAT = "%.4f"


def write_csv(run: RunData, path: str, *, replace: bool = False) -> None:
    """Write all samples to ``path`` (``-``: standard output); :class:`BookError` when it cannot be written.

    Read back by :func:`strokebench.foreign.read.read_csv`, marks included; bursts and events are not in it.
    """
    segment, label, kind = _segments(run)
    with _opened(path, replace) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([*COLUMNS, "segment", "label", "kind"])
        formats = [FORMATS.get(name, DEFAULT_FORMAT) for name in COLUMNS]
        for row, *mark in zip(run.samples.tolist(), segment, label, kind, strict=True):
            writer.writerow([*(form % value for form, value in zip(formats, row, strict=True)), *mark])


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
