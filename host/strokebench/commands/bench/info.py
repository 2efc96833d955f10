"""Show identity, state and stored events of a bench."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import Any

from strokebench.commands.shared.common import add_bench, add_json, open_chosen, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; nothing moves."""
    with open_chosen(args, "throttle-body") as bench:
        about: dict[str, Any] = {
            "identity": asdict(bench.identity),
            "build": bench.identity_text().splitlines(),
            "status": asdict(bench.status()),
            "events": [asdict(event) for event in bench.events()],
        }
    if args.json:
        print_json(about)
        return 0
    for title in ("identity", "status"):
        print(f"{title}:")
        for name, value in about[title].items():
            say(f"  {name:<16} {_plain(value)}")
    say("\n".join(["build:", *(f"  {line}" for line in about["build"])]))
    print("events (bench's clock since power-up):")
    for event in about["events"]:
        say(f"  {event['time_s']:10.3f} s  {event['text']}")
    return 0


def _plain(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {_plain(item)}" for name, item in value.items())
    return f"{value:g}" if isinstance(value, float) else str(value)
