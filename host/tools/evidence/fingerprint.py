"""Fingerprints of whole runs, to show that a change of layout changes nothing.

    python -m tools.evidence.fingerprint OUT.json [--compare OLD.json] [--engine micropython] [--keep FOLDER]

Every built-in part is run in the simulator as a user would run it, in a process of its own, good and with
defects; what the job book and the report then say is kept as hashes. Two versions of the program behave alike
when their fingerprints are equal. Only the command and the job book are used, so that another version can be
asked in the same way: ``--python`` names an interpreter that has it. ``--keep`` keeps the texts behind the
hashes, to see what differs.
"""

from __future__ import annotations

import argparse
import hashlib
import html
import json
import os
import re
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

DEFECTS: dict[str, tuple[str, ...]] = {
    "throttle-body": ("binding:severe", "worn_track:severe"),
    "egr-motor": ("sticky:severe",),
    "egr-solenoid": ("carbon_seat:severe",),
    "solenoid": ("shorted_turns:severe",),
    "idle-actuator": ("binding:severe",),
    "fuel-pump": ("bad_segment:severe",),
    "fuel-pump-fuse": ("supply_resistance:severe",),
    "cooling-fan": ("dragging:severe",),
    "water-pump": ("dry:severe",),
    "wiring": ("ground_resistance:severe",),
}
"""Part -> the defects that are run, each alone, beside the good specimens."""
GOOD_SEEDS, DEFECT_SEED = (1, 2, 3), 5
TABLES = {
    "rows": "batches ORDER BY rowid",
    "marks": "marks ORDER BY number",
    "events": "events ORDER BY rowid",
    "bursts": "bursts ORDER BY rowid",
    "findings": "findings ORDER BY rowid",
}
"""What of a job book is compared -> its table, in the order of writing."""
NOT_COMPARED = ("id", "run_id")
MARKUP_WITHOUT_WORDS = re.compile(r"<(style|script|svg)\b.*?</\1>", re.S)
DATE = re.compile(r"\d{4}-\d\d-\d\d( \d\d:\d\d(:\d\d)?)?( ?UTC)?")

Prints = dict[str, dict[str, str]]
"""Run -> what of it -> hash."""


@dataclass(frozen=True)
class Case:
    """A run: which specimen of which part, with which defect ("": none)."""

    part: str
    seed: int
    defect: str = ""

    @property
    def name(self) -> str:
        """The run's name in the file of fingerprints."""
        return " ".join(filter(None, (self.part, str(self.seed), self.defect)))


@dataclass(frozen=True)
class Program:
    """The version that is asked: interpreter and engine; the texts go to ``keep`` where that is given."""

    python: str = sys.executable
    engine: str = "inprocess"
    keep: Path | None = None
    environment: Mapping[str, str] = field(default_factory=lambda: dict(os.environ))

    def texts(self, case: Case) -> dict[str, str]:
        """Run a case; return what was recorded, found and reported, or the complaint instead of a report."""
        with tempfile.TemporaryDirectory() as folder:
            book, report = Path(folder) / "a.book", Path(folder) / "a.html"
            command = [self.python, "-m", "strokebench", "run", case.part, "--sim", "--seed", str(case.seed)]
            command += ["--engine", self.engine, "--book", str(book), "--report", str(report), "--json"]
            command += ["--inject", case.defect] if case.defect else []
            done = subprocess.run(command, cwd=folder, capture_output=True, text=True, env=self.environment)
            texts = {"exit": str(done.returncode)}
            texts |= book_texts(book) if book.exists() else {}
            texts |= {"report": report_text(report)} if report.exists() else {"error": done.stderr}
        return texts

    def prints(self, case: Case) -> dict[str, str]:
        """Run a case and return its hashes."""
        texts = self.texts(case)
        if self.keep is not None:
            for what, text in texts.items():
                name = case.name.replace(" ", "-").replace(":", "_")
                (self.keep / f"{name}.{what}.txt").write_text(text, encoding="utf-8")
        return {what: hashed(text.encode())[:16] for what, text in texts.items()}


