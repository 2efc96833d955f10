"""The end of every command that judges: report, table or JSON, exit code."""

from __future__ import annotations

import argparse
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_force, print_json, say
from strokebench.commands.shared.jobs import join_job

if TYPE_CHECKING:
    from strokebench.bench.bench import Bench
    from strokebench.book.book import Book
    from strokebench.book.writer import RunWriter
    from strokebench.data.findings import Finding, Verdict
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile


MOST_STEPS = 2
"""Defects whose next step is said; the report has them all."""


@dataclass
class Outcome:
    """A judged run, and the book or file it came from."""

    profile: Profile
    data: RunData
    findings: list[Finding]
    verdict: Verdict
    source: str

    @property
    def run_id(self) -> int | None:
        """Number of the run in its book, None for a file from elsewhere."""
        return self.data.info.get("run_id")


def begin_run(args: argparse.Namespace, book: Book, bench: Bench, profile: Profile, how: str) -> RunWriter:
    """Begin a run in the book with what the command line says of it; ``how`` cautions were acknowledged."""
    writer = book.new_run(
        profile.name,
        profile.kind,
        customer=args.customer,
        note=args.note,
        part_serial=args.serial,
        info={**bench.info(), "cautions": how} if how else bench.info(),
        accuracy=bench.accuracy(),
        profile=profile.model_dump(mode="json", exclude_none=True),
    )
    join_job(args, book, writer.run_id)
    return writer


def finish(args: argparse.Namespace, outcome: Outcome) -> int:
    """Write the report unless told not to, show the result, return the exit code."""
    from strokebench.session import exit_code

    code = exit_code(outcome.verdict, outcome.data)
    if args.json:
        path = _report(args, outcome)
        pdf = None if path is None else write_pdf(args, path, _mark(outcome))
        print_json({**as_json(outcome, path, code), "pdf": None if pdf is None else str(pdf)})
        return code
    _show(outcome, whole=args.all)  # before the report: that may take a second, or fail
    path = _report(args, outcome)
    if path is not None:
        print(f"Report: {path}", flush=True)
        pdf = write_pdf(args, path, _mark(outcome))
        if pdf is not None:
            print(f"PDF: {pdf}")
    _warn(outcome)
    say(f"Next: {next_step(outcome)}")
    return code


def _report(args: argparse.Namespace, outcome: Outcome) -> Path | None:
    from strokebench.report import write_report
    from strokebench.report.workshop import workshop_for

    if args.no_report:
        return None
    path = report_place(args, outcome.data, outcome.source, outcome.run_id)
    judged = (outcome.data, outcome.profile, outcome.findings, outcome.verdict)
    return write_report(*judged, path, workshop_for(outcome.source), replace=args.force)


def _mark(outcome: Outcome) -> str:
    from strokebench.report import mark

    return mark(outcome.data)


def add_report(parser: argparse.ArgumentParser) -> None:
    """Add where the report goes, ``--no-report`` and ``--force``."""
    text = "where to write the report (default: beside the book or file)"
    parser.add_argument("--report", metavar="FILE", help=text)
    parser.add_argument("--no-report", action="store_true", help="write none")
    add_pdf(parser)
    parser.add_argument(
        "--all", action="store_true", help="show the whole table of findings, not only what does not pass"
    )
    add_force(parser)


def add_pdf(parser: argparse.ArgumentParser) -> None:
    """Add ``--pdf``."""
    text = "also write the report as PDF beside it; needs Chromium or a browser of its kind"
    parser.add_argument("--pdf", action="store_true", help=text)


def show_written(args: argparse.Namespace, path: Path, pdf: Path | None, **facts: object) -> int:
    """Say where a report and its PDF were written, with ``facts`` beside them in JSON; return exit code 0."""
    if args.json:
        print_json({**facts, "report": str(path), "pdf": None if pdf is None else str(pdf)})
        return 0
    print(f"Report: {path}")
    if pdf is not None:
        print(f"PDF: {pdf}")
    return 0


def write_pdf(args: argparse.Namespace, page: Path, mark: str) -> Path | None:
    """Write the PDF beside the report if it was asked for."""
    from strokebench.report.pdf import print_page

    return print_page(page, mark, replace=args.force) if args.pdf else None


def check_report(args: argparse.Namespace) -> None:
    """Refuse a report's place before anything moves: it can be no earlier report of this run."""
    from strokebench.data.output import check_output

    if args.pdf:
        from strokebench.errors import UsageError
        from strokebench.report.pdf import browser

        if args.no_report:
            raise UsageError("--pdf prints the report, --no-report writes none.", "Leave one of them out.")
        browser()
    if args.report and not args.no_report:
        check_output(args.report, replace=args.force)


