"""Stop a bench at once and take the supply off the part."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_bench, add_json, print_json


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser, sim=False)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it: opening disarms, the stop is sent besides, and the bench's word is shown."""
    from strokebench.bench.bench import open_bench

    with open_bench(args.port) as bench:
        bench.stop(now=True)
        bench.disarm()
        status = bench.status()
    if args.json:
        print_json({"state": status.state, "drive": status.drive, "current_a": status.current_a})
    else:
        print(f"Stopped: {status.state}, drive {status.drive:+.2f}, {status.current_a:.2f} A.")
    return 0
