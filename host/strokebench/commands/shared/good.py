"""The parts that a person declares good: found in job books and CSV files, by serial number, run or file."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.errors import DataError, StrokebenchError, UsageError

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.book.contents import RunSummary
    from strokebench.parts.profile import Profile
    from strokebench.verdict.learning.learn import Specimen

EVERY = "all"


@dataclass(frozen=True)
class Candidate:
    """A recording that may be declared good; ``read`` makes the specimen of it, ``unfit`` says why it
    cannot be."""

    serial: str
    source: str
    number: int | None
    file: str
    unfit: str
    read: Callable[[], Specimen]

    @property
    def names(self) -> set[str]:
        """What it can be called."""
        path = Path(self.file)
        return {self.serial, path.name, path.stem, str(path)} if self.number is None else {self.serial}


def candidates(files: Sequence[str], base: Profile, mapping: str) -> list[Candidate]:
    """Return the recordings of ``base``'s kind in job books, CSV files and folders of those.

    DataError when there is none.
    """
    from strokebench.book.book import is_book

    found: list[Candidate] = []
    for file in files:
        if Path(file).is_dir():
            found += [_of_csv(str(path), base, mapping) for path in sorted(Path(file).glob("*.csv"))]
        else:
            found += _of_book(file, base) if is_book(file) else [_of_csv(file, base, mapping)]
    if not found:
        raise DataError(
            f"There is no recording of {base.name} in {', '.join(files)}.",
            "Name books or CSV files that hold some.",
        )
    return found


def of_runs(file: str, runs: Sequence[RunSummary]) -> list[Candidate]:
    """Return runs of a book as what can be named good; they are not read."""

    def unread() -> Specimen:
        raise AssertionError("named only")

    return [_candidate(file, run, unread) for run in runs]


def chosen(found: Sequence[Candidate], good: str | None, without: str) -> tuple[list[Candidate], list[str]]:
    """Return the recordings that ``--good`` names, and in words which of them are left out, and why.

    UsageError when it names something that is not there, or nothing; DataError for a run that was named by
    its number and cannot be used.
    """
    serials = sorted({each.serial for each in found if each.serial})
    if not good:
        raise UsageError(
            "Nobody has said which parts are good: limits are learnt from those alone.",
            f"Name them by serial number, run or file: --good {','.join(serials[:4]) or '3,5-8'};"
            f" or --good {EVERY}",
        )
    away = set(_split(without))
    named = list(found) if good == EVERY else _named(found, good)
    wanted = [each for each in named if each.serial not in away]
    left = [f"{each.source} ({each.unfit})" for each in wanted if each.unfit]
    usable = [each for each in wanted if not each.unfit]
    if not usable:
        raise DataError(f"None of these recordings can be used: {'; '.join(left) or 'none is left'}.",
                        "Name recordings that came to their end.")  # fmt: skip
    return usable, left


def _named(found: Sequence[Candidate], good: str) -> list[Candidate]:
    chosen: list[Candidate] = []
    for word in _split(good):
        by_name = [each for each in found if word in each.names]
        by_number = [each for each in found if each.number in _numbers(word)]
        if by_name and by_number and by_name != by_number:
            raise UsageError(
                f"{word} is a run's number and a serial number.", "Name the run by its serial number."
            )
        if len({each.file for each in by_number}) > 1:
            raise UsageError(f"Several books have a run {word}.", "Name parts by serial number.")
        if not by_name and not by_number:
            raise UsageError(f"--good names {word}, which is not there.", f"There are: {_there(found)}.")
        chosen += [each for each in (by_name or by_number) if each not in chosen]
    return chosen


def _there(found: Sequence[Candidate]) -> str:
    some = [each.serial or each.source for each in found]
    return ", ".join(dict.fromkeys(some[:12])) + (" and more" if len(some) > 12 else "")


def _split(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _numbers(word: str) -> range:
    match = re.fullmatch(r"(\d+)(?:-(\d+))?", word)
    return range(int(match[1]), int(match[2] or match[1]) + 1) if match else range(0)


def _of_book(file: str, base: Profile) -> list[Candidate]:
    from strokebench.book.book import Book

    with Book(file, read_only=True) as book:
        names = (base.name, base.simulated)
        return [
            _of_run(file, run, base) for run in book.runs() if run.kind == base.kind and run.part in names
        ]


def _of_run(file: str, run: RunSummary, base: Profile) -> Candidate:
    from strokebench.book.book import Book

    def read() -> Specimen:
        with Book(file, read_only=True) as book:
            return _from_book(book, run, _source(file, run), base)

    return _candidate(file, run, read)


def _candidate(file: str, run: RunSummary, read: Callable[[], Specimen]) -> Candidate:
    unfit = "" if run.outcome == "done" else f"it ended early: {run.outcome}"
    return Candidate(run.part_serial, _source(file, run), run.run_id, file, unfit, read)


def _source(file: str, run: RunSummary) -> str:
    return f"run {run.run_id} of {Path(file).name}"


def _from_book(book: Book, run: RunSummary, source: str, base: Profile) -> Specimen:
    from strokebench.data.identity import identity_of
    from strokebench.diagnose import diagnose
    from strokebench.verdict.learning.learn import Specimen
    from strokebench.verdict.learning.surroundings import surroundings_of

    data = book.load(run.run_id)
    findings = book.findings(run.run_id) or diagnose(data, base)
    identity = identity_of(data.info)
    return Specimen(
        run.part_serial, source, run.part, run.kind, book.profile(run.run_id), findings,
        surroundings_of(data), run.started_at, *bench_of(identity.get("uid"), identity.get("calibration_id")),
    )  # fmt: skip


def bench_of(uid: Any, calibration: Any) -> tuple[str, str]:
    """Return a bench's identity and that of its calibration in words."""
    number = calibration if isinstance(calibration, int) else 0
    return str(uid or ""), f"{number:08x}" if number else "as built"


