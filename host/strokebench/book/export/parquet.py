"""Runs as Parquet files in folders by part and month, for programs that read fleets of them.

``FOLDER/samples/part=NAME/month=2026-05/BENCH-RUN.parquet`` holds the samples of one run,
``FOLDER/findings/...`` its findings with their limits. BENCH is the bench's own number and RUN names the
recording wherever it was made: files of many benches and books lie side by side, and none replaces another.
The folder names are the usual key=value ones: DuckDB, Dask and Spark see ``part`` and ``month`` as columns.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.data.output import output_file
from strokebench.errors import UsageError

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.data.run import RunData

Named = Callable[[str], str]
"""What turns a customer or serial number into what is exported."""


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
    notes are left out. Raises :class:`BookError` when something cannot be written.
    """
    arrow, count = _arrow(), 0
    named: Named = str if names else pseudonyms(book.salt())
    for run_id in run_ids:
        run = book.load(run_id)
        part, month = _plain_name(run.info["part"]), _plain_name(run.info["started_at"][:7])
        place = Path(f"part={part}") / f"month={month}"
        bench = str((run.info.get("identity") or {}).get("uid") or "no-bench")
        name = f"{_plain_name(bench)}-{_plain_name(run.info['uid'])}"
        judged = run.info["seal"][:8]
        _write(arrow, _samples(arrow, run, bench), Path(folder) / "samples" / place / f"{name}.parquet")
        found = _findings(arrow, book, run_id, run, bench, named)
        _write(arrow, found, Path(folder) / "findings" / place / f"{name}-{judged}.parquet")
        count += 1
    return count


def pseudonyms(salt: bytes) -> Named:
    """Return what gives every name its pseudonym: a keyed digest (BLAKE2b, RFC 7693), empty for none."""

    def named(text: str) -> str:
        return hashlib.blake2b(text.encode(), key=salt, digest_size=8).hexdigest() if text else ""

    return named


def _plain_name(text: str) -> str:
    """Return ``text`` as a piece of a file's name, whatever a stranger's book has in its place."""
    return re.sub(r"[^A-Za-z0-9_-]", "_", text)[:60] or "none"


def _write(arrow: Any, table: Any, path: Path) -> None:
    """Write a file that is named by what it holds: one that is there holds the same."""
    if path.exists():
        return
    with output_file(path, folder=True) as partial:
        arrow.parquet.write_table(table, partial, compression="zstd")


def _samples(arrow: Any, run: RunData, bench: str) -> Any:
    rows = run.samples
    columns = {name: rows[name] for name in rows.dtype.names or ()}
    about = {"run_id": run.info["run_id"], "run": run.info["uid"], "bench": bench}
    return arrow.table({**columns, **{name: [value] * len(rows) for name, value in about.items()}})


def _findings(arrow: Any, book: Book, run_id: int, run: RunData, bench: str, named: Named) -> Any:
    info, identity = run.info, run.info.get("identity") or {}
    about = {
        "run_id": run_id, "run": info["uid"], "bench": bench, "firmware": str(identity.get("firmware", "")),
        "calibration": str(identity.get("calibration_id", "")), "engine": str(info.get("engine", "")),
        "started_at": info["started_at"], "part_serial": named(info["part_serial"]),
        "customer": named(info["customer"]), "run_verdict": info["verdict"] or "", "seal": info["seal"],
    }  # fmt: skip
    rows = [
        {
            **about, "key": finding.key, "value": _plain(finding.value), "u": _plain(finding.u),
            "unit": finding.unit, "lower": finding.lower, "upper": finding.upper,
            "verdict": finding.verdict.value, "fault": finding.fault,
        }
        for finding in book.findings(run_id)
    ]  # fmt: skip
    numbers = ("value", "u", "lower", "upper")
    texts = (*(name for name in about if name != "run_id"), "key", "unit", "verdict", "fault")
    fields = [("run_id", arrow.int64()), *((name, arrow.float64()) for name in numbers)]
    return arrow.Table.from_pylist(rows, schema=arrow.schema(fields + [(t, arrow.string()) for t in texts]))


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None
