"""Stop a bench at once and take the supply off the part.

A program of this user that has the port, such as a run in another terminal or the panel, is asked to do it.
"""

from __future__ import annotations

import argparse

from strokebench.commands.shared.common import add_bench, add_json, print_json, say


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser, sim=False)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it: through whoever has the port; else opening disarms, the stop is sent besides."""
    from strokebench.bench.bench import only_pico, open_bench
    from strokebench.link.holder import ask_to_stop

    port = args.port or only_pico()
    pid = ask_to_stop(port)
    if pid:
        if args.json:
            print_json({"asked": pid, "port": port})
        else:
            say(f"Stopped by the program that has the port (process {pid}); what it recorded is kept.")
        return 0
    with open_bench(port) as bench:
        bench.stop(now=True)
        bench.disarm()
        status = bench.status()
    if args.json:
        print_json({"state": status.state, "drive": status.drive, "current_a": status.current_a})
    else:
        print(f"Stopped: {status.state}, drive {status.drive:+.2f}, {status.current_a:.2f} A.")
    return 0
