"""Jobs as tables for a terminal, readable at 80 columns; foreign text is escaped."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from strokebench.book.jobs.model import TEXTS, TITLES
from strokebench.terminal.book_tables import verdict_text
from strokebench.terminal.console import console

if TYPE_CHECKING:
    from strokebench.book.jobs.model import Job


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    for name in columns:
        table.add_column(name, overflow="fold", no_wrap=name in ("job", "run", "opened", "verdict"))
    return table


def jobs_table(jobs: Sequence[Job]) -> None:
    """Print one line a job."""
    table = _table("job", "opened", "customer", "vehicle", "complaint", "runs", "verdict")
    for job in jobs:
        texts = (job.opened_at[:10], job.customer, job.vehicle, job.complaint, str(len(job.attempts)))
        signed = " signed" if job.signed_at else ""
        table.add_row(str(job.job_id), *map(escape, texts), verdict_text(job.verdict) + signed)
    screen = console()
    screen.print(table)
    screen.print(f"{len(jobs)} job{'s' * (len(jobs) != 1)}", style="dim")


def job_page(job: Job) -> None:
    """Print what is known of a job, and its attempts."""
    screen = console()
    lines = [(TITLES[name], getattr(job, name)) for name in TEXTS]
    lines += [
        ("Opened (UTC)", job.opened_at[:19]),
        ("Photos", str(job.photo_count) if job.photo_count else ""),
    ]
    lines += [("Signed by", job.signed_by), ("Signed (UTC)", job.signed_at[:19]), ("Seal", job.seal[:16])]
    grid = Table.grid(padding=(0, 2, 0, 0))
    for name, text in lines:
        if text:
            grid.add_row(name, escape(text))
    screen.print(f"Job {job.job_id}", style="bold")
    screen.print(grid)
    if not job.attempts:
        screen.print(f"No attempt yet: strokebench run PART --job {job.job_id}", style="dim")
        return
    table = _table("attempt", "run", "begun (UTC)", "part", "verdict")
    for each in job.attempts:
        run = each.run
        ended = "" if run.verdict else escape(run.outcome)
        shown = verdict_text(run.verdict) if run.verdict else ended
        table.add_row(each.role, str(run.run_id), run.started_at[:16], escape(run.part), shown)
    screen.print()
    screen.print(table)
