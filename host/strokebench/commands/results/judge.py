"""Judge a run in a job book, a CSV file from another instrument, or a folder of such files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.commands.shared.common import add_json, print_json
from strokebench.commands.shared.outcome import Outcome, add_report, finish

if TYPE_CHECKING:
    from strokebench.data.run import RunData
    from strokebench.parts.profile import Profile

MAP_HELP = 'where a CSV\'s columns come from: time="Time [s]",current_a="CH1*100" (scale, offset)'


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE", help="job book, CSV file or folder of CSV files")
    parser.add_argument("--run", type=int, metavar="N", help="run in the book (default: the last)")
    add_foreign(parser)
    text = "judge nothing: print what was understood of a CSV file and draw it (SVG)"
    parser.add_argument("--show", metavar="FILE.svg", help=text)
    add_report(parser)
    add_json(parser)


def add_foreign(parser: argparse.ArgumentParser) -> None:
    """Add what a CSV file needs: ``--part`` and ``--map``."""
    text = "judge as this part (needed for a CSV file that does not carry its part)"
    parser.add_argument("--part", metavar="PART|FILE.toml", help=text)
    parser.add_argument("--map", default="", metavar="TEXT", help=MAP_HELP)


def run(args: argparse.Namespace) -> int:
    """Do it; the book itself is not changed."""
    from strokebench.commands.results.understood import show
    from strokebench.verdict.examine import examine

    if Path(args.file).is_dir():
        return judge_folder(args)

    data, profile = load(args)
    if args.show:
        return show(data, profile, args.show, replace=args.force)
    findings, verdict = examine(data, profile)
    return finish(args, Outcome(profile, data, findings, verdict, args.file))


def load(args: argparse.Namespace) -> tuple[RunData, Profile]:
    """Return the run that the arguments name and the profile to judge it by."""
    from strokebench.book.book import is_book

    return _from_book(args) if is_book(args.file) else _from_csv(args)


def _from_book(args: argparse.Namespace) -> tuple[RunData, Profile]:
    from strokebench.book.book import Book
    from strokebench.errors import UsageError
    from strokebench.parts import load_part, profile_of

    if args.map:
        raise UsageError("--map is for CSV files; this is a job book.", "Leave --map out.")
    with Book(args.file, read_only=True) as book:
        run_id = book.last_run() if args.run is None else args.run
        stored = book.profile(run_id)
        profile = load_part(args.part) if args.part else profile_of(stored, f"run {run_id}")
        return book.load(run_id), profile


def _from_csv(args: argparse.Namespace) -> tuple[RunData, Profile]:
    from strokebench.commands.shared.recordings import from_csv

    profile = profile_for(args)
    return from_csv(args.file, args.map, profile), profile


def profile_for(args: argparse.Namespace) -> Profile:
    """Return the profile that ``--part`` names, else that which an export carries; UsageError without any.

    An export carries it in the file ``NAME.about.json`` beside it.
    """
    from strokebench.book.export.csv import about_path
    from strokebench.commands.shared.recordings import about_beside
    from strokebench.errors import BookError, UsageError
    from strokebench.parts import load_part, profile_of

    if args.part:
        return load_part(args.part)
    profile = about_beside(args.file).get("profile")
    if profile is None and Path(args.file).exists():
        raise UsageError(
            f"{args.file} does not say which part it is of.",
            "Name it: --part PART; `strokebench parts` lists them.",
        )
    if profile is None:
        raise BookError(f"{args.file} cannot be read: no such file.", "Check name and permissions.")
    return profile_of(profile, about_path(args.file).name)


def judge_folder(args: argparse.Namespace) -> int:
    """Judge the files in order of their names; return the exit code of the worst verdict.

    A file that cannot be judged does not stop the rest: its sentence is in the table, and the exit code is
    that of the error when no part failed. UsageError for a folder without CSV files and for options of a
    single file.
    """
    from strokebench.errors import UsageError

    if args.run is not None or args.report or args.pdf or args.show:
        raise UsageError(
            "--run, --report, --pdf and --show are for a single file; this is a folder.", "Leave them out."
        )
    files = sorted(
        path for path in Path(args.file).iterdir() if path.suffix.lower() in (".csv", ".txt", ".tsv")
    )
    if not files:
        raise UsageError(f"{args.file} holds no CSV file.", "Name a folder of CSV files.")
    rows = [_judged(args, path) for path in files]
    if args.json:
        print_json({"folder": args.file, "files": rows})
    else:
        _show(rows)
    codes = [row["exit_code"] for row in rows]
    return 1 if 1 in codes else max(codes)


def _judged(args: argparse.Namespace, path: Path) -> dict[str, Any]:
    from strokebench.commands.shared.outcome import Outcome, as_json, report_place
    from strokebench.errors import StrokebenchError
    from strokebench.report import write_report
    from strokebench.report.workshop import workshop_for
    from strokebench.session import exit_code
    from strokebench.verdict.examine import examine

    wanted = argparse.Namespace(**{**vars(args), "file": str(path)})
    try:
        data, profile = load(wanted)
        findings, verdict = examine(data, profile)
        place = None
        if not args.no_report:
            place = report_place(wanted, data, str(path), None)
            write_report(data, profile, findings, verdict, place, workshop_for(path), replace=args.force)
    except StrokebenchError as error:
        return {"source": str(path), "verdict": "", "exit_code": error.exit_code, "error": str(error),
                "hint": error.hint}  # fmt: skip
    return as_json(Outcome(profile, data, findings, verdict, str(path)), place, exit_code(verdict, data))


def _show(rows: list[dict[str, Any]]) -> None:
    from rich.markup import escape
    from rich.table import Table

    from strokebench.terminal.console import console

    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 1, 0, 0))
    for name in ("file", "part", "verdict", "because"):
        table.add_column(name, overflow="fold")
    for row in rows:
        because = row.get("error") or ", ".join(
            finding["title"] for finding in row["findings"] if finding["verdict"] == "fail"
        )
        verdict = (row["verdict"] or "not judged").upper()
        table.add_row(Path(row["source"]).name, row.get("part", ""), verdict, escape(because))
    console().print(table)
