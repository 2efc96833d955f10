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
    from strokebench.verdict.about import NO_LIMITS, causes, side_text, usual

    if args.key is None:
        rows = {key: about.title_of(key) for about in explanations() for key in about.keys}
        if args.json:
            print_json(rows)
            return 0
        for key, title in rows.items():
            print(f"{key:<20} {title}")
        return 0
    about = explained(args.key)
    if about is None:
        raise UsageError(f"There is no finding {args.key!r}.", "strokebench finding lists all of them.")
    found = [(side, defect(name)) for side, names in causes(about).items() for name in names]
    rows_of = usual(about)
    if args.json:
        print_json(
            {
                "keys": list(about.keys), "title": about.title_of(args.key),
                "means": about.means, "measured": about.measured, "judged": about.judged,
                "usual": [vars(row) for row in rows_of],
                "causes": [{"side": side, "name": each.name, "check": each.check} for side, each in found],
            }
        )  # fmt: skip
        return 0
    print(about.title_of(args.key))
    say(f"   {about.means}")
    say(f"   Measured: {about.measured}")
    for row in rows_of:
        good = f"good parts {row.good_text}, " if row.good else ""
        say(f"   {row.part}: {good}limits {limits_text(row.lower, row.upper)} {row.unit}".rstrip())
    if not rows_of:
        say(f"   {about.judged or NO_LIMITS}")
    for side, names in causes(about).items():
        print(f"   {side_text(about, side)} It can mean:")
        for each in map(defect, names):
            say(f"      {each.name}. Check next: {each.check}")
    return 0
