"""Release a fault that the bench holds, once its cause is gone."""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_bench, add_json, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser, sim=False)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; nothing moves. The bench refuses while the cause is still there."""
    from strokebench.bench.bench import open_bench
    from strokebench.link.link import fault_row

    with open_bench(args.port) as bench:
        before = bench.status()
        latched = before.state == "latched"
        if latched:
            bench.clear()
        state = bench.status().state
    if args.json:
        print_json({"cleared": before.fault if latched else 0, "state": state})
    elif latched:
        _key, sentence, check = fault_row(before.fault)
        say(f"Cleared: {sentence} (code {before.fault})\nIf it comes back: {check}")
    else:
        print(f"The bench holds no fault; it is {state}.")
    return 0
