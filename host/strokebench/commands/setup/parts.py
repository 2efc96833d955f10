"""List the built-in parts, or show one."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_json, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "part", nargs="?", metavar="PART|FILE.toml", help="show this one's limits and procedure"
    )
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it."""
    from strokebench.parts import load_part, part_names

    if args.part:
        return _show(args)
    profiles = [load_part(name) for name in part_names()]
    if args.json:
        print_json(
            [
                {"name": profile.name, "title": profile.part.title, "kind": profile.kind}
                for profile in profiles
            ]
        )
        return 0
    for profile in profiles:
        print(f"{profile.name:<18} {profile.part.title} ({profile.procedure.duration_s:.0f} s)")
    return 0


def _show(args: argparse.Namespace) -> int:
    from strokebench.parts import load_part

    profile = load_part(args.part)
    if args.json:
        print_json(profile.model_dump(mode="json"))
        return 0
    print(f"{profile.name}: {profile.part.title}")
    for line in [*profile.part.connect, *(f"CAUTION: {text}" for text in profile.part.every_caution)]:
        say(f"  {line}")
    print("limits:")
    for name, value in profile.limits.model_dump().items():
        print(f"  {name:<20} {value:g}")
    say(f"procedure: {profile.procedure.title} ({profile.procedure.duration_s:.1f} s)")
    for segment in profile.procedure.plan():
        print(
            f"  {segment.kind:<6} {segment.label:<16} to {segment.target:+.2f} in {segment.duration_s:.3f} s"
        )
    return 0
