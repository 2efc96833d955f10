"""Show what the bench reads, live; nothing is driven."""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import asdict
from typing import TYPE_CHECKING

from strokebench.commands.common import add_bench, add_json, open_chosen, print_json

if TYPE_CHECKING:
    from strokebench.link.conversion import Status


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    add_bench(parser)
    parser.add_argument("--part", default="throttle-body", metavar="PART", help="what to simulate")
    parser.add_argument("--every", type=float, default=0.5, metavar="S", help="seconds between readings")
    parser.add_argument("--count", type=int, default=0, metavar="N", help="stop after N (default: at Ctrl-C)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Do it; a line each time, overwritten on a terminal, one JSON object a line with ``--json``."""
    over = sys.stdout.isatty() and not args.json
    shown = 0
    with open_chosen(args, args.part) as bench:
        while True:
            status = bench.status()
            if args.json:
                print_json(asdict(status))
            else:
                print(f"\r{text(status):<79}" if over else text(status), end="" if over else "\n")
            sys.stdout.flush()
            shown += 1
            if shown == args.count:
                break
            began_s, every_s = time.monotonic(), min(max(args.every, 0.02), 60.0)
            bench.link.poll(every_s)  # on a simulated bench this is what lets time pass
            time.sleep(max(0.0, every_s - (time.monotonic() - began_s)))
    if over:
        print()
    return 0


def text(status: Status) -> str:
    """Return the readings in one line of less than 80 characters."""
    part = "" if status.part_c != status.part_c else f" part {status.part_c:.0f} C"
    fault = f" fault {status.fault}" if status.fault else ""
    return (
        f"{status.state.lower():<9} {status.current_a:+7.3f} A  supply {status.terminals_v:5.2f} V"
        f"  feed {status.sensor_feed_v:4.2f} V  sink {status.heatsink_c:.0f} C{part}{fault}"
    )
