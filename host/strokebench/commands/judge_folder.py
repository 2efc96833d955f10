"""Judge every CSV file of a folder, with a table at the end."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from strokebench.commands.common import print_json


def judge_folder(args: argparse.Namespace) -> int:
    """Judge the files in order of their names; return the exit code of the worst verdict.

    A file that cannot be judged does not stop the rest: its sentence is in the table, and the exit code is
    that of the error when no part failed. UsageError for a folder without CSV files and for options of a
    single file.
    """
    from strokebench.errors import UsageError

    if args.run is not None or args.report:
        raise UsageError("--run and --report are for a single file; this is a folder.", "Leave them out.")
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
    from strokebench.commands import judge
    from strokebench.commands.outcome import Outcome, as_json, report_place
    from strokebench.errors import StrokebenchError
    from strokebench.report import write_report
    from strokebench.session import exit_code
    from strokebench.verdict.examine import examine

    wanted = argparse.Namespace(**{**vars(args), "file": str(path)})
    try:
        data, profile = judge.load(wanted)
        findings, verdict = examine(data, profile)
        place = None
        if not args.no_report:
            place = report_place(wanted, data, str(path), None)
            write_report(data, profile, findings, verdict, place, replace=args.force)
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
