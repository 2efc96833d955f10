"""What a run comes to, in a terminal: findings, reasons, the one line that counts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from strokebench.data.findings import YES_NO, Finding, Verdict, yes_or_no
from strokebench.diagnose.expects import nominal_percent
from strokebench.terminal.console import console
from strokebench.terminal.looks import STYLES, decimals
from strokebench.verdict import COVERAGE
from strokebench.verdict.bench_fit import bench_troubles
from strokebench.verdict.decision import suspects
from strokebench.verdict.risk import sentence

if TYPE_CHECKING:
    from strokebench.parts.profile import Profile

WIDE = 110
MANY_TITLES = 3
"""Findings with the same reason from which on they are counted, not named."""


def position_percent(profile: Profile, sensor_a_v: float) -> float:
    """Return the part's position in % of its nominal travel; NaN when it has no sensor."""
    track = profile.tracks.get("a")
    if track is None:
        return math.nan
    return float(nominal_percent(track, sensor_a_v))


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
    for finding in findings:
        shown = f"[{STYLES[finding.verdict]}]{finding.verdict.value}[/]"
        texts = (finding.title, value_text(finding), unit_text(finding), limits_text(finding))
        table.add_row(*(escape(text) for text in texts), shown, escape(where_text(finding, short)))
    return table


def show_result(
    title: str,
    findings: Sequence[Finding],
    verdict: Verdict,
    screen: Console | None = None,
    *,
    caveat: str = "",
    whole: bool = True,
) -> None:
    """Print findings, the reasons of what did not pass, and the one line that counts.

    ``caveat``: what belongs to the verdict itself, such as limits that come from too few parts. Unless
    ``whole``, the findings that pass, or have no limits, are only counted.
    """
    screen = screen or console()
    unsettled = [finding for finding in findings if not _settled(finding)]
    shown = list(findings) if whole else [each for each in unsettled if each.known]
    if shown:
        screen.print(findings_table(shown, screen.width))
        screen.print(f"U = {COVERAGE:g} u, about 95 % confidence", style="dim")
    if not whole:
        screen.print(counted(findings), style="dim", markup=False, highlight=False)
    elif said := sentence(findings):
        screen.print(said, style="dim", markup=False, highlight=False)
    screen.print()
    for line in reasons(unsettled):
        screen.print(line, markup=False, highlight=False)
    screen.print(verdict_line(title, findings, verdict, caveat), highlight=False)


def _settled(finding: Finding) -> bool:
    return finding.known and finding.verdict in (Verdict.PASS, Verdict.INFO)


def counted(findings: Sequence[Finding]) -> str:
    """Return how many findings pass, fail, are inconclusive or have no limits, and how to see them all."""
    names = {
        Verdict.FAIL: "fail", Verdict.INCONCLUSIVE: "inconclusive", Verdict.PASS: "pass",
        Verdict.INFO: "without limits",
    }  # fmt: skip
    found = [(name, sum(each.verdict is verdict for each in findings)) for verdict, name in names.items()]
    counts = ", ".join(f"{count} {name}" for name, count in found if count)
    return f"{len(findings)} findings: {counts} (all: --all)"


def reasons(findings: Sequence[Finding]) -> list[str]:
    """Return why findings did not pass, a line each; a reason that many have in common is said once."""
    titles: dict[str, list[str]] = {}
    for finding in findings:
        if finding.reason:
            titles.setdefault(finding.reason, []).append(finding.title)
    return [
        f"{len(named)} findings: {reason}" if len(named) > MANY_TITLES else f"{title}: {reason}"
        for reason, named in titles.items()
        for title in (named if len(named) <= MANY_TITLES else named[:1])
    ]


def verdict_line(title: str, findings: Sequence[Finding], verdict: Verdict, caveat: str = "") -> str:
    """Return the line that counts, with its colours: verdict, part, what is wrong with part or bench."""
    faults = list(dict.fromkeys(f.fault for f in findings if f.verdict is Verdict.FAIL and f.fault))
    named = faults or [f"the bench: {name}" for name in bench_troubles(findings)]
    named += [f"probably also {name}" for name in suspects(findings)]
    about = f"{title} ({', '.join(named)})" if named else title
    style = STYLES[Verdict.INCONCLUSIVE if caveat and verdict is Verdict.PASS else verdict]
    return f"[{style}]{verdict.value.upper()}[/] {escape(about)}{escape(f', by {caveat}') if caveat else ''}"