def _of_csv(file: str, base: Profile, mapping: str) -> Candidate:
    from strokebench.commands.shared.recordings import about_beside

    about = about_beside(file)
    serial = str(about.get("part_serial") or Path(file).stem)

    def read() -> Specimen:
        return _from_csv(file, serial, about, base, mapping)

    outcome = about.get("outcome", "done")
    return Candidate(
        serial, file, None, file, "" if outcome == "done" else f"it ended early: {outcome}", read
    )


def _from_csv(file: str, serial: str, about: dict[str, Any], base: Profile, mapping: str) -> Specimen:
    from strokebench.commands.shared.recordings import from_csv
    from strokebench.diagnose import diagnose
    from strokebench.verdict.learning.learn import Specimen
    from strokebench.verdict.learning.surroundings import surroundings_of

    data = from_csv(file, mapping, base)
    calibration = str(about.get("calibration", ""))
    bench, calibrated = bench_of(about.get("bench"), int(calibration) if calibration.isdigit() else 0)
    return Specimen(
        serial, file, str(about.get("part", base.name)), str(about.get("kind", base.kind)), {},
        diagnose(data, base), surroundings_of(data), str(about.get("started_at", "")), bench,
        calibrated if bench else "",
    )  # fmt: skip


def read_all(good: Sequence[Candidate], show: bool) -> list[Specimen]:
    """Return the specimens, with a bar that shows how far it is; an error names the recording."""
    from strokebench.terminal.console import console

    def read(each: Candidate) -> Specimen:
        try:
            return each.read()
        except StrokebenchError as error:
            raise type(error)(f"{each.source}: {error}", error.hint) from error

    if not show:
        return [read(each) for each in good]
    from rich.progress import track

    return [read(each) for each in track(good, "Reading", console=console(), transient=True)]


def add_good(parser: argparse.ArgumentParser) -> None:
    """Add ``--good``, ``--without`` and ``--keep``."""
    parser.add_argument(
        "--good", metavar="LIST", help=f"the good parts: serial numbers, runs (3,5-8), CSV files, or {EVERY}"
    )
    parser.add_argument(
        "--without", metavar="LIST", default="", help="serial numbers to leave out all the same"
    )
    parser.add_argument(
        "--keep",
        metavar="LIST",
        default="",
        help="serial numbers that count although they do not seem to belong",
    )
