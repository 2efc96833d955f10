"""Explain a finding: its meaning, how it is measured, usual values, causes and next checks."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_json, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("key", nargs="?", metavar="KEY", help="the finding, such as friction (default: list)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.diagnose.defects import defect
    from strokebench.diagnose.explained import explained, explanations
    from strokebench.errors import UsageError
    from strokebench.report.numbers import limits_text
    from strokebench.verdict.about import causes, usual

    if args.key is None:
        rows = {key: about.title for about in explanations() for key in about.keys}
        if args.json:
            print_json(rows)
            return 0
        for key, title in rows.items():
            print(f"{key:<20} {title}")
        return 0
    about = explained(args.key)
    if about is None:
        raise UsageError(f"There is no finding {args.key!r}.", "strokebench finding lists all of them.")
    names = [defect(name) for name in causes(about)]
    rows_of = usual(about)
    if args.json:
        print_json(
            {
                "keys": list(about.keys), "title": about.title,
                "means": about.means, "measured": about.measured,
                "usual": [vars(row) for row in rows_of],
                "causes": [{"name": each.name, "check": each.check} for each in names],
            }
        )  # fmt: skip
        return 0
    print(about.title)
    say(f"   {about.means}")
    say(f"   Measured: {about.measured}")
    for row in rows_of:
        good = f"good parts {row.good_text}, " if row.good else ""
        say(f"   {row.part}: {good}limits {limits_text(row.lower, row.upper)} {row.unit}".rstrip())
    if names:
        print("   Out of limits with:")
    for each in names:
        say(f"      {each.name}. {each.check}")
    return 0
