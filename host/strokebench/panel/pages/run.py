"""One run of the book: its verdict, findings, and curves."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from strokebench.panel.pages.findings import findings_table, verdict_line
from strokebench.panel.pages.frame import frame, written
from strokebench.panel.pages.instrument import instrument
from strokebench.panel.runs import load_run
from strokebench.panel.tags import card, tag

if TYPE_CHECKING:
    from strokebench.panel.instrument.routes import Sources


def run_page(path: Path, sources: Sources, run_id: int) -> str:
    """Return the page; raises :class:`StrokebenchError` when the book has no such run."""
    data, findings, _profile = load_run(path, run_id)
    source, info = sources.get(str(run_id)), data.info
    with frame("/run", f"Run {run_id}", scripts=("history.js",)) as page, tag("div", classes="sheet"):
        tag("h1", f"Run {run_id}: {info['part']}")
        about = (
            info["started_at"][:19].replace("T", " ") + " UTC",
            info.get("customer"),
            info.get("part_serial"),
        )
        tag("p", ", ".join(text for text in about if text))
        if info.get("note"):
            tag("p", str(info["note"]))
        if info.get("verdict"):
            verdict_line(info["verdict"], run_id)
        with card("Findings", "findings"):
            if findings:
                findings_table(findings)
            else:
                tag("p", "This run has not been judged yet. Its report judges it.", "hint")
                tag("a", f"Report of run {run_id}", href=f"/report/{run_id}", target="_blank")
        instrument(source, str(run_id), "Curves")
    return written(page)
