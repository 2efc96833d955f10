"""Runs as Parquet files in folders by part and month, for programs that read fleets of them.

``FOLDER/samples/part=NAME/month=2026-05/BENCH-RUN.parquet`` holds the samples of one run,
``FOLDER/findings/...`` its findings with their limits. BENCH is the bench's own number and RUN names the
recording wherever it was made: files of many benches and books lie side by side, and none replaces another.
The folder names are the usual key=value ones: DuckDB, Dask and Spark see ``part`` and ``month`` as columns.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.book.export.about import about, as_text
from strokebench.data.output import output_file
from strokebench.errors import BookError, UsageError

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.data.findings import Finding
    from strokebench.data.run import RunData

Facts = dict[str, Any]
NAMES = ("part_serial", "customer", "note", "answers")
ABOUT = (
    "run", "bench", "firmware", "calibration", "engine", "started_at", "part_serial", "customer", "seal",
)  # fmt: skip
TELLING = ("names", "part_serial", "customer")
KEY = b"strokebench"
"""In every file, under this name among its metadata, stands what the recording belongs to, as JSON."""


def _arrow() -> Any:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise UsageError(
            "Parquet needs the package pyarrow.", "Install it with: pip install 'strokebench[fleet]'"
        ) from None
    return pyarrow


def write_parquet(book: Book, run_ids: Iterable[int], folder: str | Path, *, names: bool = True) -> int:
    """Write the samples and findings of each run below ``folder``; return how many runs were written.

    A recording that is there already with the same judgement is left as it is. ``names``: with customer and
    serial number; without, pseudonyms stand in their place, the same for the same name in this book only, and
    notes are left out. One folder takes either. A run that cannot be read costs that run. Raises
    :class:`BookError` in the end for those, and when something cannot be written.
    """
    arrow, count, lost = _arrow(), 0, []
    for run_id in run_ids:
        try:
            run = book.load(run_id)
            facts, findings = about(book, run, names=names), book.findings(run_id)
        except BookError as error:
            lost.append(f"run {run_id} ({error})")
            continue
        _write_run(arrow, Path(folder), run, facts, findings)
        count += 1
    if lost:
        raise BookError(
            f"{count} runs are in {folder}, {len(lost)} are not: {', '.join(lost[:5])}"
            + (" and more." if len(lost) > 5 else "."),
            "`strokebench book check` lists what is wrong.",
        )
    return count


def _write_run(arrow: Any, folder: Path, run: RunData, facts: Facts, findings: list[Finding]) -> None:
    place = Path(f"part={_plain_name(facts['part'])}") / f"month={_plain_name(facts['started_at'][:7])}"
    facts = {**facts, "bench": facts["bench"] or "no-bench"}
    name = f"{_plain_name(facts['bench'])}-{_plain_name(facts['run'])}"
    kept = {key: value for key, value in facts.items() if key not in NAMES}  # goes with and without names
    _write(arrow, _samples(arrow, run, kept), folder / "samples" / place / f"{name}.parquet", kept)
    path = folder / "findings" / place / f"{name}-{facts['seal'][:8]}.parquet"
    if path.exists() and _told(arrow, path, facts) != [facts[name] for name in TELLING]:
        raise BookError(
            f"{path.name} is in {folder} already, {'without' if facts['names'] else 'with'} names.",
            "Choose another folder: one takes recordings with names, or without.",
        )
    _write(arrow, _findings(arrow, findings, facts), path, facts)


def _plain_name(text: str) -> str:
    """Return ``text`` as a piece of a file's name, whatever a stranger's book has in its place."""
    return re.sub(r"[^A-Za-z0-9_-]", "_", text)[:60] or "none"


def _write(arrow: Any, table: Any, path: Path, facts: Facts) -> None:
    """Write a file that is named by what it holds: one that is there holds the same."""
    if path.exists():
        return
    table = table.replace_schema_metadata({KEY: as_text(facts)})
    with output_file(path, folder=True) as partial:
        arrow.parquet.write_table(table, partial, compression="zstd")


def _told(arrow: Any, path: Path, facts: Facts) -> list[Any]:
    """Return how a file of findings names customer and part; BookError when it is no such file."""
    try:
        kept = (arrow.parquet.read_schema(path).metadata or {}).get(KEY)
        rows = arrow.parquet.read_table(path, columns=list(TELLING[1:])).slice(0, 1).to_pylist()
        older = {**facts, **(rows[0] if rows else {})}  # which has the names in its rows only
        return [(json.loads(kept) if kept else older).get(name) for name in TELLING]
    except (OSError, ValueError, AttributeError, arrow.ArrowException):
        raise BookError(f"{path} is no file of findings.", "Choose another folder.") from None


def _samples(arrow: Any, run: RunData, facts: Facts) -> Any:
    rows = run.samples
    columns = {name: rows[name] for name in rows.dtype.names or ()}
    tags = {name: [facts[name]] * len(rows) for name in ("run_id", "run", "bench")}
    return arrow.table({**columns, **tags})


def _findings(arrow: Any, findings: list[Finding], facts: Facts) -> Any:
    texts = (
        "run",
        "bench",
        "firmware",
        "calibration",
        "engine",
        "started_at",
        "part_serial",
        "customer",
        "seal",
    )
    head = {"run_id": facts["run_id"], "run_verdict": facts["verdict"] or ""}
    head |= {name: str(facts.get(name, "")) for name in texts}
    rows = [
        {
            **head, "key": finding.key, "value": _plain(finding.value), "u": _plain(finding.u),
            "unit": finding.unit, "lower": finding.lower, "upper": finding.upper,
            "verdict": finding.verdict.value, "fault": finding.fault,
        }
        for finding in findings
    ]  # fmt: skip
    numbers = ("value", "u", "lower", "upper")
    words = (*(name for name in head if name != "run_id"), "key", "unit", "verdict", "fault")
    fields = [("run_id", arrow.int64()), *((name, arrow.float64()) for name in numbers)]
    return arrow.Table.from_pylist(
        rows, schema=arrow.schema(fields + [(name, arrow.string()) for name in words])
    )


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None
