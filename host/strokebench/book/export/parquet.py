"""Runs as Parquet files in folders by part and month, for programs that read fleets of them.

``FOLDER/samples/part=NAME/month=2026-05/BOOK-run-1.parquet`` holds the samples of one run,
``FOLDER/findings/...`` its findings; the folder names are the usual key=value ones, so that DuckDB, Dask and
Spark see ``part`` and ``month`` as columns.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.errors import BookError, UsageError

if TYPE_CHECKING:
    from strokebench.book.book import Book, RunSummary


def _arrow() -> Any:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UsageError(
            "Parquet needs the package pyarrow.", "Install it with: pip install 'strokebench[fleet]'"
        ) from None
    return pyarrow


def write_parquet(book: Book, run_ids: Iterable[int], folder: str | Path) -> int:
    """Write the samples and findings of each run below ``folder``; return how many runs were written."""
    arrow, count = _arrow(), 0
    for run_id in run_ids:
        summary = book.summary(run_id)
        place = Path(f"part={summary.part}") / f"month={summary.started_at[:7]}"
        name = f"{book.path.stem}-run-{run_id}.parquet"
        _write(arrow, _samples(arrow, book, summary), Path(folder) / "samples" / place, name)
        _write(arrow, _findings(arrow, book, summary), Path(folder) / "findings" / place, name)
        count += 1
    return count


def _write(arrow: Any, table: Any, folder: Path, name: str) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        arrow.parquet.write_table(table, folder / name, compression="zstd")
    except OSError as error:
        raise BookError(f"{folder / name} cannot be written: {error}.", "Check folder and space.") from error


def _about(summary: RunSummary) -> dict[str, Any]:
    return {
        "run_id": summary.run_id, "started_at": summary.started_at, "part_serial": summary.part_serial,
        "customer": summary.customer, "run_verdict": summary.verdict or "",
    }  # fmt: skip


def _samples(arrow: Any, book: Book, summary: RunSummary) -> Any:
    rows = book.load(summary.run_id).samples
    columns = {name: rows[name] for name in rows.dtype.names or ()}
    about = {name: [value] * len(rows) for name, value in _about(summary).items() if name == "run_id"}
    return arrow.table({**columns, **about})


def _findings(arrow: Any, book: Book, summary: RunSummary) -> Any:
    rows = [
        {
            **_about(summary), "key": finding.key, "value": _plain(finding.value), "u": _plain(finding.u),
            "unit": finding.unit, "verdict": finding.verdict.value, "fault": finding.fault,
        }
        for finding in book.findings(summary.run_id)
    ]  # fmt: skip
    texts = ("started_at", "part_serial", "customer", "run_verdict", "key", "unit", "verdict", "fault")
    fields = [("run_id", arrow.int64()), ("value", arrow.float64()), ("u", arrow.float64())]
    return arrow.Table.from_pylist(rows, schema=arrow.schema(fields + [(t, arrow.string()) for t in texts]))


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None
