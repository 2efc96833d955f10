"""How a run becomes an attempt of a job: ``--job`` and ``--as``."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from strokebench.book.book import Book


def add_job(parser: argparse.ArgumentParser) -> None:
    """Add ``--job`` and ``--as``."""
    from strokebench.book.jobs.model import ROLES

    parser.add_argument(
        "--job", type=int, metavar="JOB", help="make this run an attempt of a job (see `job`)"
    )
    text = "what the attempt is for (default: before, and after once `job change --done` said what was done)"
    parser.add_argument("--as", dest="role", choices=ROLES, help=text)


def take_job(args: argparse.Namespace, book: Book, *, role: str = "") -> None:
    """Look the job up before anything moves, and take customer and serial number from it.

    UsageError for a job that is not there or is signed. ``role``: what the attempt is for without ``--as``.
    """
    from strokebench.errors import UsageError

    if args.job is None:
        if args.role:
            raise UsageError("--as needs a job.", "Name it: --job JOB.")
        return
    job = book.jobs.check_open(args.job)
    args.customer = args.customer or job.customer
    args.serial = args.serial or job.part_serial
    args.role = args.role or role or job.next_role


def join_job(args: argparse.Namespace, book: Book, run_id: int) -> None:
    """Make the run that has begun an attempt of the job, if one was named."""
    if args.job is not None:
        book.jobs.add_run(args.job, run_id, args.role)