def cases() -> Iterator[Case]:
    """Yield every run."""
    for part in DEFECTS:
        yield from (Case(part, seed) for seed in GOOD_SEEDS)
    for part, defects in DEFECTS.items():
        yield from (Case(part, DEFECT_SEED, defect) for defect in defects)


def hashed(data: bytes) -> str:
    """Return the SHA-256 of ``data``."""
    return hashlib.sha256(data).hexdigest()


def book_texts(book: Path) -> dict[str, str]:
    """Return the contents of a job book as text, a line for each row; what is packed appears as its hash."""
    connection = sqlite3.connect(book)
    connection.row_factory = sqlite3.Row
    try:
        return {
            what: "\n".join(_line(row) for row in connection.execute(f"SELECT * FROM {table}"))
            for what, table in TABLES.items()
        }
    finally:
        connection.close()


def _line(row: sqlite3.Row) -> str:
    values = (row[key] for key in row.keys() if key not in NOT_COMPARED)  # noqa: SIM118 - a Row is no dict
    return " ".join(hashed(value) if isinstance(value, bytes) else repr(value) for value in values)


def report_text(report: Path) -> str:
    """Return the words of a report, a line each, without pictures, dates and times of day."""
    page = MARKUP_WITHOUT_WORDS.sub("", report.read_text(encoding="utf-8"))
    lines = DATE.sub("DATE", html.unescape(re.sub(r"<[^>]*>", "\n", page))).splitlines()
    return "\n".join(line.strip() for line in lines if line.strip())


def differences(old: Prints, new: Prints) -> list[str]:
    """Return what is not the same in ``new``, what only one of them has included, each as "RUN: WHAT"."""
    return [
        f"{name}: {what}"
        for name in dict.fromkeys((*old, *new))
        for what in dict.fromkeys((*old.get(name, {}), *new.get(name, {})))
        if old.get(name, {}).get(what) != new.get(name, {}).get(what)
    ]


def fingerprint(program: Program, wanted: Iterable[Case], jobs: int) -> Prints:
    """Run all ``wanted`` cases, ``jobs`` at a time, and return their hashes; each is printed as it comes."""
    found: Prints = {}
    with ThreadPoolExecutor(jobs) as pool:
        for case, job in [(case, pool.submit(program.prints, case)) for case in wanted]:
            found[case.name] = job.result()
            print(case.name, *found[case.name].values(), flush=True)
    return found


def main(arguments: list[str] | None = None) -> int:
    """Do it; return 1 when something differs from ``--compare``."""
    parser = argparse.ArgumentParser(
        prog="python -m tools.evidence.fingerprint",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("out", type=Path, help="file for the fingerprints (JSON)")
    parser.add_argument("--compare", type=Path, help="fingerprints to compare with")
    parser.add_argument("--engine", default="inprocess", help="what runs the firmware (default: %(default)s)")
    parser.add_argument("--python", default=sys.executable, help="interpreter that has the version to ask")
    parser.add_argument("--keep", type=Path, help="folder for the texts behind the hashes")
    parser.add_argument("--part", action="append", choices=DEFECTS, help="only this part; may be repeated")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="runs at a time")
    args = parser.parse_args(arguments)
    if args.keep is not None:
        args.keep.mkdir(parents=True, exist_ok=True)
    wanted = [case for case in cases() if not args.part or case.part in args.part]
    found = fingerprint(Program(args.python, args.engine, args.keep), wanted, args.jobs)
    args.out.write_text(json.dumps(found, indent=1), encoding="utf-8")
    if args.compare is None:
        return 0
    old: Prints = json.loads(args.compare.read_text(encoding="utf-8"))
    names = {case.name for case in wanted}
    differing = differences({name: prints for name, prints in old.items() if name in names}, found)
    print(f"{len(found)} runs, {len(differing)} hashes differ", *differing, sep="\n  ")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