def report_place(args: argparse.Namespace, data: RunData, source: str, run_id: int | None) -> Path:
    """Return the file that the report goes to: the one named, else the first free one beside its source."""
    from strokebench.data.output import free_path
    from strokebench.report import mark

    if args.report:
        return Path(args.report)
    path = report_path(source, run_id)
    return path if args.force else free_path(path, mark(data))


def report_path(source: str, run_id: int | None) -> Path:
    """Return the default report file: beside the book or CSV, named after it and the run."""
    path = Path(source)
    return path.with_name(f"{path.stem}-{'report' if run_id is None else f'run-{run_id}'}.html")


def _show(outcome: Outcome, *, whole: bool) -> None:
    from strokebench.terminal.display import show_result
    from strokebench.verdict.basis import caveat

    title, said = outcome.profile.part.title, caveat(outcome.profile)
    show_result(title, outcome.findings, outcome.verdict, caveat=said, whole=whole)
    if outcome.run_id is not None:
        mark = " (simulated)" if outcome.data.info.get("engine") == "plant" else ""
        print(f"Run {outcome.run_id} in {outcome.source}{mark}", flush=True)


def next_step(outcome: Outcome) -> str:
    """Return what to do now, in a sentence or two."""
    from strokebench.data.findings import Verdict
    from strokebench.diagnose.connection import CONNECTION
    from strokebench.report.content import troubles

    if outcome.data.info.get("outcome") in ("interrupted", "stopped", "fault", "cut"):
        return "the run did not reach its end, so what it did not see is open. Run it again."
    if any(each.key == CONNECTION[0] and not each.known for each in outcome.findings):
        return f"`strokebench connect {outcome.profile.name}` draws the wiring and says what differs."
    found = troubles(outcome.findings)
    if found:
        return " ".join(dict.fromkeys(f"{trouble.name}: {trouble.check}" for trouble in found[:MOST_STEPS]))
    if outcome.verdict is Verdict.PASS:
        return "nothing to repair by these limits. The complaint remains? Look at wiring and control unit."
    return "take away the reason of what is inconclusive, named above, and run it again."


def _warn(outcome: Outcome) -> None:
    """Say on standard error what a verdict alone would hide."""
    from strokebench.link.link import fault_row
    from strokebench.terminal.error_text import complain

    info = outcome.data.info
    if info.get("damaged"):
        complain(
            f"Parts of this recording are damaged and left out: {', '.join(info['damaged'])}.",
            "`strokebench book check` says what happened to them.",
        )
    if info.get("golden_warns"):
        complain(" ".join(info["golden"]), "See: strokebench golden show.")
    if info.get("lost_rows"):
        complain(
            f"{info['lost_rows']} samples were lost on the way.",
            "Close other programs; use another USB port.",
        )
    if info.get("outcome") == "fault":
        _key, sentence, check = fault_row(int(info.get("fault", 0)))
        complain(f"The bench ended the run: {sentence} (code {info.get('fault', 0)})", check)
    elif info.get("outcome") == "stopped":
        complain("Stopped by `strokebench stop`; the part is off, what was recorded is kept.")
    elif info.get("outcome") == "interrupted":
        complain("Interrupted; the part is off, what was recorded is kept.")


def as_json(outcome: Outcome, path: Path | None, code: int) -> dict[str, Any]:
    """Return the machine-readable result."""
    from strokebench.report.content import is_simulated
    from strokebench.verdict.basis import caveat
    from strokebench.verdict.bench_fit import bench_troubles
    from strokebench.verdict.decision import suspects
    from strokebench.verdict.risk import PRIOR, risk_of_run

    info = outcome.data.info
    findings = [{**asdict(finding), "verdict": finding.verdict.value} for finding in outcome.findings]
    for finding in findings:
        finding.pop("evidence")
    return {
        "part": outcome.profile.name,
        "verdict": outcome.verdict.value,
        "caveat": caveat(outcome.profile),
        "bench": bench_troubles(outcome.findings),
        "suspects": suspects(outcome.findings),
        "risk": {**asdict(risk_of_run(outcome.findings)), "prior": PRIOR},
        "exit_code": code,
        "outcome": info.get("outcome"),
        "simulated": is_simulated(outcome.data),
        "golden": info.get("golden", []),
        "fault": info.get("fault", 0),
        "lost_rows": info.get("lost_rows", 0),
        "run_id": outcome.run_id,
        "source": outcome.source,
        "report": None if path is None else str(path),
        **({"answers": info["answers"]} if "answers" in info else {}),
        "findings": findings,
    }
