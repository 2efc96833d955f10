"""Keep a customer's job: vehicle, complaint, photos, repair, runs before and after, and its report."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strokebench.book.jobs.model import ROLES, TEXTS
from strokebench.commands.shared.common import add_actions, add_book, add_force, add_json, print_json, say

if TYPE_CHECKING:
    from strokebench.book.book import Book
    from strokebench.book.jobs.model import Job

_ACTIONS = {
    "new": "Open a job and print its number",
    "list": "List the jobs, newest first",
    "show": "Show a job and its attempts",
    "change": "Write down what is known of a job, and what was done",
    "add": "Make a run that is in the book an attempt of a job",
    "photo": "Add a photo (JPEG or PNG; it is made small, and loses what it says about the place)",
    "sign": "Sign a job: nothing of it can be changed afterwards",
    "report": "Write the report: a page for the customer, and the technical annex",
}
_HELP = {
    "customer": "customer reference",
    "vehicle": "vehicle, as you call it: model, year, plate",
    "complaint": "the customer's words",
    "part_number": "number on the part",
    "part_serial": "serial number of the part",
    "done": "what was done, in words for the customer",
}


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    for name, action in add_actions(parser, _ACTIONS).items():
        if name not in ("new", "list"):
            action.add_argument("job_id", type=int, metavar="JOB", help="number of the job")
        _ARGUMENTS.get(name, lambda action: None)(action)
        add_book(action)
        add_json(action)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    return _HANDLERS[args.action](args)


def _add_texts(parser: argparse.ArgumentParser) -> None:
    for name, most in TEXTS.items():
        option = "--serial" if name == "part_serial" else "--" + name.replace("_", "-")
        help_text = f"{_HELP[name]}, at most {most} letters"
        parser.add_argument(option, dest=name, metavar="TEXT", help=help_text)


def _add_run(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run_id", type=int, metavar="RUN", help="number of the run")
    text = "what it was for (default: before, and after once --done said what was done)"
    parser.add_argument("--as", dest="role", choices=ROLES, default="", help=text)


def _add_photo(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="JPEG or PNG, at most 25 MB and 60 million pixels")
    parser.add_argument("--caption", default="", metavar="TEXT", help="a line below it")


def _add_sign(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--by", required=True, metavar="NAME", help="who signs")


def _add_report(parser: argparse.ArgumentParser) -> None:
    from strokebench.commands.shared.outcome import add_pdf

    text = "where to write it (default: beside the book)"
    parser.add_argument("-o", "--report", metavar="FILE.html", help=text)
    add_pdf(parser)
    add_force(parser)


_ARGUMENTS = {
    "new": _add_texts, "change": _add_texts, "add": _add_run, "photo": _add_photo, "sign": _add_sign,
    "report": _add_report,
}  # fmt: skip


def _texts(args: argparse.Namespace) -> dict[str, str]:
    return {name: getattr(args, name) for name in TEXTS if getattr(args, name) is not None}


def _book(args: argparse.Namespace, *, read_only: bool = False) -> Book:
    from strokebench.book.book import Book

    return Book(args.book, read_only=read_only)


def _said(args: argparse.Namespace, sentence: str, **facts: Any) -> int:
    print_json(facts) if args.json else say(sentence)
    return 0


def _new(args: argparse.Namespace) -> int:
    with _book(args) as book:
        job_id = book.jobs.new(**_texts(args))
    return _said(
        args, f"Job {job_id} in {args.book}. Next: strokebench run PART --job {job_id}", job_id=job_id
    )


def _change(args: argparse.Namespace) -> int:
    from strokebench.errors import UsageError

    texts = _texts(args)
    if not texts:
        raise UsageError("There is nothing to write down.", "Say what: --done TEXT, --vehicle TEXT, ...")
    with _book(args) as book:
        book.jobs.change(args.job_id, **texts)
        job = book.jobs.get(args.job_id)
    after = f" The next run with --job {job.job_id} is one after the repair." if "done" in texts else ""
    return _said(args, f"Job {job.job_id} changed.{after}", job_id=job.job_id, **texts)


def _add(args: argparse.Namespace) -> int:
    with _book(args) as book:
        role = book.jobs.add_run(args.job_id, args.run_id, args.role)
    sentence = f"Run {args.run_id} is an attempt of job {args.job_id}: {role}."
    return _said(args, sentence, job_id=args.job_id, run_id=args.run_id, role=role)


def _photo(args: argparse.Namespace) -> int:
    from strokebench.data.photo import read_photo

    photo, original = read_photo(args.file)
    with _book(args) as book:
        number = book.jobs.add_photo(args.job_id, photo, original, args.caption)
    sentence = f"Photo {number} of job {args.job_id}: {args.file}, kept as {len(photo.data) // 1024} kB."
    return _said(args, sentence, job_id=args.job_id, photo=number, bytes=len(photo.data))


def _sign(args: argparse.Namespace) -> int:
    with _book(args) as book:
        book.jobs.sign(args.job_id, args.by)
        job = book.jobs.get(args.job_id)
    sentence = f"Job {job.job_id} is signed by {job.signed_by}. Seal: {job.seal[:16]}"
    return _said(args, sentence, job_id=job.job_id, signed_by=job.signed_by, seal=job.seal)


def _list(args: argparse.Namespace) -> int:
    with _book(args, read_only=True) as book:
        jobs = book.jobs.all()
    if args.json:
        print_json([_as_json(job) for job in jobs])
        return 0
    from strokebench.terminal.job_tables import jobs_table

    jobs_table(jobs)
    return 0


def _show(args: argparse.Namespace) -> int:
    with _book(args, read_only=True) as book:
        job = book.jobs.get(args.job_id)
    if args.json:
        print_json(_as_json(job))
        return 0
    from strokebench.terminal.job_tables import job_page

    job_page(job)
    return 0


def _as_json(job: Job) -> dict[str, Any]:
    from dataclasses import asdict

    return {**asdict(job), "verdict": job.verdict}


def _report(args: argparse.Namespace) -> int:
    from strokebench.commands.shared.outcome import show_written, write_pdf
    from strokebench.data.output import free_path
    from strokebench.report.job import job_mark, load_job, write_job_report
    from strokebench.report.workshop import workshop_for

    with _book(args, read_only=True) as book:
        found = load_job(book, args.job_id)
    mark = job_mark(found.job)
    path = Path(args.report or Path(args.book).with_name(f"{Path(args.book).stem}-job-{args.job_id}.html"))
    if not args.report and not args.force:
        path = free_path(path, mark)
    write_job_report(found, path, workshop_for(args.book), replace=args.force)
    pdf = write_pdf(args, path, mark)
    return show_written(args, path, pdf, job_id=args.job_id, verdict=found.job.verdict)


_HANDLERS = {
    "new": _new, "list": _list, "show": _show, "change": _change, "add": _add, "photo": _photo, "sign": _sign,
    "report": _report,
}  # fmt: skip
