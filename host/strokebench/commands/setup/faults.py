"""Explain the bench's fault codes, or one of them."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_json, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("code", nargs="?", type=int, metavar="CODE", help="one code (default: all)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokefw import faults

    from strokebench.errors import UsageError

    rows = [row for row in faults.TABLE if args.code in (None, row[0])]
    if not rows:
        known = ", ".join(str(row[0]) for row in faults.TABLE)
        raise UsageError(f"There is no fault code {args.code}.", f"Codes: {known}.")
    if args.json:
        names = ("code", "key", "severity", "latched", "sentence", "check")
        print_json([dict(zip(names, row, strict=True)) for row in rows])
        return 0
    for code, key, severity, latched, sentence, check in rows:
        print(f"{code} {key} ({faults.SEVERITY_NAMES[severity]}{', latched' if latched else ''})")
        say(f"   {sentence}")
        if args.code is not None:
            say(f"   Check: {check}")
            print(f"   LED: {code // 10} long, {code % 10} short")
    return 0
