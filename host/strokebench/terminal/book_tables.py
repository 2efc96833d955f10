"""A job book's contents as tables for a terminal, readable at 80 columns; foreign text is escaped."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import TYPE_CHECKING, Any

from rich.markup import escape
from rich.table import Table

from strokebench.data.findings import Finding, Verdict
from strokebench.terminal.console import console
from strokebench.terminal.lines import MANY, print_lines
from strokebench.terminal.looks import STYLES, decimals

if TYPE_CHECKING:
    from strokebench.book.book import RunSummary, TrendPoint

JUDGED = ("done", "watch", "refused")
"""Ways to end after which the verdict says more than the end itself."""
MARKS = {"pass": "o", "fail": "x", "inconclusive": "?", "info": "i"}


def _table(*columns: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    for name in columns:
        table.add_column(name, overflow="fold", no_wrap=name in ("run", "begun (UTC)", "verdict"))
    return table


def verdict_text(verdict: str | None) -> str:
    """Return the verdict in its colour, a dash when the run was not judged."""
    return f"[{STYLES[Verdict(verdict)]}]{verdict}[/]" if verdict else "-"


LISTED = ("run_id", "started_at", "part", "part_serial", "customer", "note", "outcome", "verdict")
"""Fields of a run that its line in a list is made of."""


def runs_table(runs: Mapping[str, Sequence[Any]]) -> None:
    """Print one line a run; ``runs`` has a column for each of :data:`LISTED`."""
    screen, header = console(), ("run", "begun (UTC)", "part", "serial", "customer", "verdict", "note")
    ended = list(zip(runs["outcome"], runs["verdict"], strict=True))
    columns = _run_columns(runs, ended)
    if len(ended) > MANY:
        print_lines(header, columns)
    else:
        table = _table(*header)
        for *texts, _, note, (outcome, verdict) in zip(*columns, ended, strict=True):
            colour = verdict_text(verdict) if _shown_verdict(outcome, verdict) else ""
            table.add_row(*map(escape, texts), f"{escape(_ended(outcome))} {colour}".strip(), escape(note))
        screen.print(table)
    screen.print(f"{len(ended)} run{'s' * (len(ended) != 1)}", style="dim")


def _run_columns(runs: Mapping[str, Sequence[Any]], ended: Sequence[tuple[str, str | None]]) -> list[Any]:
    results = {each: _result(*each) for each in set(ended)}
    return [
        list(map(str, runs["run_id"])),
        list(map(itemgetter(slice(16)), runs["started_at"])),
        *(runs[name] for name in ("part", "part_serial", "customer")),
        list(map(results.__getitem__, ended)),
        [note and note.splitlines()[0] for note in runs["note"]],
    ]


def _ended(outcome: str) -> str:
    """Return how a run ended, empty where the verdict says it all."""
    return "" if outcome in JUDGED else outcome


def _shown_verdict(outcome: str, verdict: str | None) -> str | None:
    """Return the verdict where it belongs beside how the run ended, a dash where there should be one."""
    return verdict or (None if _ended(outcome) else "-")


def _result(outcome: str, verdict: str | None) -> str:
    return f"{_ended(outcome)} {_shown_verdict(outcome, verdict) or ''}".strip()


def run_page(run: RunSummary, findings: Sequence[Finding]) -> None:
    """Print what is known of one run, and its findings."""
    screen = console()
    about = (
        ("part", run.part), ("serial", run.part_serial), ("customer", run.customer),
        ("begun (UTC)", run.started_at), ("outcome", run.outcome),
        ("samples", f"{run.samples} in {run.duration_s:.1f} s"),
        ("note", run.note),
    )  # fmt: skip
    for name, text in about:
        if text:
            screen.print(f"{name:<12} {text}", markup=False, highlight=False)
    if findings:
        from strokebench.terminal.display import show_result

        screen.print()
        show_result(run.part, findings, Verdict(run.verdict or "inconclusive"), screen)


def trend_table(title: str, points: Sequence[TrendPoint]) -> None:
    """Print one finding over its runs, with a bar that shows where each lies between least and most."""
    known = [point.value for point in points if math.isfinite(point.value)]
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    header = ("run", "begun (UTC)", "serial", f"{title} ± U", "verdict", "trend")
    columns = [
        [str(p.run_id) for p in points],
        [p.started_at[:16] for p in points],
        [p.part_serial for p in points],
        [_value(p) for p in points],
        [p.verdict for p in points],
        [_bar(p, low, high) for p in points],
    ]
    if len(points) > MANY:
        print_lines(header, columns)
        return
    table = _table(*header)
    for *texts, verdict, drawn in zip(*columns, strict=True):
        table.add_row(*map(escape, texts), verdict_text(verdict), drawn)
    console().print(table)


def _value(point: TrendPoint) -> str:
    if not math.isfinite(point.value):
        return "-"
    digits = decimals(2 * point.u)
    return f"{point.value:.{digits}f} ± {2 * point.u:.{digits}f} {point.unit}"


def _bar(point: TrendPoint, low: float, high: float, width: int = 16) -> str:
    if not math.isfinite(point.value):
        return ""
    at = 0 if high == low else round((point.value - low) / (high - low) * (width - 1))
    return "." * at + MARKS[point.verdict] + "." * (width - 1 - at)
