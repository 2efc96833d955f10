"""What a run looks like in a terminal: a live line while it goes on, then findings, verdict and report."""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from types import TracebackType
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn
from rich.table import Table

from strokebench.data.findings import YES_NO, Finding, Verdict, yes_or_no

if TYPE_CHECKING:
    from strokebench.bench.run import Run
    from strokebench.data.samples import Samples
    from strokebench.parts.profile import Profile

COVERAGE = 2
WIDE = 110
STYLES = {Verdict.PASS: "green", Verdict.FAIL: "bold red", Verdict.INCONCLUSIVE: "yellow"}


def position_percent(profile: Profile, sensor_a_v: float) -> float:
    """Return the part's position in % of its nominal travel; NaN when it has no sensor."""
    track = profile.tracks.get("a")
    if track is None:
        return math.nan
    return 100 * (sensor_a_v - track.closed_v) / (track.open_v - track.closed_v)


class LiveView:
    """Progress with drive, current and position on standard error; silent when that is not a terminal."""

    def __init__(
        self, profile: Profile, duration_s: float, quiet: bool = False, simulated: bool = False
    ) -> None:
        self._profile = profile
        self._mark = "SIMULATED " if simulated else ""
        console = Console(stderr=True)
        self._progress = Progress(
            TextColumn("{task.description:<14}"),
            BarColumn(bar_width=None),
            TaskProgressColumn(),
            TextColumn("{task.fields[live]}"),
            console=console,
            transient=True,
            disable=quiet or not console.is_terminal,
        )
        self._task = self._progress.add_task("starting", total=duration_s, live="")

    def update(self, run: Run, chunk: Samples) -> None:
        """Show the last row of ``chunk``; made to be handed to :func:`strokebench.session.record`."""
        last = chunk[-1]
        position = position_percent(self._profile, float(last["sensor_a_v"]))
        where = "" if math.isnan(position) else f" {position:4.0f} %"
        live = f"{self._mark}drive {last['drive']:+.2f} {last['current_a']:+6.2f} A{where}"
        done_s = float(last["time_s"])
        self._progress.update(self._task, completed=done_s, description=run.label[:14], live=live)

    def __enter__(self) -> LiveView:
        self._progress.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._progress.stop()


def decimals(u: float) -> int:
    """Return the digits behind the point that show ``u`` with two significant digits (GUM 7.2.6)."""
    if not math.isfinite(u) or u <= 0:
        return 3
    return min(6, max(0, 1 - math.floor(math.log10(u))))


def value_text(finding: Finding) -> str:
    """Return ``value +- U`` with k = 2, a dash when it could not be found."""
    if not finding.known:
        return "-"
    if word := yes_or_no(finding):
        return word
    expanded = COVERAGE * finding.u
    places = decimals(expanded)
    plus_minus = f" ± {expanded:.{places}f}" if math.isfinite(expanded) else ""
    return f"{finding.value:.{places}f}{plus_minus}"


def limits_text(finding: Finding) -> str:
    """Return the limits as ``0.5..2``, ``>= 0.5``, ``<= 2`` or nothing."""
    if finding.unit == YES_NO:
        return "yes"
    if finding.lower is not None and finding.upper is not None:
        return f"{finding.lower:g}..{finding.upper:g}"
    if finding.lower is not None:
        return f">= {finding.lower:g}"
    return "" if finding.upper is None else f"<= {finding.upper:g}"


def unit_text(finding: Finding) -> str:
    """Return the unit, nothing where the value is a word."""
    return "" if finding.unit == YES_NO else finding.unit


def where_text(finding: Finding, short: bool = False) -> str:
    """Return the place in the travel and the stretch of the recording; ``short``: only where that begins."""
    texts = [] if finding.place is None else [f"{finding.place:.0f} %"]
    if finding.span_s is not None:
        start_s, end_s = finding.span_s
        texts.append(f"{start_s:.0f} s" if short else f"{start_s:.1f}-{end_s:.1f} s")
    return ", ".join(texts)


def findings_table(findings: Sequence[Finding], width: int = 80) -> Table:
    """Return the table of findings for a terminal ``width`` columns wide; 80 are enough."""
    short = width < WIDE
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    table.add_column("finding", overflow="fold")
    table.add_column("value ± U", justify="right", no_wrap=True)
    for name in ("unit", "limits", "verdict", "where"):
        table.add_column(name, no_wrap=True)
    for one in findings:
        word = verdict_word(one)
        shown = f"[{'dim' if word == 'info' else STYLES[one.verdict]}]{word}[/]"
        texts = (one.title, value_text(one), unit_text(one), limits_text(one))
        table.add_row(*(escape(text) for text in texts), shown, escape(where_text(one, short)))
    return table


def verdict_word(finding: Finding) -> str:
    """Return the verdict's word; ``info`` for a known value that has no limits."""
    if finding.known and finding.lower is None and finding.upper is None:
        return "info"
    return "unclear" if finding.verdict is Verdict.INCONCLUSIVE else finding.verdict.value


def show_result(
    title: str, findings: Sequence[Finding], verdict: Verdict, console: Console | None = None
) -> None:
    """Print findings, the reasons of what did not pass, and the one line that counts."""
    console = console or Console()
    console.print(findings_table(findings, console.width))
    console.print(f"U = {COVERAGE} u, about 95 % confidence", style="dim")
    console.print()
    for one in findings:
        if one.verdict is not Verdict.PASS and one.reason and verdict_word(one) != "info":
            console.print(f"{one.title}: {one.reason}", markup=False, highlight=False)
    faults = list(dict.fromkeys(f.fault for f in findings if f.verdict is Verdict.FAIL and f.fault))
    named = f" ({', '.join(faults)})" if faults else ""
    console.print(f"[{STYLES[verdict]}]{verdict.value.upper()}[/] {escape(title + named)}", highlight=False)


def complain(sentence: str, hint: str = "") -> None:
    """Print an error's sentence and hint to standard error."""
    console = Console(stderr=True, highlight=False)
    console.print(f"[bold red]Error:[/] {escape(sentence)}")
    if hint:
        console.print(escape(hint))
    sys.stderr.flush()
